#!/bin/sh
# Installs Sinew on a board that runs systemd, or upgrades or removes it.
set -eu

usage() {
  cat <<EOF
sudo ./install.sh [--listen HOST:PORT] [--pigpio] [--realtime]
sudo /opt/sinew/install.sh --uninstall [--purge]

Installs Sinew in /opt/sinew as the service sinewd, or upgrades it; the configuration in /etc/sinew
and the prop and its state in /var/lib/sinew stay as they are. It needs no network: the release has all
in it, Node included (for ARM boards). Run it again, from the release or as /opt/sinew/install.sh, to
have a driver's software compiled that was not ready.

  --listen HOST:PORT  on a first installation: be reachable from other machines, by the token in
                      /etc/sinew/token
  --pigpio            for a prop with driver: pigpio, which must be root
  --realtime          the ticks go before everything else that the board does
  --uninstall         parks the prop, then removes the service and the program
  --purge             with --uninstall: the configuration, the prop and its state as well

With DESTDIR set, everything goes below that folder and nothing is started: for image builders.
EOF
}

DESTDIR=${DESTDIR:-}
home=$DESTDIR/opt/sinew
etc=$DESTDIR/etc/sinew
state=$DESTDIR/var/lib/sinew
units=$DESTDIR/etc/systemd/system
rules=$DESTDIR/etc/udev/rules.d/60-sinew.rules
bin=$DESTDIR/usr/local/bin

fail() {
  echo "install.sh: $1" >&2
  exit "${2:-1}"
}

# Runs a command that changes the running system, unless an image is built.
live() {
  if [ -z "$DESTDIR" ]; then "$@"; fi
}

# Gives a file or folder to the service's user, which an image being built does not have yet.
give() {
  live chown -h sinew:sinew "$1"
}

# Root writes into folders that the service's user owns: a symbolic link there could lead anywhere.
refuse_links() {
  for place in "$etc" "$etc/token" "$etc/sinewd.env" "$state" "$state/prop.yaml" "$state/owl.svg" \
    "$state/prop.schema.json"; do
    [ ! -L "$place" ] || fail "$place is a symbolic link, which is not followed; put the real one in its place"
  done
}

listen='' pigpio='' realtime='' uninstall='' purge=''
while [ $# -gt 0 ]; do
  case $1 in
    --listen)
      [ $# -gt 1 ] || fail '--listen needs HOST:PORT' 2
      listen=$2
      shift
      ;;
    --pigpio) pigpio=yes ;;
    --realtime) realtime=yes ;;
    --uninstall) uninstall=yes ;;
    --purge) purge=yes ;;
    --help) usage && exit 0 ;;
    *) fail "cannot understand $1; see --help" 2 ;;
  esac
  shift
done
[ -z "$purge" ] || [ -n "$uninstall" ] || fail '--purge goes with --uninstall' 2
[ -n "$DESTDIR" ] || [ "$(id -u)" = 0 ] || fail 'must be root; run it with sudo'

remove() {
  # The daemon parks the prop before it ends.
  if [ -z "$DESTDIR" ] && [ -e "$units/sinewd.service" ]; then systemctl disable --now sinewd; fi
  if [ -z "$DESTDIR" ] && [ -e "$units/sinew-safe-levels.service" ]; then
    systemctl disable sinew-safe-levels
  fi
  rm -rf "$units/sinewd.service" "$units/sinewd.service.d" "$units/sinew-safe-levels.service" \
    "$rules" "$home"
  rm -f "$bin/sinewd" "$bin/sinew" "$bin/sinew-safe-levels"
  live systemctl daemon-reload
  if [ -n "$purge" ]; then
    rm -rf "$etc" "$state"
    if id sinew >/dev/null 2>&1; then live userdel sinew; fi
    echo 'Sinew is removed, with its configuration, prop and state.'
  else
    echo "Sinew is removed. $etc and $state are kept; --uninstall --purge removes them too."
  fi
}

# Node's name for what programs here are made for; of the kernel alone it cannot be told, as a 64-bit
# one may run a 32-bit system.
architecture() {
  case $(uname -m)/$(getconf LONG_BIT) in
    aarch64/64) echo arm64 ;;
    aarch64/32 | armv7*/32 | armv8*/32) echo arm ;;
    *) uname -m ;;
  esac
}

# The machine's own Node, if it will do. Sets node.
find_node() {
  way="The release carries Node for 64-bit and 32-bit ARM (ARMv7 or later); this is $arch.
On Debian 13 or later: sudo apt install nodejs. Debian 12's own is version 18, too old."
  node=$(command -v node) || fail "Node is missing; Sinew needs version 20 or later. $way"
  major=$("$node" -p 'process.versions.node.split(".")[0]')
  [ "$major" -ge 20 ] || fail "Node $major is too old; Sinew needs version 20 or later. $way"
  node=$(readlink -f "$node")
  # An image is built with the Node that will be at the same place in it.
  [ -z "$DESTDIR" ] || return 0
  # What ProtectHome= in the unit hides.
  case $(printf %s "$node" | cut -d/ -f2) in
    root | home) fail "$node is in a home folder, which the service cannot read; install Node for all users. $way" ;;
  esac
}

