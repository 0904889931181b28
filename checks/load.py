#!/usr/bin/env python3
"""A day's work on the bench, without the pauses; fifty pages at once; a very large lesson.

    checks/load.py PROGRAM [--hours 8] [--pages 50] [--record MAKER] [--only day,pages,large,long]

| scene | what is done | what must be so |
|---|---|---|
| `day` | each simulated hour 1,800 keys at slots of the demo lesson (one in 2 s), 40 sounds of passages, 40 stretches of the record, 60 steps back and on, one check, pages that come and go; at its end the same six sounds, so that what is kept is the same | memory after the last hour no more than a tenth above that after the second; as many open files and threads as after the first, give or take four |
| `pages` | as many pages open on one server, keys in one of them | each page hears of each key; how long the last one takes is told |
| `large` | 500 bars of 8 parts, in 40 passages and in one: keys at slots all over it | answers are told by their times; nothing is asserted of them here |
| `long` | a record of 20 minutes and 40 passages of it: its bars asked for, heard and kept | told: times and memory |

MAKER is the example program `serve_lesson`, which makes the demo's record of its own passages; without it no record is played and checks look at the lesson alone. The program is asked as its page asks
it, so that what a browser adds is not in the times. Python's own library is all it needs.
"""
import argparse
import http.client
import json
import os
import pathlib
import random
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time

ROOT = pathlib.Path(__file__).resolve().parent.parent


class Bench:
    """The program on a folder, and a page's way of asking it."""

    def __init__(self, program, folder):
        self.child = subprocess.Popen([program, "open", str(folder), "--json"], stdout=subprocess.PIPE, text=True)
        address = json.loads(self.child.stdout.readline())["address"]
        self.host, key = address.removeprefix("http://").split("/?key=")
        self.line = http.client.HTTPConnection(self.host, timeout=600)
        self.line.request("GET", f"/?key={key}")
        answer = self.line.getresponse()
        answer.read()
        self.cookie = answer.getheader("set-cookie").split(";")[0]

    def ask(self, path, body=None, line=None):
        line = line or self.line
        own = {"Cookie": self.cookie}

        def go():
            if body is None:
                line.request("GET", path, headers=own)
            else:
                line.request("POST", path, json.dumps(body), own | {"Origin": f"http://{self.host}", "Content-Type": "application/json"})
            return line.getresponse()

        try:
            answer = go()
        except http.client.RemoteDisconnected:
            # The program closes what was idle for half a minute, which happens on a machine that is busy elsewhere; browsers ask once more, too.
            line.close()
            answer = go()
        data = answer.read()
        if answer.status != 200:
            raise SystemExit(f"{path} {body}: {answer.status} {data[:300]!r}")
        return json.loads(data) if "json" in (answer.getheader("content-type") or "") else data

    def listen(self, heard):
        """A page's line for news; `heard` is called with each event's name and time. Gives what closes it."""
        line = http.client.HTTPConnection(self.host, timeout=600)
        line.request("GET", "/events", headers={"Cookie": self.cookie})
        answer = line.getresponse()

        def go():
            try:
                for raw in answer.fp:
                    if raw.startswith(b"event: "):
                        heard(raw[7:].strip().decode(), time.monotonic())
            except (OSError, ValueError, AttributeError):
                pass

        threading.Thread(target=go, daemon=True).start()

        def close():
            # The reading thread is woken, too.
            try:
                answer.fp.raw._sock.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass
            line.close()

        return close

    def facts(self):
        """Resident memory in MB, open files, threads."""
        proc = pathlib.Path(f"/proc/{self.child.pid}")
        status = dict(l.split(":", 1) for l in (proc / "status").read_text().splitlines())
        return int(status["VmRSS"].split()[0]) / 1024, len(os.listdir(proc / "fd")), int(status["Threads"])

    def cpu(self):
        fields = pathlib.Path(f"/proc/{self.child.pid}/stat").read_text().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def rest(self):
        """Waits until nothing is at work: a second with next to no processor time."""
        for _ in range(120):
            before = self.cpu()
            time.sleep(1)
            if self.cpu() - before <= 0.02:
                return
        raise SystemExit("the program does not come to rest")

    def close(self):
        self.line.close()
        self.child.kill()
        self.child.wait()


def at(passage, part, bar, slot):
    return {"passage": passage, "part": part, "bar": bar, "slot": slot}


