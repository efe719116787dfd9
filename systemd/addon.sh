#!/bin/sh
# Compiles an npm package's add-on without npm, for the Node whose headers are given:
#   addon.sh PACKAGE TARGET NODE_MODULES HEADERS KIND [LIBRARY...]
# KIND is such as node-v115-linux-arm64, the name by which the package `bindings` finds the result.
set -eu
package=$1 target=$2 modules=$3 headers=$4 kind=$5
shift 5
to=$modules/$package/lib/binding/$kind
mkdir -p "$to"
# The definitions are those of node-gyp (addon.gypi, and Node's own common.gypi).
g++ -std=gnu++20 -O2 -fPIC -shared -pthread -fno-rtti -fno-exceptions -w \
  -D_LARGEFILE_SOURCE -D_FILE_OFFSET_BITS=64 -DUSING_UV_SHARED=1 -DUSING_V8_SHARED=1 \
  -DBUILDING_NODE_EXTENSION "-DNODE_GYP_MODULE_NAME=$target" \
  -I "$headers" -I "$modules/nan" -o "$to/$target.node" "$modules/$package/src/$target.cc" "$@"
strip --strip-unneeded "$to/$target.node"
