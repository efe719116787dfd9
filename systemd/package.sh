#!/bin/sh
# Packs what a board needs into sinew-VERSION.tgz in the project folder. Run by: npm run package
set -eu
cd "$(dirname "$0")/.."

version=$(node -p "require('./package.json').version")
name=sinew-$version
stage=$(mktemp -d)
trap 'rm -rf "$stage"' EXIT

mkdir "$stage/$name"
cp -R dist config systemd package.json package-lock.json README.md "$stage/$name/"
cp systemd/install.sh "$stage/$name/install.sh"
chmod 755 "$stage/$name/install.sh" "$stage/$name"/dist/daemon.js "$stage/$name"/dist/cli.js \
  "$stage/$name"/dist/safe-levels.js
tar --create --gzip --file "${1:-$name.tgz}" --sort=name --owner=0 --group=0 --numeric-owner \
  --directory "$stage" "$name"
echo "${1:-$name.tgz}"