def demo(folder, maker):
    shutil.copytree(ROOT / "demo/ferry-road", folder)
    if maker:
        with subprocess.Popen([maker, "--record", str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as made:
            made.stdout.readline()
            made.stdin.close()
        shutil.rmtree(folder / ".partwright", ignore_errors=True)


def day(a, work):
    folder = work / "day"
    demo(folder, a.record)
    bench = Bench(a.program, folder)
    dice = random.Random(8)
    state = bench.ask("/state?narrow=false&left=false")
    passages = [p["id"] for p in state["passages"]]
    if a.record:
        bench.ask("/record")
    every, begun = [], time.monotonic()
    # Strokes of the demo's verse that can be struck and silenced again.
    slots = [at("verse", "chop", bar, slot) for bar in (1, 2) for slot in (3, 5, 7, 11)]
    for hour in range(a.hours):
        for key in range(1800):
            where = dice.choice(slots)
            bench.ask("/act", {"do": "token", "at": where, "with": dice.choice([".", "x", "a", "b"]), "then": where})
            if key % 45 == 0:
                bench.ask(f"/sound?passage={dice.choice(passages)}&percent={dice.randrange(25, 101, 5)}")
                if a.record:
                    bar = dice.randrange(1, 8)
                    bench.ask(f"/record-sound?from={bar}&to={bar + 1}&percent={dice.randrange(25, 101, 5)}")
            if key % 60 == 0:
                bench.ask("/undo", {})
                bench.ask("/redo", {})
            if key % 300 == 0:
                closers = [bench.listen(lambda *_: None) for _ in range(3)]
                bench.ask("/state?narrow=false&left=false")
                for close in closers:
                    close()
        bench.ask("/check", {})
        # What is kept of sounds differs by tens of megabytes with what was asked for last: the same at each hour's end, at a tempo that is asked for at no other time.
        for passage in passages[:6]:
            bench.ask(f"/sound?passage={passage}&percent=52")
        # What was closed is noticed by the server at its next word, what is still at work holds memory that it gives back, and threads that wait for work end after ten seconds without.
        time.sleep(0.5)
        bench.rest()
        time.sleep(12)
        every.append(bench.facts())
        print(f"  hour {hour + 1}: {every[-1][0]:.0f} MB, {every[-1][1]} open files, {every[-1][2]} threads; journal and what is kept {sum(f.stat().st_size for f in folder.rglob('*') if f.is_file() and '.partwright' in f.parts) / 1e6:.1f} MB", flush=True)
    print(f"day: {a.hours} h in {time.monotonic() - begun:.0f} s, processor {bench.cpu():.0f} s; memory {every[0][0]:.0f} MB after the first hour, {every[-1][0]:.0f} after the last")
    bench.close()
    faults = []
    if len(every) > 2 and every[-1][0] > 1.1 * every[1][0]:
        faults.append(f"memory grew from {every[1][0]:.0f} MB after two hours to {every[-1][0]:.0f}")
    if abs(every[-1][1] - every[0][1]) > 4 or abs(every[-1][2] - every[0][2]) > 4:
        faults.append(f"open files and threads went from {every[0][1:]} to {every[-1][1:]}")
    return faults


def pages(a, work):
    folder = work / "pages"
    demo(folder, None)
    bench = Bench(a.program, folder)
    lock, news = threading.Lock(), {}
    closers = []
    for n in range(a.pages):
        def heard(event, when, n=n):
            if event == "update":
                with lock:
                    news.setdefault(n, []).append(when)
        closers.append(bench.listen(heard))
    time.sleep(1)
    own, last = [], []
    for key in range(40):
        sent = time.monotonic()
        bench.ask("/act", {"do": "token", "at": at("verse", "chop", 1, 3), "with": ".x"[key % 2]})
        own.append(time.monotonic() - sent)
        while time.monotonic() < sent + 10:
            with lock:
                if len(news) == a.pages and all(len(t) > key for t in news.values()):
                    break
            time.sleep(0.001)
        with lock:
            late = [n for n in range(a.pages) if len(news.get(n, [])) <= key]
            if late:
                bench.close()
                return [f"{len(late)} of {a.pages} pages did not hear of key {key + 1}"]
            last.append(max(t[key] for t in news.values()) - sent)
    memory, files, threads = bench.facts()
    print(f"pages: {a.pages} open, 40 keys: answer {1e3 * statistics.median(own):.0f} ms in the middle, the last page told after {1e3 * statistics.median(last):.0f} ms, at most {1e3 * max(last):.0f}; {memory:.0f} MB, {files} open files, {threads} threads")
    bench.close()
    return []


def large(a, work):
    for passages in (40, 1):
        large_of(a, work, passages)
    return []


def large_of(a, work, passages):
    folder = work / f"large-{passages}"
    folder.mkdir()
    per = 500 // passages
    parts = []
    for n in range(6):
        line = "5:3 - . 4:2  x . 3:4 -  . 4:5 . x  3:2 - . ." if n % 2 else "a . x x  . x a x  x a x .  x x b -"
        grips = "" if n % 2 else '      grip "a" "x x 5 5 5 x"\n      grip "b" "x x 4 5 5 x"\n'
        parts.append(f'    part "guitar-{n}" instrument="guitar" {{\n{grips}' + f'      bar "{line}"\n' * per + "    }\n")
    parts.append('    part "floor" instrument="bass" {\n' + '      bar "4:5 - . .  . . 4:5 .  . 2:5 - .  3:7 . 3:7 ."\n' * per + "    }\n")
    parts.append('    part "kit" instrument="drums" {\n' + '      bar { kick "x . . . . . x . . x . . . . . ."; snare ". . . . >x . . . . . . . >x . . ." }\n' * per + "    }\n")
    body = "".join(parts)
    (folder / "lesson.kdl").write_text('lesson "Large" {\n' + "".join(f'  passage "p{n}" {{\n    tempo 96\n    key "A dorian"\n{body}  }}\n' for n in range(passages)) + "}\n")
    begun = time.monotonic()
    bench = Bench(a.program, folder)
    bench.ask("/state?narrow=false&left=false")
    opened, told = time.monotonic() - begun, []
    dice, keys = random.Random(5), 60
    before = bench.cpu()
    # At strokes of guitars, and at a drum.
    for word, tokens, part, row in (("strings", "abx", "guitar-", None), ("drums", "x.", "kit", "kick")):
        times = []
        for key in range(keys):
            name = f"{part}{2 * dice.randrange(3)}" if row is None else part
            where = at(f"p{dice.randrange(passages)}", name, dice.randrange(1, per + 1), dice.choice([2, 5, 7, 12]))
            sent = time.monotonic()
            bench.ask("/act", {"do": "token", "at": where, "row": row, "with": dice.choice(tokens), "then": where})
            times.append(time.monotonic() - sent)
        times.sort()
        told.append(f"{keys} keys at {word} answered in {1e3 * statistics.median(times):.0f} ms in the middle, {1e3 * times[-2]:.0f} the last but one")
    memory, _, _ = bench.facts()
    print(f"large: {per * passages} bars of 8 parts in {passages} passages, opened and all of it asked for after {opened:.1f} s; {'; '.join(told)}; processor {1e3 * (bench.cpu() - before) / keys / 2:.0f} ms a key with saving; {memory:.0f} MB", flush=True)
    bench.close()


def long(a, work):
    import struct
    import wave
    folder = work / "long"
    (folder / "audio").mkdir(parents=True)
    rate, dice = 44100, random.Random(3)
    # Plucks of decaying saw teeth on the beats of 100 a minute, as a record to be heard; what it holds is not asked here.
    beat = int(rate * 0.6)
    kinds = []
    for pitch in (45, 48, 52, 57, 60, 64):
        step = 440 * 2 ** ((pitch - 69) / 12) / rate
        kinds.append(struct.pack(f"<{2 * beat}h", *[v for i in range(beat) for v in [int(9000 * ((i * step) % 1 - 0.5) * 0.9997 ** i)] * 2]))
    with wave.open(str(folder / "audio/long.wav"), "wb") as out:
        out.setparams((2, 2, rate, 0, "NONE", ""))
        for _ in range(2000):
            out.writeframesraw(dice.choice(kinds))
    passages = "".join(f'  passage "p{n}" {{\n    tempo 100\n    slots 4\n    record "audio/long.wav" from={12 + 29 * n} to={12 + 29 * n + 4.8:.1f}\n    part "line" instrument="guitar" {{\n      bar "5:3 - 4:2 -" times=2\n    }}\n  }}\n' for n in range(40))
    (folder / "lesson.kdl").write_text(f'lesson "Long" {{\n{passages}}}\n')
    bench = Bench(a.program, folder)
    begun = time.monotonic()
    bench.ask("/record")
    first = time.monotonic() - begun
    begun = time.monotonic()
    bench.ask("/record")
    again = time.monotonic() - begun
    memory, _, _ = bench.facts()
    peak = int(dict(l.split(":", 1) for l in pathlib.Path(f"/proc/{bench.child.pid}/status").read_text().splitlines())["VmHWM"].split()[0]) / 1024
    times = []
    for n in range(20):
        sent = time.monotonic()
        bench.ask("/act", {"do": "token", "at": at(f"p{dice.randrange(40)}", "line", 1, 1 + 2 * (n % 2)), "with": "5:5"})
        times.append(time.monotonic() - sent)
    print(f"long: 20 minutes and 40 passages; its bars after {first:.1f} s, again after {again:.2f} s; {memory:.0f} MB, {peak:.0f} at most; a key {1e3 * statistics.median(times):.0f} ms in the middle")
    bench.close()
    return []


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("program")
    ask.add_argument("--hours", type=int, default=8)
    ask.add_argument("--pages", type=int, default=50)
    ask.add_argument("--record")
    ask.add_argument("--only", default="day,pages,large,long")
    a = ask.parse_args()
    a.program = str(pathlib.Path(a.program).resolve())
    work = pathlib.Path(tempfile.mkdtemp(prefix="load-"))
    faults = []
    try:
        for scene in a.only.split(","):
            faults += [f"{scene}: {f}" for f in {"day": day, "pages": pages, "large": large, "long": long}[scene](a, work)]
    finally:
        shutil.rmtree(work, ignore_errors=True)
    for f in faults:
        print("FAIL", f)
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
