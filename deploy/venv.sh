# Shared by demo.sh and test.sh, which set `root` to the checkout and then read this file.
# POSIX sh. It finds Python, installs Debian packages where it may, builds a virtual environment.

say() { printf '\n== %s\n' "$*"; }

fail() {
    printf '\nerror: %s\n' "$*" >&2
    exit 1
}

# Sets `python` to a command that is Python 3.11 or newer; false when there is none.
find_python() {
    for python in python3 python3.14 python3.13 python3.12 python3.11; do
        if "$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            return 0
        fi
    done
    python=
    return 1
}

# Adds to `packages` what Debian calls Python and its venv module, where they are missing.
want_python() {
    if ! find_python; then
        packages="$packages python3 python3-venv"
    elif ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
        packages="$packages $python-venv"
    fi
}

# Adds the package $2 to `packages` when the command $1 is missing.
want_command() {
    command -v "$1" >/dev/null 2>&1 || packages="$packages $2"
}

# Installs `packages` by apt-get as root or by sudo without a password; false where that cannot be.
install_packages() {
    command -v apt-get >/dev/null 2>&1 || return 1
    if [ "$(id -u)" = 0 ]; then
        as_root=
    elif sudo -n true 2>/dev/null; then
        as_root="sudo -n"
    else
        return 1
    fi
    say "installing$packages"
    apt="$as_root env DEBIAN_FRONTEND=noninteractive apt-get -q -y -o DPkg::Lock::Timeout=120"
    # Two lists of words on purpose: the command with its options, and the packages.
    # shellcheck disable=SC2086
    $apt update </dev/null && $apt install --no-install-recommends $packages </dev/null
}

# Runs $1 (which fills `packages`), installs what it names and asks again; stops if still short.
need() {
    packages=
    "$1"
    [ -n "$packages" ] || return 0
    install_packages || say "could not install by myself:$packages"
    packages=
    "$1"
    [ -z "$packages" ] || fail "missing:$packages
Python 3.11 or newer is in Debian 12, Raspberry Pi OS of 2023, and later.
Install what is missing, then run this again:
    sudo apt-get update && sudo apt-get install -y$packages"
}

# Builds the virtual environment $1 with the install argument $2, unless it already fits
# pyproject.toml, this Python and this place.
make_venv() {
    venv=$root/$1
    fits="$root $("$python" -V) $(sha256sum <"$root/pyproject.toml")"
    if [ "$(cat "$venv/fits" 2>/dev/null)" = "$fits" ] && "$venv/bin/python" -c '' 2>/dev/null; then
        return 0
    fi
    say "building $1 with $("$python" -V); the first time this takes a few minutes"
    rm -rf "$venv"
    "$python" -m venv "$venv" || fail "could not make $venv (is the disk full?)"
    (cd "$root" && "$venv/bin/python" -m pip install --quiet --disable-pip-version-check -e "$2") ||
        fail "pip could not install the packages; its own words stand above.
The first run needs the internet to fetch them. Later runs do not."
    printf '%s\n' "$fits" >"$venv/fits"
}
