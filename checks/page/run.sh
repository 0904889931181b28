#!/usr/bin/env bash
# Opens the pupil's page from disk in Chromium, listens to what it renders and works it with mouse and keyboard.
#
#   checks/page/run.sh [PACK …]     a page of steady tones, and the pages in the folders PACK where some are given
#   checks/page/run.sh --self-test  breaks one thing at a time and wants to see the check fail each time
#
# EXAMPLES is a folder of example programs built already. Pictures and printed pages land in target/checks/page. Installs Chromium (apt-get) and playwright-core and axe-core (npm) where missing.
set -euo pipefail
cd "$(dirname "$0")/../.."
out=target/checks/page
mkdir -p "$out"
command -v chromium >/dev/null || { apt-get update -qq && apt-get install -y -qq chromium fonts-dejavu-core >/dev/null; }
[ -d "$out/node_modules/axe-core" ] || npm install --silent --no-save --prefix "$out" playwright-core@1.65 axe-core@4.14

[ -n "${EXAMPLES:-}" ] || cargo build --release --quiet -p pack --example page_fixture
for format in wav opus; do
  rm -rf "${out:?}/$format"
  "${EXAMPLES:-target/release/examples}/page_fixture" "$out/$format" "$format"
done
if [ "${1:-}" = --self-test ]; then
  node checks/page/self_test.mjs "$out"
else
  node checks/page/check.mjs "$out" "$@"
fi
