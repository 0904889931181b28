#!/usr/bin/env python3
"""Broken questions to the program itself: batch and sequence files, requests, courses, words for the shelf, and HTTP requests and JSON bodies for the bench.

    fuzz/asked.py PROGRAM [--seconds 300] [--seed 1] [--keep FOLDER]

It changes good questions at random, without knowing what code they reach. A command must end within ten seconds with exit code 0 to 3 and no panic; the bench must answer every request with
less than 500 (501 where a service is not there), or close the line, and still serve its page and the lesson's text afterwards. What is not so is kept in FOLDER and printed; exits with 1 then.
"""
import argparse
import json
import pathlib
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import time

sys.dont_write_bytecode = True
sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "checks" / "faults"))
from desk import Bench

LESSON = 'lesson "Kept" {\n  passage "p" {\n    tempo 240\n    slots 4\n    part "g" instrument="guitar" {\n      grip "a" "x x 8 8 8 x"\n      bar "5:3 . a ."\n      bar "a - x 5:3"\n    }\n  }\n}\n'
BATCH = "x x 8 8 8 x;bass=C;key=C minor\nx 3 2 0 1 0\n8 10 10 9 8 8;tuning=standard;capo=3\n0 2 2 1 0 0;tuning=D2 A2 D3 G3 A3 D4;chords=Esus4;before=A;after=Dm7/G\n"
NOTES = {"notes": [{"onset": 0.0, "duration": 0.5, "midi": 60}, {"onset": 0.5, "duration": 0.5, "midi": 64, "pin": 2}, {"onset": 1.0, "duration": 1, "midi": 67, "joined": True}], "tuning": "standard", "capo": 0}
STRETCHES = {"notes": [{"onset": 0, "duration": 2, "midi": 58}, {"onset": 0, "duration": 2, "midi": 36, "bass": True}], "stretches": [{"start": 0, "end": 2}], "key": "C minor"}
REQUESTS = "2026-11-01 3x how to begin\n2026-11-02 a slow bend\n"
COURSE = 'course "Two" {\n  note "Both."\n  lesson "one"\n  lesson "two" builds-on="one" { known "C form" }\n}\n'
WORDS = ["tempo 60-90", "not swing none", "grip x x 5 5 5 x", '"slide in" key C minor', "lock shared from 10", "name Cm7", "technique bend", "level 3", "parent Am"]
PIECES = ["", "0", "-1", "1e999", "1e-320", "99999999999999999999", "null", "[]", "{}", '"', "\\", "\\u0000", "\ud7ff", "é", "𝄞", "\u202e", ";", ":", ",", "[" * 200, "{" * 200, '{"a":' * 200, "x" * 2000, "\n", "\r\n", "\0", "true", "NaN", "C#b#b", "x x x x x x", "24 24 24 24 24 24", "=", "/", "..", "%00", "%2e%2e%2f", "(", ")", "-", "from", "not not not", "*", "' OR 1=1 --", "NEAR(", '"" ""']


def broken(dice, text):
    text = text if isinstance(text, bytes) else text.encode()
    for _ in range(dice.randrange(1, 5)):
        a = dice.randrange(len(text) + 1)
        b = min(len(text), a + dice.randrange(24))
        roll = dice.randrange(7)
        if roll == 0:
            text = text[:a] + text[b:]
        elif roll == 1:
            text = text[:a] + text[a:b] * dice.choice([2, 3, 50]) + text[b:]
        elif roll == 2 and a < len(text):
            text = text[:a] + bytes([dice.randrange(256)]) + text[a + 1 :]
        elif roll == 3:
            text = text[:a]
        elif roll == 4 and len(text) > 1:
            c = dice.randrange(len(text))
            text = text[:a] + text[c : c + 30] + text[a:]
        else:
            text = text[:a] + dice.choice(PIECES).encode("utf-8", "surrogatepass") + text[b if dice.random() < 0.5 else a :]
    return text


def broken_value(dice, value):
    """One value of a JSON tree changed for another."""
    if isinstance(value, dict) and value and dice.random() < 0.8:
        key = dice.choice(list(value))
        return {**{k: v for k, v in value.items() if k != key}, dice.choice([key, key, key, "other"]): broken_value(dice, value[key])}
    if isinstance(value, list) and value and dice.random() < 0.8:
        i = dice.randrange(len(value))
        return [*value[:i], broken_value(dice, value[i]), *value[i + (dice.random() < 0.9) :]]
    return dice.choice([None, True, -1, 0, 1, 0.5, 127, 128, 255, 256, 2**31, 2**32, 2**53, 2**64, 1e308, -1e308, 1e-320, "", "x", "C", "5:3", "a\nb", "\u0000", [], {}, [[[]]], "9" * 400, "é𝄞", list(range(300))])


