"""Proof of what the note network was trained on: `checks/take/training.py DATA [BANK]`.

Holds training/notes/sources.txt (SHA-256 of every file that the bank was made of, and of the bank) against the folder of open data: none of the digests
is that of a file of players 03 and 05, and every file of the folder that is listed is where it says, unchanged. With BANK (what bank.py wrote): the bank is
the one listed, and its playing is that of players 00 and 01, note for note, and no other. Needs numpy for BANK.
"""
import hashlib
import json
import pathlib
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
BARRED = ("03_", "05_")


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def listed_faults(listed, digests):
    """`listed`: [(digest, path)]; `digests`: those of the folder's files by path."""
    barred = {d: p for p, d in digests.items() if p.rsplit("/", 1)[-1].startswith(BARRED)}
    if not barred:
        yield "the folder holds no file of players 03 and 05 to compare with"
    for d, path in listed:
        if d in barred:
            yield f"read, but barred: {barred[d]}"
        if path.rsplit("/", 1)[-1].startswith(BARRED):
            yield f"read, but barred by name: {path}"
        if "/" in path and not path.startswith("bank/") and digests.get(path) != d:
            yield f"{path} is not in the folder as it was read"


def bank_faults(data, bank, listed):
    import numpy as np
    for d, path in listed:
        if path.startswith("bank/") and digest(bank / path[5:]) != d:
            yield f"{path} is not the bank of the list"
    play = np.load(bank / "playing.npz")
    of_file = play["notes"][:, 0].astype(int)
    if len(of_file) and not 0 <= of_file.min() <= of_file.max() < len(play["names"]):
        yield "notes that belong to no file"
    for i, name in enumerate(play["names"]):
        if not name.startswith(("00_", "01_")):
            yield f"playing of {name}"
            continue
        doc = json.loads((data / "guitarset" / "annotation" / f"{name}.jams").read_text())
        want = sorted((np.float32(n["time"]), np.float32(n["value"])) for a in doc["annotations"] if a["namespace"] == "note_midi" for n in a["data"])
        have = sorted((r[1], r[4]) for r in play["notes"][of_file == i])
        if want != have:
            yield f"{name}: {len(have)} notes in the bank, {len(want)} in the annotation, or they differ"
    print(f"{len(play['names'])} files of playing, {len(of_file)} notes")


def main(data, bank=None):
    data = pathlib.Path(data)
    listed = [tuple(line.split("  ", 1)) for line in (ROOT / "training/notes/sources.txt").read_text().splitlines()]
    digests = {str(p.relative_to(data)): digest(p) for p in sorted(data.rglob("*")) if p.is_file()}
    faults = list(listed_faults(listed, digests))
    if bank:
        faults += bank_faults(data, pathlib.Path(bank), listed)
    barred = sum(p.rsplit("/", 1)[-1].startswith(BARRED) for p in digests)
    print(f"{len(listed)} digests, {barred} files of players 03 and 05 in the folder, {len(faults)} faults")
    for f in faults:
        print("fault:", f)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
