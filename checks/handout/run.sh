#!/usr/bin/env bash
# Checks the handout's PDF: fixture pages in A4 and Letter, and any PDF given.
#   checks/handout/run.sh [PACK/handout.pdf ...]
# EXAMPLES is a folder of example programs built already. Needs poppler-utils (pdftoppm, pdftotext, pdffonts) and Python 3 with venv. Pages are left as PNG under target/checks/handout.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
cd "$root"
out=target/checks/handout
mkdir -p "$out"
for tool in pdftoppm pdftotext pdffonts; do
  command -v "$tool" >/dev/null || { echo "$tool is missing: install poppler-utils"; exit 3; }
done
venv=target/checks/handout-venv
if [ ! -f "$venv/ready" ]; then
  python3 -m venv "$venv"
  "$venv/bin/pip" install -q -r "$here/requirements.txt"
  touch "$venv/ready"
fi
[ -n "${EXAMPLES:-}" ] || cargo build --release -q -p pack --example handout_fixture
fixture=$(realpath "${EXAMPLES:-target/release/examples}")/handout_fixture
"$fixture" "$out/a4.pdf" a4 6
"$fixture" "$out/letter.pdf" letter 6 left
"$fixture" "$out/forty.pdf" a4 40
"$fixture" "$out/empty.pdf" letter 0
# Same bytes in another time zone and locale, and from another folder.
(cd / && TZ=Pacific/Chatham LC_ALL=tr_TR.UTF-8 "$fixture" "$root/$out/again.pdf" a4 6)
cmp "$out/a4.pdf" "$out/again.pdf"
rm -f "$out"/*.png
for name in a4 letter empty; do pdftoppm -r 80 -png "$out/$name.pdf" "$out/$name"; done
"$venv/bin/python" "$here/check_pdf.py" --self-test "$out/a4.pdf"
"$venv/bin/python" "$here/check_pdf.py" "$out"/{a4,letter,forty,empty}.pdf "$@"
