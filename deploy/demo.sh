#!/bin/sh
# Plays the demo: builds .venv on the first run, then runs `holdwater demo` with your arguments.
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P)
. "$root/deploy/venv.sh"

need want_python
make_venv .venv .
exec "$root/.venv/bin/holdwater" demo "$@"
