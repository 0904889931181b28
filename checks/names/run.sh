#!/usr/bin/env bash
# Names held against random voicings, mir_eval, two npm packages, a general music library, and (with a folder of annotations) real playing.
#
#   checks/names/run.sh [ANNOTATIONS]
#
# ANNOTATIONS is the folder of GuitarSet's JAMS files; only players 03 and 05 are looked at. PARTWRIGHT is a ready-made program. What else is needed is installed
# by name into target/checks: see requirements.txt and package.json.
set -euo pipefail
cd "$(dirname "$0")/../.."
venv=target/checks/names-venv
npm=target/checks/names-npm
if [ ! -e "$venv/ready" ]; then
  python3 -m venv "$venv"
  "$venv/bin/pip" -q install --disable-pip-version-check -r checks/names/requirements.txt
  touch "$venv/ready"
fi
if [ ! -e "$npm/ready" ]; then
  mkdir -p "$npm"
  cp checks/names/package.json "$npm/"
  (cd "$npm" && npm install --silent --no-audit --no-fund --no-package-lock)
  touch "$npm/ready"
fi
if [ -z "${PARTWRIGHT:-}" ]; then
  cargo build --release -q -p partwright
  PARTWRIGHT=target/release/partwright
fi
NODE_PATH="$PWD/$npm/node_modules" node checks/names/dictionary.cjs > "$npm/dictionary.json"
"$venv/bin/python" checks/names/voicings.py "$PARTWRIGHT"
"$venv/bin/python" checks/names/dictionary.py "$PARTWRIGHT" "$npm/dictionary.json"
if [ -n "${1:-}" ]; then
  "$venv/bin/python" checks/names/playing.py "$PARTWRIGHT" "$1" --list
fi
