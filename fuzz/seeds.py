#!/usr/bin/env python3
"""Seeds for the targets, from the project's own lessons, pages and sounds: fuzz/corpus/NAME."""
import hashlib
import pathlib
import re

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent
ENDINGS = {"wav": 1, "flac": 2, "mp3": 3, "ogg": 4, "opus": 5, "m4a": 6}
WORDS = ["x x 8 8 8 x;E2 A2 D3 G3 B3 E4;C minor;Cm7;Bb1", "x 3 2 0 1 0;drop D;G major;Cmaj7/E;C", "8 10 10 9 8 8;standard;F# dorian;C7(b9,#11);Eb", "0 2 2 1 0 0;D2 A2 D3 G3 A3 D4;A;Esus4;E2"]


def put(name, bytes_):
    folder = HERE / "corpus" / name
    folder.mkdir(parents=True, exist_ok=True)
    (folder / hashlib.sha256(bytes_).hexdigest()[:16]).write_bytes(bytes_)


lessons = [*ROOT.glob("demo/*/lesson.kdl"), *ROOT.glob("crates/lesson/tests/texts/*"), *ROOT.glob("crates/lesson/tests/faulty/*")]
for file in [*lessons, ROOT / "docs" / "lesson-file.md"]:
    text = file.read_bytes()
    if file.suffix != ".md":
        put("lesson", text)
    for bar in re.findall(rb'bar "([^"]*)"', text):
        put("strokes", bar)
for file in ROOT.glob("crates/wave/tests/data/*"):
    put("audio", bytes([ENDINGS.get(file.suffix[1:], 0)]) + file.read_bytes()[:60_000])
for text in WORDS:
    put("words", text.encode())
for page in ("find", "requests", "course"):
    for block in re.findall(r"`{1,3}(?:[a-z]*\n)?([^`]+)`{1,3}", (ROOT / "docs" / f"{page}.md").read_text()):
        put("queries", block.encode())