class Wrong(Exception):
    pass


class Commands:
    def __init__(self, program, dice, folder):
        self.program, self.dice, self.folder = program, dice, folder
        folder.mkdir()
        (folder / "one").mkdir()
        (folder / "one" / "lesson.kdl").write_text(LESSON)
        self.counts = {}

    def once(self):
        d = self.dice
        kind = d.choice(["name --batch", "place --sequence", "name --sequence", "find", "requests", "course", "name", "place", "check"])
        file = self.folder / "asked"
        args = kind.split() + [str(file)]
        if kind == "name --batch":
            file.write_bytes(broken(d, BATCH))
        elif kind in ("place --sequence", "name --sequence"):
            value = NOTES if kind[0] == "p" else STRETCHES
            for _ in range(d.randrange(1, 4)):
                value = broken_value(d, value)
            text = json.dumps(value)
            file.write_bytes(text.encode("utf-8", "surrogatepass") if d.random() < 0.6 else broken(d, text))
        elif kind == "requests":
            file.write_bytes(broken(d, REQUESTS))
            args = ["requests", "--shelf", str(self.folder), "--file", str(file)]
        elif kind == "course":
            file.write_bytes(broken(d, COURSE))
        elif kind == "check":
            (self.folder / "two").mkdir(exist_ok=True)
            (self.folder / "two" / "lesson.kdl").write_bytes(broken(d, LESSON))
            args = ["check", str(self.folder / "two")]
        else:
            text = {"find": " ".join(d.sample(WORDS, 2)), "name": "x x 8 8 8 x", "place": d.choice(["Cm7", "C4 E4 G4"])}[kind]
            word = broken(d, text).replace(b"\0", b"").decode("utf-8", "replace")
            args = [kind, *(["--shelf", str(self.folder)] if kind == "find" else []), "--", word]
        try:
            done = subprocess.run([self.program, *args, *(["--json"] if d.random() < 0.5 and "--" not in args else [])], capture_output=True, timeout=10)
        except subprocess.TimeoutExpired:
            raise Wrong(f"{args}: not done in ten seconds")
        self.counts[kind] = self.counts.get(kind, 0) + 1
        if done.returncode not in (0, 1, 2, 3) or b"panicked" in done.stderr:
            raise Wrong(f"{args}: exit {done.returncode}: {done.stderr[-500:].decode(errors='replace')}")


