#!/bin/sh
# Installs holdwater on a Debian 12 or 13 or Raspberry Pi OS board, or brings it up to date.
#   sudo sh deploy/install.sh               install, or upgrade with a copy of the record and a way back
#   sudo sh deploy/install.sh --dry-run     say what it would do, and do nothing
#   sudo sh deploy/install.sh --with-page   the phone page as well
#   sudo sh deploy/install.sh --force       upgrade although the watch is set
#   sudo sh deploy/install.sh --uninstall   take the program away; configuration and record stay
# --root DIR puts everything below DIR and starts nothing: for making a card on another computer.
# Run again it changes only what is not yet so. It opens no port beyond the page's own, on this
# machine alone, and switches nothing that is not its own.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P)
root=$here
. "$here/deploy/venv.sh"

into='' dry='' force='' page='' uninstall=''
while [ $# -gt 0 ]; do
    case $1 in
    --root) [ $# -gt 1 ] || fail "--root needs a folder"; into=${2%/}; shift ;;
    --dry-run) dry=yes ;;
    --force) force=yes ;;
    --with-page) page=yes ;;
    --uninstall) uninstall=yes ;;
    -h | --help) sed -n '2,10s/^# \{0,1\}//p' "$0"; exit 0 ;;
    *) fail "unknown option $1; see: sh deploy/install.sh --help" ;;
    esac
    shift
done

program=$into/opt/holdwater
config=$into/etc/holdwater
state=$into/var/lib/holdwater
share=$into/usr/share/holdwater
units=$into/etc/systemd/system
live='' # whether this is the running system, with its service manager
if [ -z "$into" ] && [ -d /run/systemd/system ]; then live=yes; fi

do_it() {
    if [ -n "$dry" ]; then
        printf '  would: %s\n' "$*"
    else
        "$@"
    fi
}

on_live() { if [ -n "$live" ]; then do_it "$@"; fi; }

# In a staged root the accounts are made by its own tools, if it has any.
account() {
    if [ -n "$into" ]; then
        if [ -x "$into/usr/sbin/useradd" ]; then
            do_it chroot "$into" "$@"
        else
            say "no useradd below $into: make the accounts on the board itself"
        fi
    else
        do_it "$@"
    fi
}

known() { grep -q "^$2:" "$into/etc/$1" 2>/dev/null; }

