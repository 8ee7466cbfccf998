#!/bin/sh
# Runs every check of the project on a fresh Debian 12 or 13 or Raspberry Pi OS (64 bit).
#   sh deploy/test.sh                  linters, types, unit tests, tests against real parts
#   sh deploy/test.sh -k siphon -x     the same linters, then pytest once with these arguments
# It installs missing Debian packages as root (or by sudo without a password) and starts or stops
# no service of the system. It ends with 0 only if every step passed.
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P)
. "$root/deploy/venv.sh"
PATH="$PATH:/usr/sbin:/sbin" # where mosquitto lives; a plain user has no sbin on the path
began=$(date +%s)
trap 'exit 130' INT
trap 'printf "\n== took %s s\n" "$(($(date +%s) - began))"' EXIT

want_test_tools() {
    want_python
    want_command git git
    want_command mosquitto mosquitto
    want_command umockdev-run umockdev
    want_command chromium chromium
    want_command soffice libreoffice-calc-nogui
    want_command systemd-analyze systemd
}

# Runs a named step and remembers that it failed; later steps still run.
failed=
step() {
    name=$1
    shift
    say "$name"
    "$@" || failed="$failed
  $name: exit code $?"
}

need want_test_tools
"$python" -c 'import sys; sys.exit(sys.maxsize < 2**32)' ||
    fail "the tests need a 64-bit system: numpy, which they compare with, has no 32-bit packages.
The watch itself does not need it."
make_venv .venv-test '.[test]'

cd "$root"
bin=$root/.venv-test/bin
step "ruff" "$bin/python" -m ruff check .
step "import contracts" "$bin/lint-imports" --no-logo
step "mypy" "$bin/python" -m mypy
if [ "$#" -gt 0 ]; then
    step "pytest $*" "$bin/python" -m pytest "$@"
else
    step "unit tests" "$bin/python" -m pytest --ignore=tests/real -m "not long" -n auto --maxprocesses 4 --dist worksteal
    step "long tests" "$bin/python" -m pytest --ignore=tests/real -m long -n auto --maxprocesses 4 --dist worksteal
    # They mostly wait for servers, so three files at a time fit on two processors.
    step "tests against real parts" "$bin/python" -m pytest tests/real -n 3 --dist loadfile
fi

if [ -n "$failed" ]; then
    fail "these steps did not pass:$failed"
fi
say "all steps passed"
