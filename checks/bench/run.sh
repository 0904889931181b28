#!/usr/bin/env bash
# Works the bench in Chromium with mouse and keyboard, as a teacher would, and measures it.
#
#   checks/bench/run.sh            all of it, on copies of the demo and of a lesson of six passages and four parts
#   ONLY="name;name" checks/bench/run.sh
#   LOOKS=all checks/bench/run.sh       axe and pictures in five looks in place of three
#
# EXAMPLES is a folder of example programs built already, PARTWRIGHT the program itself. Pictures land in target/checks/bench. Installs Chromium (apt-get) and playwright-core and axe-core (npm) where missing.
set -euo pipefail
cd "$(dirname "$0")/../.."
out=target/checks/bench
mkdir -p "$out"
command -v chromium >/dev/null || { apt-get update -qq && apt-get install -y -qq chromium fonts-dejavu-core >/dev/null; }
[ -d "$out/node_modules/axe-core" ] || npm install --silent --no-save --prefix "$out" playwright-core@1.65 axe-core@4.14
[ -n "${EXAMPLES:-}" ] || cargo build --release --quiet -p bench --example serve_lesson
[ -n "${PARTWRIGHT:-}" ] || cargo build --release --quiet -p partwright
node checks/bench/check.mjs "$out" "${EXAMPLES:-target/release/examples}/serve_lesson" "${PARTWRIGHT:-target/release/partwright}"
