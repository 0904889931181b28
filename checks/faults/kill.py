#!/usr/bin/env python3
"""Kills the program at random moments and looks at what it left.

    checks/faults/kill.py PROGRAM [--kills 1000] [--seed 1] [--only page,make,…]

| what is killed | what must be so afterwards |
|---|---|
| `page`: the bench while the page types, undoes, hands in takes | everything answered more than a second before is there; the lesson file was one of the texts at every look, also while it was at work; takes are whole; nothing stands in conflict |
| `make` | the pack is the old one or the new one, file by file, or was never made |
| `hear` | what is kept of a record agrees with its digest |
| `shelf` | the index answers as a fresh one does |
| `requests` | the list is the one before or the one after, and holds all that was added |
| `new` | no lesson, or a whole one |

Now and then a command is left to end, must succeed and must give what it gives in a fresh folder. Counts and the age of the oldest lost keystroke are printed; exits with 1 at the first thing
that is not so, and keeps its folder. Kills of a program that had ended already are not counted. Python's own library is all it needs.
"""
import argparse
import collections
import hashlib
import http.client
import json
import math
import os
import pathlib
import random
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import threading
import time
import wave

SHARES = {"page": 50, "make": 16, "hear": 8, "shelf": 10, "requests": 10, "new": 6}
LESSON = """lesson "Kept" {
  passage "p" {
    tempo 240
    slots 4
    part "g" instrument="guitar" {
      bar "5:3 . 4:2 ."
      bar "5:5 - . 4:2"
    }
    note "Words are typed here: ." at="1.1"
  }
}
"""


class Lost(Exception):
    pass


def must(what, so):
    if not so:
        raise Lost(what)


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def tree(folder):
    return {str(p.relative_to(folder)): digest(p) for p in sorted(folder.rglob("*")) if p.is_file()} if folder.is_dir() else None


def put(path, text):
    half = path.with_name(".put")
    half.write_text(text)
    half.rename(path)


