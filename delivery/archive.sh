#!/usr/bin/env bash
# Makes the archive that a teacher without a compiler is given: one program with everything in it, manual pages, completions, demo, documents.
#
#   delivery/archive.sh            writes target/delivery/partwright-VERSION-TARGET.tar.gz and its digest
#
# The program holds its C library, so that it runs on any Linux of this processor. Needs Rust and a C/C++ compiler. The same commit gives the same archive, byte for byte, by the same compiler.
set -euo pipefail
cd "$(dirname "$0")/.."
target=$(rustc -vV | sed -n 's/^host: //p')
version=$(cargo metadata --no-deps --format-version 1 | grep -o '"name":"partwright","version":"[^"]*"' | sed 's/.*version":"//; s/"//')
commit=$(git rev-parse --short=12 HEAD 2>/dev/null || echo unknown)
[ -z "$(git status --porcelain 2>/dev/null)" ] || commit="$commit, changed since"
when=$(git log -1 --format=%ct 2>/dev/null || echo 0)

RUSTFLAGS="-C target-feature=+crt-static --remap-path-prefix=$PWD=. --remap-path-prefix=${CARGO_HOME:-$HOME/.cargo}=cargo" PARTWRIGHT_COMMIT="commit $commit" \
  cargo build --release --target "$target" --target-dir target/static -p partwright
built=target/static/$target/release/partwright

name=partwright-$version-$target
out=target/delivery
rm -rf "${out:?}/$name"
mkdir -p "$out/$name"/{docs,man/man1,completions}
install -m 755 "$built" "$out/$name/partwright"
strip "$out/$name/partwright"
cp README.md CHANGELOG.md LICENSE-APACHE LICENSE-MIT THIRD-PARTY.md "$out/$name"
cp docs/*.md docs/*.png "$out/$name/docs"
cp -r demo "$out/$name/demo"
rm -rf "$out/$name"/demo/*/{pack,practice,film,.partwright} "$out/$name"/demo/.partwright
cp delivery/partwright.desktop delivery/START.md "$out/$name"
cp crates/bench/src/page/icon.svg "$out/$name/partwright.svg"
"$built" manpage > "$out/$name/man/man1/partwright.1"
for verb in $("$built" --help | sed -n '/^Commands:/,/^$/s/^  \([a-z]*\) .*/\1/p'); do
  [ "$verb" = help ] || "$built" manpage "$verb" > "$out/$name/man/man1/partwright-$verb.1"
done
for shell in bash zsh fish; do "$built" completions "$shell" > "$out/$name/completions/partwright.$shell"; done

tar --sort=name --owner=0 --group=0 --numeric-owner --mtime="@$when" -C "$out" -cf - "$name" | gzip -9n > "$out/$name.tar.gz"
(cd "$out" && sha256sum "$name.tar.gz" > "$name.tar.gz.sha256")
echo "$out/$name.tar.gz: $(stat -c %s "$out/$name.tar.gz") bytes; the program $(stat -c %s "$out/$name/partwright")"
