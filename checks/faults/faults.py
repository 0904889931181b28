#!/usr/bin/env python3
"""What can go wrong with disks, folders, clocks and other programs: each is brought about, and must be said in words with nothing lost.

    checks/faults/faults.py PROGRAM [NAME…]

Prints a line for each fault: what was done and what came of it. A full and a read-only disk are small file systems of their own, which takes root on Linux; without it those lines
say that they were not tried. Python's own library is all it needs. Exits with 1 at the end if anything was not so.
"""
import contextlib
import hashlib
import os
import pathlib
import random
import shutil
import subprocess
import sys
import tempfile
import time
import traceback

sys.dont_write_bytecode = True
from desk import Bench

PROGRAM = str(pathlib.Path(sys.argv[1]).resolve())
LESSON = """lesson "Kept" {
  passage "p" {
    tempo 240
    slots 4
    part "g" instrument="guitar" {
      bar "5:3 . 4:2 ."
    }
  }
}
"""
TESTS = []


class NotTried(Exception):
    pass


def fault(test):
    TESTS.append(test)
    return test


def run(*args):
    return subprocess.run([PROGRAM, *map(str, args)], capture_output=True, text=True)


def good(*args):
    done = run(*args)
    assert done.returncode == 0, f"{args}: exit {done.returncode}: {done.stderr}"
    return done.stdout


def refused(words, *args, code=3):
    done = run(*args)
    assert done.returncode == code and words in done.stderr and "panicked" not in done.stderr, f"{args}: exit {done.returncode}: {done.stderr!r}, wanted {words!r}"
    return done.stderr.strip()


def lesson(folder, text=LESSON):
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "lesson.kdl").write_text(text)
    return folder


def tree(folder):
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.rglob("*")) if p.is_file()}


def halves(folder):
    return [str(p) for p in folder.rglob("*") if p.name.startswith((".half-", "new-"))]


