#!/bin/sh
# Installs holdwater into a clean Debian made by debootstrap, and looks whether it runs there.
#   sudo sh tests/campaign/clean_root.sh [SUITE]     bookworm unless named; takes some minutes
# The root is made in a folder of its own and taken away again. Needs debootstrap, root, a network.
set -eu
suite=${1:-bookworm}
root=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd -P)
clean=$(mktemp -d)
chmod 0755 "$clean" # other users than root have to walk in it
trap 'umount "$clean/proc" 2>/dev/null || true; rm -rf -- "$clean"' EXIT

step() { printf '\n== %s\n' "$*"; }
inside() { chroot "$clean" env -i PATH=/usr/local/bin:/usr/bin:/usr/sbin:/bin:/sbin LANG=C.UTF-8 "$@"; }
must() { "$@" || { echo "FAILED: $*"; exit 1; }; }

step "a clean $suite"
debootstrap --variant=minbase --include=python3,python3-venv,ca-certificates,git "$suite" "$clean" >"$clean.log" 2>&1 ||
    { tail -5 "$clean.log"; exit 1; }
rm -f "$clean.log"
mount -t proc proc "$clean/proc"
cp /etc/resolv.conf "$clean/etc/resolv.conf"
# This machine may reach the internet through certificates of its own.
if [ -e /etc/ssl/certs/ca-certificates.crt ]; then
    cp /etc/ssl/certs/ca-certificates.crt "$clean/etc/ssl/certs/ca-certificates.crt"
fi
mkdir "$clean/root/holdwater"
git -C "$root" archive HEAD | tar -x -C "$clean/root/holdwater"

step "a dry run changes nothing"
before=$(find "$clean/etc" "$clean/opt" "$clean/usr/local" | sort | sha256sum)
inside sh /root/holdwater/deploy/install.sh --dry-run >/dev/null
must test "$before" = "$(find "$clean/etc" "$clean/opt" "$clean/usr/local" | sort | sha256sum)"

step "install"
inside sh /root/holdwater/deploy/install.sh
step "what is there"
must inside holdwater --version
must inside holdwater check /etc/holdwater
must test "$(stat -c %a "$clean/etc/holdwater/secrets.toml")" = 600
must test "$(stat -c %a "$clean/etc/holdwater")" = 750
must inside id holdwater
must inside id holdwater-page

step "the watch runs as its own user"
inside mkdir -p /var/lib/holdwater
inside chown holdwater:holdwater /var/lib/holdwater
inside setpriv --reuid holdwater --regid holdwater --init-groups \
    timeout --preserve-status -s TERM 20 holdwater watch /usr/share/holdwater/sample_config/first-night \
    --state /var/lib/holdwater >"$clean/watch.log" 2>&1 &
running=$!
sleep 12
must inside setpriv --reuid holdwater --regid holdwater --init-groups holdwater now --state /var/lib/holdwater
must wait "$running"

step "again: a copy of the record first, one environment more, the configuration as it was"
echo '# mine' >>"$clean/etc/holdwater/limits.toml"
inside sh /root/holdwater/deploy/install.sh >/dev/null
must grep -q '^# mine' "$clean/etc/holdwater/limits.toml"
must test "$(readlink "$clean/opt/holdwater/current")" = env-2
must test -n "$(ls "$clean/var/backups/holdwater")"

step "uninstall: configuration and record stay"
inside sh /root/holdwater/deploy/install.sh --uninstall >/dev/null
must test -e "$clean/etc/holdwater/limits.toml"
must test -e "$clean/var/lib/holdwater/record.db"
must test ! -e "$clean/opt/holdwater"
step "all as it should be on $suite"