remove() {
    say "taking the program away; $config and $state stay"
    for unit in holdwater-backup.timer holdwater-page.service holdwater.service; do
        if [ -n "$live" ]; then do_it systemctl disable --now "$unit" || true; fi
    done
    for unit in "$here"/deploy/units/*; do
        do_it rm -f "$units/$(basename "$unit")"
    done
    do_it rm -f "$into/usr/local/bin/holdwater" "$into/etc/udev/rules.d/60-holdwater.rules"
    do_it rm -rf "$program" "$share"
    on_live systemctl daemon-reload
    say "done"
}

# An upgrade in the middle of a run needs somebody who wants it.
watch_is_set() {
    [ -n "$live" ] && [ -S "$state/control.sock" ] &&
        "$program/current/bin/holdwater" now --state "$state" 2>/dev/null | grep -q 'watch set'
}

accounts() {
    known group holdwater || account groupadd --system holdwater
    known passwd holdwater ||
        account useradd --system --gid holdwater --home-dir /nonexistent --no-create-home --shell /usr/sbin/nologin holdwater
    known passwd holdwater-page ||
        account useradd --system --gid holdwater --home-dir /nonexistent --no-create-home --shell /usr/sbin/nologin holdwater-page
    for group in gpio dialout i2c; do
        if known group "$group"; then account usermod --append --groups "$group" holdwater; fi
    done
}

# A new environment beside the old one; the link `current` is moved only once it works.
environment() {
    number=1
    while [ -e "$program/env-$number" ]; do number=$((number + 1)); done
    new=$program/env-$number
    say "building $new with $("$python" -V); this takes a few minutes"
    do_it mkdir -p "$program"
    do_it "$python" -m venv "$new"
    do_it "$new/bin/python" -m pip install --quiet --disable-pip-version-check --require-hashes \
        -r "$here/deploy/requirements.txt" || undo "pip could not fetch the packages; its words stand above"
    do_it "$new/bin/python" -m pip install --quiet --disable-pip-version-check --no-deps "$here" ||
        undo "holdwater itself could not be built"
    do_it "$new/bin/holdwater" check "$here/sample_config/first-night" >/dev/null ||
        undo "the new program does not run"
}

undo() {
    rm -rf "$new"
    fail "$1. Nothing has changed."
}

files() {
    do_it mkdir -p "$config" "$share" "$units" "$into/usr/local/bin" "$into/etc/udev/rules.d" "$into/etc/default"
    if [ -z "$(ls -A "$config" 2>/dev/null)" ]; then
        say "a sample configuration goes to $config: make it your own, then: holdwater check /etc/holdwater"
        for file in "$here"/sample_config/first-night/*.toml; do do_it cp "$file" "$config/"; done
    fi
    if [ ! -e "$config/secrets.toml" ] && [ -z "$dry" ]; then
        (umask 077 && printf '# name = "the secret"; read by the service manager, and by nobody else\n' >"$config/secrets.toml")
    fi
    if [ -z "$into" ]; then # names and numbers of people are in it
        do_it chown -R root:holdwater "$config"
        do_it chmod 0750 "$config"
        [ -n "$dry" ] || chmod 0600 "$config/secrets.toml"
    fi
    do_it rm -rf "$share/docs" "$share/respond" "$share/sample_config"
    do_it cp -R "$here/docs" "$share/docs"
    do_it cp -R "$here/docs/respond" "$share/respond"
    do_it cp -R "$here/sample_config" "$share/sample_config"
    for unit in "$here"/deploy/units/*; do do_it cp "$unit" "$units/"; done
    do_it cp "$here/deploy/60-holdwater.rules" "$into/etc/udev/rules.d/"
    do_it ln -sfn /opt/holdwater/current/bin/holdwater "$into/usr/local/bin/holdwater"
}

# Moves the link, starts, and moves it back if the watch does not answer.
switch_over() {
    old=$(readlink "$program/current" 2>/dev/null || true)
    do_it ln -sfn "env-$number" "$program/current"
    on_live systemctl daemon-reload
    on_live udevadm control --reload
    on_live systemctl enable holdwater.service holdwater-backup.timer
    if [ -z "$live" ] || [ -n "$dry" ]; then return 0; fi
    systemctl restart holdwater.service && answers && {
        systemctl start holdwater-backup.timer
        if [ -n "$page" ]; then systemctl enable --now holdwater-page.service; fi
        for env in "$program"/env-*; do
            case $env in "$program/env-$number" | "$program/$old") ;; *) rm -rf "$env" ;; esac
        done
        return 0
    }
    journalctl -u holdwater.service -n 20 --no-pager || true
    if [ -z "$old" ]; then
        fail "the watch does not run yet; its own words stand above. Mend $config, then:
    sudo systemctl restart holdwater"
    fi
    ln -sfn "$old" "$program/current"
    systemctl restart holdwater.service
    fail "the new version did not answer; the old one runs again. The copy of the record is in $copies"
}

answers() {
    for _ in 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15; do
        if "$program/current/bin/holdwater" now --state "$state" >/dev/null 2>&1; then return 0; fi
        sleep 2
    done
    return 1
}

if [ -n "$uninstall" ]; then
    remove
    exit 0
fi
[ -n "$dry" ] || [ "$(id -u)" = 0 ] || fail "run it as root: sudo sh deploy/install.sh"
[ "$(getconf LONG_BIT)" = 64 ] || say "a 32-bit system: it should run, but nobody has tried it"
need want_python
if watch_is_set && [ -z "$force" ]; then
    fail "the watch is set for a run. Wait until it is over, or add --force"
fi
copies=$into/var/backups/holdwater
if [ -e "$state/record.db" ] && [ -x "$program/current/bin/holdwater" ]; then
    say "a copy of the record goes to $copies"
    do_it "$program/current/bin/holdwater" backup "$copies" --state "$state"
fi
accounts
environment
files
if [ -z "$into" ] && [ -z "$dry" ]; then
    mkdir -p "$copies"
    chown holdwater:holdwater "$copies"
    chmod 0750 "$copies"
fi
switch_over
say "done"
cat <<'WORDS'
Next:
  1. edit the files in /etc/holdwater; every line is explained in them
  2. sudo holdwater check /etc/holdwater
  3. sudo holdwater drill /etc/holdwater --fault "power cut"
  4. sudo systemctl restart holdwater    (later changes: sudo holdwater apply /etc/holdwater --reason ...)
  5. sudo usermod -aG holdwater NAME     (who may ask and answer here), then: holdwater now
It only watches. It is no safety system for people. Mains is for licensed electricians.
WORDS