@contextlib.contextmanager
def disk(folder, size):
    """A small disk of its own at `folder`."""
    folder.mkdir(parents=True)
    if subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "none", str(folder)], capture_output=True).returncode:
        raise NotTried("no small disk can be mounted here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(folder, leave=0):
    """Takes up all room but `leave` bytes; gives the file to delete."""
    file = folder / "filler"
    with open(file, "wb") as f:
        with contextlib.suppress(OSError):
            while True:
                f.write(bytes(65536))
                f.flush()
    size = file.stat().st_size
    os.truncate(file, max(0, size - leave))
    return file


def record(path, seconds=4):
    import math, struct, wave

    with wave.open(str(path), "wb") as w:
        w.setparams((1, 2, 22050, 0, "NONE", ""))
        for n in range(seconds * 2):
            hz = [110, 165, 220, 147][n % 4]
            w.writeframes(b"".join(struct.pack("<h", int(12000 * math.exp(-3 * i / 11025) * math.sin(2 * math.pi * hz * i / 22050))) for i in range(11025)))
    return path


@fault
def full_disk_commands(at):
    with disk(at / "disk", "12m") as d:
        folder = lesson(d / "lesson")
        good("make", folder, "--tempos", 100)
        pack = tree(folder / "pack")
        sound = record(d / "record.wav")
        good("requests", "--shelf", d, "--add", "how to begin")
        wishes = (d / "requests.txt").read_text()
        (folder / "lesson.kdl").write_text(LESSON.replace("5:3", "5:7"))
        filler = fill(d)
        for args in (["new", d / "other"], ["make", folder, "--tempos", 100], ["requests", "--shelf", d, "--add", "more"]):
            refused("the disk is full", *args)
        assert not (d / "other" / "lesson.kdl").exists() and tree(folder / "pack") == pack and (d / "requests.txt").read_text() == wishes
        heard = run("hear", sound, "--json")
        assert heard.returncode == 0 and heard.stdout.startswith("{") and "could not be kept" in heard.stderr, heard.stderr
        found = run("find", "tempo", "240", "--shelf", d)
        assert found.returncode in (0, 3) and "panicked" not in found.stderr
        filler.unlink()
        filler = fill(d, 40_000)
        done = run("make", folder, "--tempos", 100)
        assert done.returncode == 3 and "the disk is full" in done.stderr and tree(folder / "pack") == pack, done
        filler.unlink()
        good("make", folder, "--tempos", 100)
        assert not halves(d)
        return f"new, make (old pack whole), requests: exit 3, \"the disk is full\"; hear answers and says that nothing is kept; find: exit {found.returncode}{', ' + found.stderr.strip().split(': ', 1)[-1] if found.stderr.strip() else ''}"


@fault
def full_disk_bench(at):
    with disk(at / "disk", "2m") as d:
        folder = lesson(d / "lesson")
        b = Bench(PROGRAM, folder)
        assert b.type("5:3", "5:4") == 200
        b.until("saved", lambda s: s["saved"])
        filler = fill(d)
        for n in range(5, 13):
            assert b.type(f"5:{n - 1} ", f"5:{n} ") == 200
            time.sleep(0.25)
        # As much as no page of the disk has room for.
        assert b.type("lesson \"Kept\"", "lesson \"Kept\" // " + 9000 * "w") == 200
        why = b.until("a fault", lambda s: s["fault"])["fault"]
        assert "the disk is full" in why, why
        form = b'--cut\r\nContent-Disposition: form-data; name="take"; filename="a.wav"\r\n\r\n' + bytes(400_000) + b"\r\n--cut--\r\n"
        status, body, _ = b.ask("POST", "/takes", form, "multipart/form-data; boundary=cut")
        assert status == 500 and b"the disk is full" in body and not list((folder / "takes").glob("*")), (status, body)
        file = (folder / "lesson.kdl").read_text()
        assert file.endswith("}\n") and file.startswith("lesson \"Kept\"")
        filler.unlink()
        text = b.until("saved again", lambda s: s["saved"] and not s["fault"])["text"]
        assert (folder / "lesson.kdl").read_text() == text and "5:12" in text
        b.end()
        b = Bench(PROGRAM, folder)
        assert b.state()["text"] == text and not b.state()["conflict"]
        while b.post("/undo")[0] == 200:
            pass
        assert b.state()["text"] == LESSON, b.state()["text"]
        b.end()
        return f"the page says: {why}; when there is room again all is saved within a second or two, and every step can be taken back after a restart; a take is refused whole"


@fault
def read_only(at):
    with disk(at / "disk", "12m") as d:
        folder = lesson(d / "lesson")
        sound = record(d / "record.wav")
        b = Bench(PROGRAM, folder)
        def mount(how):
            subprocess.run(["mount", "-o", f"remount,{how}", str(d)], check=True)
        # Files held open for writing would keep the disk writable.
        subprocess.run(["mount", "--bind", str(d), str(d)], check=True)
        try:
            subprocess.run(["mount", "-o", "remount,bind,ro", str(d)], check=True)
            said = [refused("can only be read", *args) for args in (["new", d / "other"], ["make", folder], ["requests", "--shelf", d, "--add", "x"], ["open", folder], ["find", "x", "--shelf", d])]
            heard = run("hear", sound)
            assert heard.returncode == 0 and "can only be read" in heard.stderr, heard
            assert b.type("5:3", "5:4") == 200
            why = b.until("a fault", lambda s: s["fault"])["fault"]
            assert "can only be read" in why, why
            subprocess.run(["mount", "-o", "remount,bind,rw", str(d)], check=True)
            b.until("saved", lambda s: s["saved"] and not s["fault"])
            assert "5:4" in (folder / "lesson.kdl").read_text()
        finally:
            subprocess.run(["umount", str(d)])
            b.end()
        return f"{len(said)} commands: exit 3, \"the folder can only be read, not written\"; hear answers; the bench says it and saves when it can again"


@fault
def vanished_folder(at):
    folder = lesson(at / "lesson")
    b = Bench(PROGRAM, folder)
    folder.rename(at / "away")
    assert b.type("5:3", "5:4") == 200
    state = b.until("that it is gone", lambda s: s["gone"] and s["fault"])
    assert b.type("5:4", "5:5") == 200
    (at / "away").rename(folder)
    b.until("saved", lambda s: s["saved"] and not s["fault"])
    assert "5:5" in (folder / "lesson.kdl").read_text()
    # Deleted, and an empty folder put in its place.
    shutil.rmtree(folder)
    assert b.type("5:5", "5:6") == 200
    b.until("a fault", lambda s: s["fault"])
    folder.mkdir()
    text = b.until("saved", lambda s: s["saved"] and not s["fault"])["text"]
    assert (folder / "lesson.kdl").read_text() == text and "5:6" in text
    b.end()
    b = Bench(PROGRAM, folder)
    while b.post("/undo")[0] == 200:
        pass
    assert b.state()["text"] == LESSON
    b.end()
    return f"the page says: {state['fault']}; back again, or in a new folder, the lesson is written whole, with all steps"


@fault
def clock_backwards(at):
    for n in range(3):
        lesson(at / "shelf" / f"l{n}", LESSON.replace("240", f"10{n}"))
    ask = ["find", "tempo", "200-210", "--json", "--shelf", at / "shelf"]
    assert '"total":0' in good(*ask)
    changed = at / "shelf" / "l1" / "lesson.kdl"
    for day in (-10_000, 10_000, -1):
        # The same size, written at a time before the last look, or after the next.
        changed.write_text(LESSON.replace("240", "205"))
        os.utime(changed, (time.time() + day * 86400, time.time() + day * 86400))
        assert '"total":1' in good(*ask), day
        changed.write_text(LESSON.replace("240", "105"))
        os.utime(changed, (time.time() + day * 43200, time.time() + day * 43200))
        assert '"total":0' in good(*ask), day
    sound = record(at / "record.wav")
    first = good("hear", sound, "--json")
    for file in (at / ".partwright" / "heard").iterdir():
        os.utime(file, (time.time() + 1e7, time.time() + 1e7))
    (at / ".partwright" / "heard" / ".half-1-1").write_text("later")
    os.utime(at / ".partwright" / "heard" / ".half-1-1", (time.time() + 1e7, time.time() + 1e7))
    assert good("hear", sound, "--json") == first
    return "lessons and kept files dated years back or ahead: changes are found, what is kept answers the same"


@fault
def two_programs(at):
    folder = lesson(at / "lesson")
    b = Bench(PROGRAM, folder)
    why = refused("another bench", "open", folder)
    both = [subprocess.Popen([PROGRAM, "make", str(folder), "--tempos", "100"], stderr=subprocess.PIPE, text=True, stdout=subprocess.DEVNULL) for _ in range(3)]
    for n in range(4, 9):
        assert b.type(f"5:{n - 1} ", f"5:{n} ") == 200
        time.sleep(0.1)
    assert all(p.wait() == 0 for p in both), [p.stderr.read() for p in both]
    b.until("saved", lambda s: s["saved"])
    status, told = b.post("/make")
    assert status == 200, told
    b.end()
    fresh = lesson(at / "fresh", (folder / "lesson.kdl").read_text())
    good("make", fresh)
    assert tree(fresh / "pack") == tree(folder / "pack")
    adds = [subprocess.Popen([PROGRAM, "requests", "--shelf", str(at), "--add", f"wish {n} of eight"], stdout=subprocess.DEVNULL) for n in range(8)]
    assert all(p.wait() == 0 for p in adds)
    text = (at / "requests.txt").read_text()
    assert all(f"wish {n} of eight" in text for n in range(8)), text
    news = [subprocess.Popen([PROGRAM, "new", str(at / "one"), "--title", f"T{n}"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) for n in range(4)]
    codes = sorted(p.wait() for p in news)
    assert codes == [0, 3, 3, 3], codes
    finds = [subprocess.Popen([PROGRAM, "find", "tempo", "240", "--json", "--shelf", str(at)], stdout=subprocess.PIPE, text=True) for _ in range(6)]
    answers = {p.communicate()[0] for p in finds}
    assert len(answers) == 1, answers
    return f"second bench: {why.split(': ', 1)[-1]}; three makes beside a bench at work, eight additions to the requests, four new lessons in one folder, six questions to the shelf at once: all answered, none lost"


@fault
def changed_underneath(at):
    folder = lesson(at / "lesson")
    file = folder / "lesson.kdl"
    b = Bench(PROGRAM, folder)
    def beside(text):
        (folder / ".sync").write_bytes(text if isinstance(text, bytes) else text.encode())
        (folder / ".sync").rename(file)
    # Renamed into its place, then written in place in two pieces, then emptied for a moment.
    beside(LESSON.replace("240", "200"))
    b.until("200", lambda s: "tempo 200" in s["text"])
    whole = LESSON.replace("240", "190")
    file.write_text(whole[:60])
    time.sleep(0.3)
    file.write_text(whole)
    b.until("190", lambda s: s["text"] == whole)
    file.write_text("")
    time.sleep(0.3)
    file.write_text(whole)
    b.until("190 again", lambda s: s["text"] == whole)
    # Typed here, other words there: both stand.
    assert b.type("5:3", "5:4") == 200
    b.until("saved", lambda s: s["saved"])
    beside(LESSON)
    b.until("a conflict", lambda s: s["conflict"])
    assert b.type("5:4", "5:5") == 200
    time.sleep(1)
    assert file.read_text() == LESSON
    assert b.post("/conflict", {"keep": "here"})[0] == 200
    b.until("saved", lambda s: s["saved"] and not s["conflict"])
    assert "5:5" in file.read_text()
    # What is no lesson's text is never taken, and never written over.
    for bad in (b"\xff\xfe" + 2000 * b"\x00z", b"// " + 3_000_000 * b"w"):
        beside(bad)
        b.until("a conflict", lambda s: s["conflict"])
        status, told = b.post("/conflict", {"keep": "file"})
        assert status == 422 and "no lesson" in told["found"], told
        assert b.post("/conflict", {"keep": "here"})[0] == 200
        b.until("saved", lambda s: s["saved"] and not s["conflict"])
        assert "5:5" in file.read_text() and any(p.read_bytes() == bad for p in folder.glob("lesson.kdl.aside-*"))
    # The program's own folder taken away, and the journal of another machine put in its place.
    shutil.rmtree(folder / ".partwright")
    assert b.type("5:5", "5:6") == 200
    b.until("saved", lambda s: s["saved"] and not s["fault"])
    assert (folder / ".partwright" / "bench" / "steps").is_file()
    (folder / ".partwright" / "bench" / "steps").write_text('{"format":1,"base":"lesson \\"Another\\" {}"}\n')
    assert b.type("5:6", "5:7") == 200
    b.until("saved", lambda s: s["saved"] and not s["fault"])
    b.end()
    b = Bench(PROGRAM, folder)
    state = b.state()
    assert "5:7" in state["text"] and not state["conflict"] and b.post("/undo")[0] == 200 and "5:6" in b.state()["text"]
    b.end()
    return "other texts are taken over or stand in conflict; half and empty files pass by; no text and too much of it are shown, refused as a choice and kept beside the lesson; a lost or strange journal is written anew"


@fault
def damaged_caches(at):
    dice = random.Random(28)
    folder = lesson(at / "shelf" / "lesson", LESSON.replace("tempo 240", "tempo 240; record \"record.wav\" from=\"0:00\" to=\"0:01\""))
    record(folder / "record.wav", 8)
    def everything():
        make = good("make", folder, "--tempos", 100)
        pack = tree(folder / "pack")
        heard = good("hear", folder / "record.wav", "--json")
        found = good("find", "tempo", "240", "--json", "--shelf", at / "shelf")
        b = Bench(PROGRAM, folder)
        assert b.why is None, b.why
        bars = b.ask("GET", "/record")[1]
        state = b.state()
        b.until("saved", lambda s: s["saved"])
        said = b.end()
        assert "panicked" not in said, said
        del make
        return pack, heard, found, bars, state["text"], state["conflict"]
    first = everything()
    kept = sorted(p for p in (at / "shelf").rglob("*") if p.is_file() and ".partwright" in p.parts and p.name not in ("lock", "requests.lock"))
    kinds = sorted({p.parent.name + "/" + (p.name if p.parent.name in ("bench", ".partwright") else "*") for p in kept})
    tried = 0
    for file in kept:
        for how in range(4):
            if not file.is_file():
                continue
            bytes_ = bytearray(file.read_bytes())
            if how == 0 and bytes_:
                for _ in range(3):
                    at_ = dice.randrange(len(bytes_))
                    bytes_[at_] ^= 1 << dice.randrange(8)
            elif how == 1:
                del bytes_[len(bytes_) // 2 :]
            elif how == 2:
                bytes_ = bytearray(dice.randbytes(500))
            else:
                bytes_ = bytearray()
            file.write_bytes(bytes_)
            tried += 1
            again = everything()
            if again != first:
                which = [n for n, (x, y) in zip(("pack", "heard", "found", "bars", "text", "conflict"), zip(again, first)) if x != y]
                raise AssertionError(f"{file}, damage {how}: another {which}")
    # Bounded: a kept hearing more than may be.
    heard = folder / ".partwright" / "heard"
    for n in range(230):
        (heard / f"{n:064}.json").write_text("old")
        os.utime(heard / f"{n:064}.json", (1e9 + n, 1e9 + n))
    shutil.copy(folder / "record.wav", folder / "other.wav")
    with open(folder / "other.wav", "ab") as f:
        f.write(bytes(2))
    good("hear", folder / "other.wav", "--json")
    assert len(list(heard.iterdir())) <= 200, len(list(heard.iterdir()))
    return f"{tried} damages (flipped bits, cut in half, other bytes, emptied) of {len(kept)} files of {len(kinds)} kinds: the same pack, hearing, answers and text each time; at most 200 hearings stay"


@fault
def links_where_own_files_are(at):
    mine = at / "mine"
    mine.mkdir()
    (mine / "words").write_text("mine")
    for name in ("lock", "made.json", "sound", "bench/lock", "bench/steps", "all.shelf", "requests.lock", "heard", "."):
        folder = lesson(at / name.replace("/", "-").replace(".", "own-") / "lesson")
        own = folder / ".partwright"
        if name != ".":
            (own / name).parent.mkdir(parents=True, exist_ok=True)
        (own / name if name != "." else own).symlink_to(mine if name in ("sound", "heard", ".") else mine / "words")
        record(folder / "record.wav")
        results = [run("make", folder, "--tempos", 100), run("hear", folder / "record.wav"), run("find", "x", "--shelf", folder), run("requests", "--shelf", folder, "--add", "x")]
        b = Bench(PROGRAM, folder)
        if b.why is None:
            assert b.type("5:3", "5:4") == 200
            b.until("saved", lambda s: s["saved"])
            b.end()
        assert all("panicked" not in r.stderr for r in results)
        assert (mine / "words").read_text() == "mine" and [p.name for p in mine.iterdir()] == ["words"], (name, list(mine.iterdir()))
    return "a folder from somebody else with links in place of the program's own files and folders: refused in words or replaced, nothing written or deleted behind them"


def main():
    wanted = sys.argv[2:]
    bad = 0
    for test in TESTS:
        if wanted and test.__name__ not in wanted:
            continue
        at = pathlib.Path(tempfile.mkdtemp(prefix="faults-"))
        name = test.__name__.replace("_", " ")
        try:
            print(f"{name}: {test(at)}", flush=True)
        except NotTried as why:
            print(f"{name}: not tried: {why}", flush=True)
        except Exception:
            bad += 1
            print(f"{name}: NOT SO", flush=True)
            traceback.print_exc()
        finally:
            shutil.rmtree(at, ignore_errors=True)
    print(f"{bad} of {len(TESTS)} were not so")
    sys.exit(1 if bad else 0)


main()
