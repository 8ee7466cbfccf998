#!/bin/sh
# Pins every package of the running program with its hashes, for all platforms: writes
# deploy/requirements.txt. Needs the command `uv` (pip install uv) and the internet.
set -eu
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P)
cd "$root"
uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header --no-annotate \
    --extra gpio --extra modbus --extra serial \
    --output-file deploy/requirements.txt pyproject.toml
printf '%s packages are pinned in deploy/requirements.txt\n' "$(grep -c '==' deploy/requirements.txt)"
