#!/usr/bin/env bash
# MusicXML and MIDI of the demo lessons and of 200 random ones, read back by other people's libraries and held against the model.
# What reads what, and what cannot be read: see check.py. COUNT and SEED choose the random lessons, JOBS the processes,
# EXAMPLES a folder of example programs built already.
set -euo pipefail
cd "$(dirname "$0")/../.."
venv=target/checks/exchange-venv
out=target/checks/exchange
if [ ! -e "$venv/ready" ]; then
  python3 -m venv "$venv"
  "$venv/bin/pip" -q install --disable-pip-version-check -r checks/exchange/requirements.txt
  touch "$venv/ready"
fi
[ -n "${EXAMPLES:-}" ] || cargo build --release -q -p pack --example exchange
exchange=${EXAMPLES:-target/release/examples}/exchange
rm -rf "$out"
"$exchange" "$out" demo/*/lesson.kdl
"$exchange" "$out" --random "${COUNT:-200}" "${SEED:-1}"
# The libraries warn about signs that they do not draw; what they read is what counts.
"$venv/bin/python" checks/exchange/check.py "$out" 2>"$out/warnings.txt"
"$venv/bin/python" checks/exchange/check.py "$out" --faults 2>>"$out/warnings.txt"