class Kills:
    """What all kinds have in common: the program, the dice, the counts."""

    def __init__(self, program, dice, folder):
        self.program, self.dice, self.folder = program, dice, folder
        self.killed, self.ended, self.looks = 0, 0, 0
        self.took = None
        folder.mkdir(parents=True)

    def run(self, *args):
        began = time.monotonic()
        done = subprocess.run([self.program, *map(str, args)], capture_output=True, text=True)
        self.took = time.monotonic() - began
        must(f"{args}: exit {done.returncode}: {done.stderr}", done.returncode == 0)
        return done.stdout

    def kill(self, *args):
        """Runs a command and kills it somewhere on its way; True where it was still at work."""
        child = subprocess.Popen([self.program, *map(str, args)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(self.dice.uniform(0, 1.05) * self.took)
        at_work = child.poll() is None
        child.send_signal(signal.SIGKILL)
        child.wait()
        self.killed += at_work
        self.ended += not at_work
        if not at_work:
            must(f"{args}: exit {child.returncode}", child.returncode == 0)
        return at_work

    def no_halves(self, *folders):
        for f in folders:
            left = [p.name for p in f.iterdir() if p.name.startswith((".half-", "new-"))] if f.is_dir() else []
            must(f"{f}: left lying about: {left}", not left)

    def told(self):
        return ""


class Make(Kills):
    def __init__(self, *args):
        super().__init__(*args)
        self.texts = [LESSON, LESSON.replace("5:3", "5:7").replace("Kept", "Kept otherwise")]
        self.packs = []
        for n, text in enumerate(self.texts):
            fresh = self.folder / f"fresh-{n}"
            fresh.mkdir()
            put(fresh / "lesson.kdl", text)
            self.run("make", fresh, "--tempos", 100)
            self.packs.append(tree(fresh / "pack"))
        self.work = self.folder / "lesson"
        self.work.mkdir()

    def once(self):
        which = self.dice.randrange(2)
        put(self.work / "lesson.kdl", self.texts[which])
        if self.dice.random() < 0.5:
            shutil.rmtree(self.work / ".partwright" / "sound", ignore_errors=True)
        self.kill("make", self.work, "--tempos", 100)
        self.looks += 1
        must("the pack is neither the old one nor the new one", tree(self.work / "pack") in [None, *self.packs])
        if self.dice.random() < 0.1:
            self.run("make", self.work, "--tempos", 100)
            must("the pack is another than in a fresh folder", tree(self.work / "pack") == self.packs[which])
            self.no_halves(self.work, self.work / ".partwright", self.work / ".partwright" / "sound")


class Hear(Kills):
    def __init__(self, *args):
        super().__init__(*args)
        self.record = self.folder / "record.wav"
        with wave.open(str(self.record), "wb") as w:
            w.setparams((1, 2, 22050, 0, "NONE", ""))
            beat = 11025
            for n in range(16):
                hz = [110, 165, 220, 147][n % 4]
                w.writeframes(b"".join(struct.pack("<h", int(12000 * math.exp(-3 * i / beat) * math.sin(2 * math.pi * hz * i / 22050))) for i in range(beat)))
        self.told_first = self.run("hear", self.record, "--json")

    def once(self):
        kept = self.folder / ".partwright" / "heard"
        if self.dice.random() < 0.7:
            shutil.rmtree(kept, ignore_errors=True)
        self.kill("hear", self.record, "--json")
        for file in kept.glob("*.json") if kept.is_dir() else []:
            self.looks += 1
            head, _, rest = file.read_bytes().partition(b"\n")
            must(f"{file.name} is half", head.decode() == hashlib.sha256(rest).hexdigest())
        if self.dice.random() < 0.1:
            must("another answer than at first", self.run("hear", self.record, "--json") == self.told_first)


class Shelf(Kills):
    ASKED = ["find", "tempo", "90-250", "--most", 500, "--json", "--shelf"]

    def __init__(self, *args):
        super().__init__(*args)
        self.work = self.folder / "shelf"
        for n in range(40):
            (self.work / f"lesson-{n:02}").mkdir(parents=True)
            self.change(n)
        self.run(*self.ASKED, self.work)

    def change(self, n):
        fret = self.dice.randrange(1, 12)
        put(self.work / f"lesson-{n:02}" / "lesson.kdl", LESSON.replace("5:3", f"5:{fret}").replace("240", str(self.dice.randrange(60, 240))))

    def once(self):
        for _ in range(self.dice.randrange(1, 12)):
            self.change(self.dice.randrange(40))
        if self.dice.random() < 0.3:
            for file in (self.work / ".partwright").glob("all.shelf*"):
                file.unlink()
        self.kill(*self.ASKED, self.work)
        if self.dice.random() < 0.2:
            self.looks += 1
            told = self.run(*self.ASKED, self.work)
            fresh = self.folder / "fresh"
            shutil.rmtree(fresh, ignore_errors=True)
            shutil.copytree(self.work, fresh, ignore=shutil.ignore_patterns(".partwright"))
            must("the index answers otherwise than a fresh one", self.run(*self.ASKED, fresh) == told)


class Requests(Kills):
    def __init__(self, *args):
        super().__init__(*args)
        self.file = self.folder / "requests.txt"
        self.words = []
        self.count = 0
        self.run("requests", "--shelf", self.folder, "--add", "how to begin")

    def once(self):
        self.count += 1
        words = f"wish number {self.count} for a song"
        before = self.file.read_text()
        at_work = self.kill("requests", "--shelf", self.folder, "--add", words)
        after = self.file.read_text()
        self.looks += 1
        if words in after:
            self.words.append(words)
            must("the words before are gone", sorted(before.split("\n")) == sorted(l for l in after.split("\n") if words not in l))
        else:
            must("an addition that ended is not there", at_work)
            must("the list changed without an addition", before == after)
        must("words are lost", all(w in after for w in self.words))


class New(Kills):
    def __init__(self, *args):
        super().__init__(*args)
        self.run("new", self.folder / "fresh", "--title", "Whole")
        self.whole = (self.folder / "fresh" / "lesson.kdl").read_text()
        self.count = 0

    def once(self):
        self.count += 1
        folder = self.folder / f"new-{self.count}"
        at_work = self.kill("new", folder, "--title", "Whole")
        file = folder / "lesson.kdl"
        self.looks += 1
        must("half a lesson", file.read_text() == self.whole if file.exists() else at_work)


class Page(Kills):
    """Types in a lesson as the page does. `texts` are all texts that were answered, each with the time of its answer."""

    def __init__(self, *args):
        super().__init__(*args)
        self.file = self.folder / "lesson.kdl"
        put(self.file, LESSON)
        self.texts = [(0.0, LESSON)]
        self.known = {LESSON}
        self.takes = {}
        self.answered, self.lost, self.oldest, self.acts = 0, 0, 0.0, collections.Counter()
        self.opened, self.flight, self.last_flight, self.sums = False, None, None, set()

    def ask(self, method, path, body=None, kind="application/json"):
        head = {"Cookie": self.cookie, "Origin": f"http://{self.host}", "x-window": "kill"}
        data = body if isinstance(body, bytes) or body is None else json.dumps(body).encode()
        if data is not None:
            head["Content-Type"] = kind
        self.line.request(method, path, data, head)
        answer = self.line.getresponse()
        return answer.status, answer.read(), answer

    def open(self):
        self.child = subprocess.Popen([self.program, "open", str(self.folder), "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        told = self.child.stdout.readline()
        if not told:
            return False
        address = json.loads(told)["address"]
        self.host, key = address.removeprefix("http://").split("/?key=")
        self.line = http.client.HTTPConnection(self.host, timeout=20)
        self.cookie = ""
        _, _, answer = self.ask("GET", f"/?key={key}")
        self.cookie = answer.headers["set-cookie"].split(";")[0]
        return True

    def state(self):
        status, body, _ = self.ask("GET", "/state")
        must(f"/state answers {status}", status == 200)
        state = json.loads(body)
        self.version = state["version"]
        return state

    def learn(self, body, now):
        update = json.loads(body)
        self.version = update["version"]
        text = self.texts[-1][1]
        if update["splice"]:
            start, end, put_in = update["splice"]
            text = text[:start] + put_in + text[end:]
        self.known.add(text)
        self.texts.append((now, text))
        self.answered += 1

    def act(self):
        text = self.texts[-1][1]
        roll = self.dice.random()
        if roll < 0.6:
            kind = "typed"
            at = text.index("typed here: ") + len("typed here: ")
            word = self.dice.choice(["a", "b ", "♭", "sixteenth ", "\\n"])
            long = text.index('" at=') - at
            # Now and then all of it at once, so that it does not grow for ever.
            end = at + (long if long > 80 else self.dice.randrange(0, 3) if long > 2 else 0)
            if long <= 80 and "\\" in text[at : end + 1]:
                end = at
            self.flight = ("text", text[:at] + word + text[end:])
            self.known.add(self.flight[1])
            status, body, _ = self.ask("POST", "/text", {"version": self.version, "start": at, "end": end, "with": word})
        elif roll < 0.8:
            kind = "slot"
            self.flight = ("act", None)
            at = {"passage": "p", "part": "g", "bar": self.dice.randrange(1, 3), "slot": self.dice.randrange(1, 5)}
            with_ = self.dice.choice(["5:3", "4:2", ".", "x", "3:12+2:12", "-"])
            self.guess(at, with_)
            status, body, _ = self.ask("POST", "/act", {"do": "token", "at": at, "with": with_})
        elif roll < 0.95:
            kind = self.dice.choice(["undo", "redo"])
            self.flight = (kind, None)
            status, body, _ = self.ask("POST", f"/{kind}")
        else:
            kind = "take"
            sound = self.dice.randbytes(self.dice.randrange(1000, 400_000))
            self.sums.add(hashlib.sha256(sound).hexdigest())
            form = b'--cut\r\nContent-Disposition: form-data; name="take"; filename="a.wav"\r\n\r\n' + sound + b"\r\n--cut--\r\n"
            self.flight = ("take", None)
            status, body, _ = self.ask("POST", "/takes", form, "multipart/form-data; boundary=cut")
            if status == 200:
                self.takes[json.loads(body)["takes"][0]] = hashlib.sha256(sound).hexdigest()
        must(f"{kind} answers {status}: {body[:200]}", status in (200, 422))
        self.acts[kind] += 1
        if kind != "take" and status == 200:
            self.learn(body, time.monotonic())
        self.flight = None

    def guess(self, at, with_):
        """The text that a token at a slot gives, so that a look at the file between answer and act knows it."""
        text = self.texts[-1][1]
        lines = [l for l in text.split("\n") if l.strip().startswith("bar ")]
        line = lines[at["bar"] - 1]
        tokens = line.split('"')[1].split(" ")
        tokens[at["slot"] - 1] = with_
        self.known.add(text.replace(line, line.split('"')[0] + '"' + " ".join(tokens) + '"', 1))

    def watch(self):
        """Looks at the file as fast as it can while the bench is at work."""
        seen = None
        while not self.over.is_set():
            text = self.file.read_text()
            self.looks += 1
            if text != seen:
                seen = text
                self.seen.append(text)
            time.sleep(0.002)

    def once(self):
        if self.dice.random() < 0.1:
            # Killed while it opens.
            child = subprocess.Popen([self.program, "open", str(self.folder)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            time.sleep(self.dice.uniform(0, 0.15))
            child.kill()
            child.wait()
            self.killed += 1
            return
        self.last_flight, self.flight, self.seen = self.flight, None, []
        self.over = threading.Event()
        looking = threading.Thread(target=self.watch)
        looking.start()
        wait = self.dice.choice([self.dice.uniform(0, 0.3), self.dice.uniform(0.2, 2.6)])
        pace = self.dice.choice([0.0, 0.01, 0.05, 0.2])
        killed = None
        try:
            began = time.monotonic()
            up = self.open()
            if not up:
                raise Lost(f"the bench does not open: {self.child.stderr.read()}")
            state = self.state()
            self.check(state)
            timer = threading.Timer(wait, lambda: self.die())
            self.died = None
            timer.start()
            try:
                while True:
                    self.act()
                    time.sleep(self.dice.random() * pace)
            except (OSError, http.client.HTTPException):
                pass
            timer.join()
            killed = self.died
        finally:
            self.child.kill()
            self.child.wait()
            self.over.set()
            looking.join()
        self.killed += 1
        # The last acknowledged text that is older than a second at the kill.
        ages = [(killed - t, i) for i, (t, _) in enumerate(self.texts) if i]
        self.least = max((i for age, i in ages if age > 1.0), default=0)
        self.ages = {i: age for age, i in ages}
        self.opened = True
        last = self.file.read_text()
        for text in [*self.seen, last]:
            must("the lesson file held a text that was never one", text in self.known)
        for file in (self.folder / "takes").glob("[!.]*") if (self.folder / "takes").is_dir() else []:
            must(f"{file.name} is half a take", digest(file) in self.sums)
        for name, sum_ in self.takes.items():
            must(f"{name} was handed in and is not there", (self.folder / name).is_file() and digest(self.folder / name) == sum_)

    def die(self):
        self.died = time.monotonic()
        self.child.send_signal(signal.SIGKILL)

    def check(self, state):
        text = state["text"]
        must("a conflict with nobody", not state["conflict"])
        if not self.opened:
            return
        flight = self.last_flight
        allowed = {t: i for i, (_, t) in enumerate(self.texts) if i >= self.least}
        if text not in allowed and not (flight and (text == flight[1] or flight[0] in ("act", "undo", "redo"))):
            raise Lost(f"typed more than a second before: wanted one of {len(allowed)} texts, the newest {self.texts[-1][1]!r}, found {text!r}")
        if text not in allowed and flight[0] in ("act", "undo", "redo"):
            # Taken back, what was not answered must lead to what was.
            way = "redo" if flight[0] == "undo" else "undo"
            status, body, _ = self.ask("POST", f"/{way}")
            splice = json.loads(body).get("splice") if status == 200 else None
            back = text[: splice[0]] + splice[2] + text[splice[1] :] if splice else text
            must("an act that was not answered left something else", back in allowed)
            text = back
            self.version = json.loads(body)["version"] if status == 200 else self.version
        else:
            at = allowed.get(text, len(self.texts) - 1)
            missing = len(self.texts) - 1 - at
            if missing > 0:
                self.lost += missing
                self.oldest = max(self.oldest, max(self.ages[i] for i in range(at + 1, len(self.texts))))
        self.texts = [(0.0, text)]
        self.known.add(text)

    def told(self):
        return f"; {self.answered} answered ({', '.join(f'{n} {k}' for k, n in sorted(self.acts.items()))}), {self.lost} of them gone, the oldest {1000 * self.oldest:.0f} ms before the kill"


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only")
    a = parser.parse_args()
    program = str(pathlib.Path(a.program).resolve())
    shares = {k: v for k, v in SHARES.items() if not a.only or k in a.only.split(",")}
    kinds = {"page": Page, "make": Make, "hear": Hear, "shelf": Shelf, "requests": Requests, "new": New}
    folder = pathlib.Path(tempfile.mkdtemp(prefix="kill-"))
    began = time.monotonic()
    for n, (name, share) in enumerate(shares.items()):
        dice = random.Random(f"{a.seed} {name}")
        at = kinds[name](program, dice, folder / name)
        wanted = max(1, round(a.kills * share / sum(shares.values())))
        try:
            while at.killed < wanted:
                at.once()
                must("the program ends before it can be killed", at.ended < 20 * wanted + 200)
        except Lost as e:
            print(f"{name}, after {at.killed} kills: {e}\nseed {a.seed}; all of it stands in {folder}")
            sys.exit(1)
        print(f"{name}: {at.killed} kills, {at.ended} had ended before, {at.looks} looks{at.told()}", flush=True)
    shutil.rmtree(folder)
    print(f"nothing lost; seed {a.seed}, {time.monotonic() - began:.0f} s")


main()