class Asked:
    """The bench, asked by plain sockets."""

    AT = {"passage": "p", "part": "g", "bar": 1, "slot": 1}
    BODIES = [
        ("/text", {"version": 1, "start": 0, "end": 0, "with": "// x\n"}),
        ("/act", {"do": "token", "at": AT, "with": "5:5", "row": None, "then": AT}),
        ("/act", {"do": "line", "at": AT, "line": "a . x a"}),
        ("/act", {"do": "shift", "at": AT, "by": 1}),
        ("/act", {"do": "move", "at": AT, "frets": "x x 5 5 5 x"}),
        ("/act", {"do": "pin", "at": AT, "name": "Cm7"}),
        ("/act", {"do": "again", "at": AT}),
        ("/act", {"do": "silent", "at": AT}),
        ("/act", {"do": "out", "at": AT}),
        ("/conflict", {"keep": "here"}),
        ("/taps", {"beats": [0.5, 1.0]}),
        ("/choose", {"folder": "one"}),
        ("/undo", {}),
        ("/redo", {}),
    ]
    PATHS = ["/", "/state?narrow=true&left=true", "/hand?passage=p&part=g&bar=1&slot=1", "/sound?passage=p&percent=100", "/record", "/record-sound?from=0&to=1&percent=50", "/conflict", "/bench/bench.js", "/pack/00000000000000000000000000000000/index.html"]

    def __init__(self, program, dice, folder):
        self.program, self.dice, self.folder = program, dice, folder
        folder.mkdir()
        (folder / "lesson.kdl").write_text(LESSON)
        self.counts = {}
        self.bench = Bench(program, folder)
        self.host = (self.bench.host.split(":")[0], int(self.bench.host.split(":")[1]))

    def send(self, request):
        answer = b""
        with socket.create_connection(self.host, timeout=15) as s:
            try:
                s.sendall(request)
                s.shutdown(socket.SHUT_WR)
                while piece := s.recv(65536):
                    answer += piece
            except TimeoutError:
                raise Wrong(f"no answer in 15 s to {request[:2000]!r}")
            except OSError:
                # Closed by the bench, which may do so.
                pass
        return answer

    def once(self):
        d = self.dice
        if d.random() < 0.5:
            path, body = d.choice(self.BODIES)
            for _ in range(d.randrange(0, 4)):
                body = broken_value(d, body)
            body = json.dumps(body).encode("utf-8", "surrogatepass")
            if d.random() < 0.2:
                body = broken(d, body)
            method, kind = "POST", path
        elif d.random() < 0.3:
            body = broken(d, b'--cut\r\nContent-Disposition: form-data; name="take"; filename="a.wav"\r\n\r\n' + d.randbytes(300) + b"\r\n--cut--\r\n")
            method, path, kind = "POST", "/takes", "/takes"
        else:
            path, method, body = d.choice(self.PATHS), "GET", b""
            kind = "GET"
            if d.random() < 0.7:
                path = "/" + broken(d, path[1:]).decode("latin-1").replace("\r", "").replace("\n", "").replace(" ", "%20")
        type_ = "multipart/form-data; boundary=cut" if path == "/takes" else "application/json"
        head = f"{method} {path} HTTP/1.1\r\nHost: {self.bench.host}\r\nOrigin: http://{self.bench.host}\r\nCookie: {self.bench.cookie}\r\nContent-Type: {type_}\r\nConnection: close\r\nContent-Length: {len(body)}\r\n\r\n".encode("latin-1")
        if d.random() < 0.15:
            head, kind = broken(d, head), "heads"
        answer = self.send(head + body)
        self.counts[kind] = self.counts.get(kind, 0) + 1
        status = int(answer[9:12]) if answer[:5] == b"HTTP/" and answer[9:12].isdigit() else 0
        if status >= 500 and status != 501:
            raise Wrong(f"{status} for {(head + body)[:3000]!r}: {answer[-300:]!r}")
        if sum(self.counts.values()) % 50 == 0:
            state = self.bench.state()
            if len(state["text"]) > 20_000:
                self.bench.ask("POST", "/text", {"version": state["version"], "start": 0, "end": len(state["text"].encode("utf-16-le")) // 2, "with": LESSON})

    def end(self):
        text = self.bench.state()["text"]
        self.bench.until("saved", lambda s: s["saved"] or s["conflict"])
        said = self.bench.end()
        if "panicked" in said:
            raise Wrong(f"the bench panicked: {said[-2000:]}")
        again = Bench(self.program, self.folder)
        if again.why or again.state()["text"] != text:
            raise Wrong(f"another text after a restart: {again.why}")
        again.end()


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("--seconds", type=float, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", default="fuzz/artifacts")
    a = parser.parse_args()
    program = str(pathlib.Path(a.program).resolve())
    folder = pathlib.Path(tempfile.mkdtemp(prefix="asked-"))
    bad = 0
    for name, kind in (("commands", Commands), ("bench", Asked)):
        dice = random.Random(f"{a.seed} {name}")
        at = kind(program, dice, folder / name)
        end = time.monotonic() + a.seconds / 2
        while time.monotonic() < end:
            try:
                at.once()
            except Wrong as e:
                bad += 1
                keep = pathlib.Path(a.keep)
                keep.mkdir(parents=True, exist_ok=True)
                if (at.folder / "asked").exists():
                    shutil.copy(at.folder / "asked", keep / f"{name}-{bad}")
                (keep / f"{name}-{bad}.txt").write_text(str(e))
                print(f"NOT SO: {str(e)[:1500]}", flush=True)
                if bad > 20:
                    break
        if kind is Asked:
            try:
                at.end()
            except Wrong as e:
                bad += 1
                print(f"NOT SO: {e}", flush=True)
        print(f"{name}: {sum(at.counts.values())} asked ({', '.join(f'{n} {k}' for k, n in sorted(at.counts.items()))})", flush=True)
    shutil.rmtree(folder)
    print(f"{bad} not so; seed {a.seed}")
    sys.exit(1 if bad else 0)


main()