check_needs() {
  [ -n "$DESTDIR" ] || command -v systemctl >/dev/null || fail 'this board does not run systemd'
  for part in dist/daemon.js node_modules/koffi; do
    [ -e "$release/$part" ] || fail "$release is not a release of Sinew; unpack its archive again"
  done
  arch=$(architecture)
  runtime=$release/runtime/$arch
  [ -d "$runtime" ] || find_node
}

# The release's own Node beside the new program; sets node. An installed one is not packed.
unpack_node() {
  mkdir -p "$home.new/runtime"
  cp -R "$runtime" "$home.new/runtime/"
  node=$home.new/runtime/$arch/node
  if [ -f "$node.gz" ]; then gunzip "$node.gz"; fi
  if why=$("$node" --version 2>&1); then
    ln -s "../runtime/$arch/node" "$home.new/bin/node"
  else
    # A system that is too old has no C library for it.
    echo "install.sh: the release's own Node does not run here: $why" >&2
    rm -rf "$home.new/runtime"
    find_node
  fi
}

# The new program is ready beside the old one before the old one is stopped.
prepare_program() {
  rm -rf "$home.new"
  mkdir -p "$home.new/bin"
  for part in dist config systemd node_modules package.json README.md CONTENTS \
    THIRD-PARTY.txt install.sh; do
    cp -R "$release/$part" "$home.new/"
  done
  if [ -d "$runtime" ]; then unpack_node; fi
  [ -e "$home.new/bin/node" ] || ln -s "$node" "$home.new/bin/node"
  for program in daemon:sinewd cli:sinew safe-levels:sinew-safe-levels; do
    # By its own Node, whatever the machine has.
    printf '#!/bin/sh\nexec /opt/sinew/bin/node /opt/sinew/dist/%s.js "$@"\n' "${program%:*}" \
      >"$home.new/bin/${program#*:}"
    chmod 755 "$home.new/bin/${program#*:}"
  done
}

# What V8 makes of the programs, for the Node of this machine: they start in half the time. A prop that
# moves meanwhile goes before; a Node that hangs holds nothing up.
make_caches() {
  nice -n 19 timeout -k 5 120 "$node" "$home.new/dist/make-cache.mjs" "$home.new/dist" \
    "$home.new/config/owl.yaml" >/dev/null 2>&1 ||
    echo 'install.sh: the code caches could not be made; Sinew starts slower, and is else the same' >&2
}

# Whether the native part of a package can be loaded: loads PACKAGE TARGET
loads() {
  # pigpio itself loads without it, too.
  code="require('bindings')({ bindings: '$2', module_root: '$home.new/node_modules/$1' })"
  if [ "$1" = koffi ]; then code="require('koffi')"; fi
  (cd "$home.new" && "$node" -e "$code") >/dev/null 2>&1
}

# Notes whether this machine has the software of a driver, or what is missing; compiles it if it can:
# add_driver DRIVER PACKAGE TARGET REMEDY [LIBRARY...]
add_driver() {
  driver=$1 package=$2 target=$3 missing=$4
  shift 4
  kind=$("$node" -p "\`node-v\${process.versions.modules}-linux-\${process.arch}\`")
  headers=$home.new/runtime/$arch/include/node
  [ -d "$headers" ] || headers=$(dirname "$(dirname "$node")")/include/node
  if ! loads "$package" "$target" && command -v g++ >/dev/null && [ -e "$headers/node.h" ]; then
    sh "$home.new/systemd/addon.sh" "$package" "$target" "$home.new/node_modules" "$headers" \
      "$kind" "$@" >"$home.new/$target.log" 2>&1 ||
      missing="$missing; compiling it failed, see $home/$target.log"
  fi
  if loads "$package" "$target"; then
    drivers="$drivers
  $driver: ready"
  else
    drivers="$drivers
  $driver: NOT ready; if your prop uses it: $missing, then run this again"
  fi
}

check_drivers() {
  loads koffi koffi || fail "the package koffi has no part for this machine ($arch); Sinew cannot run here"
  drivers='
  linux: ready
  pca9685: ready'
  add_driver pigpio pigpio pigpio \
    "sudo apt install g++ pigpio (the board maker's own system has pigpio; plain Debian 12 does not: use driver linux there)" \
    -lpigpio
}

