# Run by unshare in namespaces of its own: a machine whose systemd knows sinewd alone.
# $1: the clone. What it writes to is in memory, and gone with it.
set -eu
mount -t tmpfs tmpfs /opt
mkdir /opt/sinew
mount --bind "$1" /opt/sinew
for folder in /run /tmp /var/tmp /var/lib; do mount -t tmpfs tmpfs "$folder"; done
mkdir -p /run/units/sinewd.service.d /run/systemd/system /var/lib/sinew
cp /opt/sinew/config/owl.yaml /var/lib/sinew/prop.yaml
# An installation has a Node of its own; the clone has that of this machine.
sed "s#/opt/sinew/bin/node#$(command -v node)#" /opt/sinew/systemd/sinewd.service \
  >/run/units/sinewd.service
for target in test network-online multi-user basic sysinit shutdown exit; do
  printf '[Unit]\nDefaultDependencies=no\n' >"/run/units/$target.target"
done
# What differs from a board: the user, the journal, a free port, and a way to block the core.
cat >/run/units/sinewd.service.d/test.conf <<EOF
[Service]
User=nobody
Group=nogroup
SupplementaryGroups=
ConfigurationDirectory=
Environment="SINEWD_ARGS=--listen 127.0.0.1:0"
Environment="NODE_OPTIONS=--import /opt/sinew/tests/systemd/block.mjs" SINEW_TEST_BLOCK=core
StandardOutput=append:/run/said
StandardError=append:/run/said
EOF
export container=test SYSTEMD_UNIT_PATH=/run/units
exec /lib/systemd/systemd --system --unit=test.target --log-target=console --show-status=no
