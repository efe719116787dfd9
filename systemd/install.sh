#!/bin/sh
# Installs Sinew on a board that runs systemd, or upgrades or removes it.
set -eu

usage() {
  cat <<EOF
sudo ./install.sh [--listen HOST:PORT] [--pigpio] [--realtime]
sudo /opt/sinew/install.sh --uninstall [--purge]

Installs Sinew in /opt/sinew as the service sinewd, or upgrades it; the configuration in /etc/sinew
and the prop and its state in /var/lib/sinew stay as they are.

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
  live chown sinew:sinew "$1"
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
  rm -rf "$units/sinewd.service" "$units/sinewd.service.d" "$rules" "$home"
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

check_needs() {
  command -v node >/dev/null || fail 'Node is missing; install Node 20 or later'
  major=$(node -p 'process.versions.node.split(".")[0]')
  [ "$major" -ge 20 ] || fail "Node $major is too old; install Node 20 or later"
  command -v npm >/dev/null || fail 'npm is missing; install it with Node'
  [ -n "$DESTDIR" ] || command -v systemctl >/dev/null || fail 'this board does not run systemd'
  [ -f "$release/dist/daemon.js" ] || fail "$release is no release of Sinew; unpack its archive anew"
}

# The new program is ready beside the old one before the old one is stopped.
prepare_program() {
  rm -rf "$home.new"
  mkdir -p "$home.new"
  for part in dist config systemd package.json package-lock.json README.md install.sh; do
    cp -R "$release/$part" "$home.new/"
  done
  (cd "$home.new" && npm ci --omit=dev --no-audit --no-fund --loglevel=error)
  chmod -R u=rwX,go=rX "$home.new"
}

make_user() {
  for group in gpio i2c; do
    getent group $group >/dev/null || groupadd --system $group
  done
  id sinew >/dev/null 2>&1 ||
    useradd --system --user-group --home-dir /var/lib/sinew --no-create-home \
      --shell /usr/sbin/nologin sinew
  usermod --append --groups gpio,i2c sinew
}

replace_program() {
  rm -rf "$home.old"
  if [ -e "$home" ]; then mv "$home" "$home.old"; fi
  mv "$home.new" "$home"
  rm -rf "$home.old"
  mkdir -p "$bin"
  ln -sfn /opt/sinew/dist/daemon.js "$bin/sinewd"
  ln -sfn /opt/sinew/dist/cli.js "$bin/sinew"
  ln -sfn /opt/sinew/dist/safe-levels.js "$bin/sinew-safe-levels"
}

# An option that is there already may have been edited, and stays.
add_option() {
  [ -e "$units/sinewd.service.d/$1.conf" ] ||
    install -m 644 "$home/systemd/sinewd.service.d/$1.conf" "$units/sinewd.service.d/$1.conf"
}

add_units() {
  install -d -m 755 "$units" "$units/sinewd.service.d" "$(dirname "$rules")"
  install -m 644 "$home/systemd/sinewd.service" "$units/sinewd.service"
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
    give "$state/prop.yaml"
  fi
  install -m 644 "$home/config/prop.schema.json" "$state/prop.schema.json"
}

if [ -n "$uninstall" ]; then
  remove
  exit 0
fi

release=$(cd "$(dirname "$0")" && pwd)
check_needs
upgrade=''
if [ -e "$home" ]; then upgrade=yes; fi
running=''
if [ -z "$DESTDIR" ] && systemctl --quiet is-active sinewd; then running=yes; fi

prepare_program
live make_user
if [ -n "$running" ]; then
  echo 'The prop parks, then the service is stopped.'
  systemctl stop sinewd
fi
replace_program
add_units
add_config

live systemctl daemon-reload
live udevadm control --reload
live udevadm trigger --subsystem-match=gpio --subsystem-match=i2c-dev --subsystem-match=pwm
if [ -z "$upgrade" ]; then live systemctl enable --now sinewd; fi
if [ -n "$running" ]; then systemctl start sinewd; fi

cat <<EOF
Sinew $(node -p "require('$home/package.json').version") is installed.
  the prop     /var/lib/sinew/prop.yaml (the simulated owl, until you put yours there)
  options      /etc/sinew/sinewd.env
  the token    /etc/sinew/token
  what it says journalctl -u sinewd
After a change: sudo systemctl restart sinewd. What this board lacks: sudo sinew doctor
EOF