make_user() {
  for group in gpio i2c audio; do
    getent group $group >/dev/null || groupadd --system $group
  done
  id sinew >/dev/null 2>&1 ||
    useradd --system --user-group --home-dir /var/lib/sinew --no-create-home \
      --shell /usr/sbin/nologin sinew
  usermod --append --groups gpio,i2c,audio sinew
}

replace_program() {
  rm -rf "$home.old"
  if [ -e "$home" ]; then mv "$home" "$home.old"; fi
  mv "$home.new" "$home"
  rm -rf "$home.old"
  mkdir -p "$bin"
  for program in sinewd sinew sinew-safe-levels; do
    ln -sfn "/opt/sinew/bin/$program" "$bin/$program"
  done
}

# An option that is there already may have been edited, and stays.
add_option() {
  [ -e "$units/sinewd.service.d/$1.conf" ] ||
    install -m 644 "$home/systemd/sinewd.service.d/$1.conf" "$units/sinewd.service.d/$1.conf"
}

add_units() {
  install -d -m 755 "$units" "$units/sinewd.service.d" "$(dirname "$rules")"
  install -m 644 "$home/systemd/sinewd.service" "$units/sinewd.service"
  install -m 644 "$home/systemd/sinew-safe-levels.service" "$units/sinew-safe-levels.service"
  install -m 644 "$home/systemd/60-sinew.rules" "$rules"
  version=$(systemctl --version 2>/dev/null | sed -n 's/^systemd \([0-9]*\).*/\1/p')
  if [ "${version:-0}" -ge 254 ]; then add_option backoff; fi
  if [ -n "$pigpio" ]; then add_option pigpio; fi
  if [ -n "$realtime" ]; then add_option realtime; fi
}

add_config() {
  install -d -m 755 "$etc"
  install -d -m 750 "$state"
  give "$state"
  if [ ! -e "$etc/token" ]; then
    (umask 077 && od -An -N32 -tx1 /dev/urandom | tr -d ' \n' >"$etc/token")
    give "$etc/token"
  fi
  if [ ! -e "$etc/sinewd.env" ]; then
    args=''
    [ -z "$listen" ] || args="--listen $listen --token-file /etc/sinew/token"
    cat >"$etc/sinewd.env" <<EOF
# Options for sinewd; see sinewd --help. To be reachable from other machines:
# SINEWD_ARGS=--listen 0.0.0.0:7420 --token-file /etc/sinew/token
SINEWD_ARGS=$args
EOF
    chmod 644 "$etc/sinewd.env"
  elif [ -n "$listen" ]; then
    echo "install.sh: --listen is not applied: $etc/sinewd.env is kept as it is" >&2
  fi
  if [ ! -e "$state/prop.yaml" ]; then
    install -m 640 "$home/config/owl.yaml" "$state/prop.yaml"
    # The drawing that it names.
    install -m 640 "$home/config/owl.svg" "$state/owl.svg"
    give "$state/prop.yaml"
    give "$state/owl.svg"
  fi
  install -m 644 "$home/config/prop.schema.json" "$state/prop.schema.json"
}

# What the daemon works out from the prop file, so that its first start with this release is quick. What is
# wrong with the file the daemon says itself.
prepare_prop() {
  setpriv --reuid=sinew --regid=sinew --clear-groups timeout -k 5 60 "$home/bin/sinewd" --prepare \
    --prop "$state/prop.yaml" --state-dir "$state" >/dev/null 2>&1 || true
}

if [ -n "$uninstall" ]; then
  remove
  exit 0
fi

release=$(cd "$(dirname "$0")" && pwd)
check_needs
refuse_links
upgrade=''
if [ -e "$home" ]; then upgrade=yes; fi
running=''
if [ -z "$DESTDIR" ] && systemctl --quiet is-active sinewd; then running=yes; fi

prepare_program
check_drivers
make_caches
chmod -R u=rwX,go=rX "$home.new"
live make_user
if [ -n "$running" ]; then
  echo 'The prop parks, then the service is stopped.'
  systemctl stop sinewd
fi
replace_program
add_units
refuse_links
add_config

live prepare_prop
live systemctl daemon-reload
live udevadm control --reload
live udevadm trigger --subsystem-match=gpio --subsystem-match=i2c-dev --subsystem-match=pwm
live systemctl enable sinew-safe-levels
if [ -z "$upgrade" ]; then live systemctl enable --now sinewd; fi
if [ -n "$running" ]; then systemctl start sinewd; fi

cat <<EOF
Sinew $(sed -n 's/^ *"version": "\(.*\)",$/\1/p' "$home/package.json") is installed.
  the prop     /var/lib/sinew/prop.yaml (the simulated owl, until you put yours there)
  options      /etc/sinew/sinewd.env
  the token    /etc/sinew/token
  what it says journalctl -u sinewd
Software for the drivers:$drivers
After a change: sudo systemctl restart sinewd. What this board lacks: sudo sinew doctor
EOF
