"""How a network does: `judge.py DATA WEIGHTS… [--tune] [--renders BANK] [--place PROGRAM] [--onset X] [--keep X] [--silent X]`.

DATA: the folder of open data. WEIGHTS: .pt or .onnx. Prints, for each excerpt with audio, note F at 50 ms by onset and with offsets (mir_eval's), recall
and precision, and tablature F (string and fret right) by note and by frame. With --tune: a grid of thresholds on the development excerpt alone. With --renders:
the threshold is chosen on clips made of notes and playing that training did not use (BANK: what `run.py … bank` wrote) together with the development excerpt,
for comparing networks.
"""
import argparse
import json
import pathlib
import subprocess
import tempfile

import mir_eval
import numpy as np
import soundfile
import torch

import clips
import decode
import export
import train


def truth(path):
    rows = []
    for part in json.loads(path.read_text())["annotations"]:
        if part["namespace"] == "note_midi":
            s = int(part["annotation_metadata"]["data_source"])
            rows += [(n["time"], n["time"] + max(n["duration"], 0.01), n["value"], s) for n in part["data"]]
    return sorted(rows)


def resampled(path):
    y, rate = soundfile.read(path)
    y = y.mean(1) if y.ndim > 1 else y
    if rate == 44100:
        # Half-band low pass, then every other sample.
        n = np.arange(-127, 128)
        h = np.sinc(0.48 * n) * np.kaiser(255, 9.0)
        y = np.convolve(y, h / h.sum(), "same")[::2]
    elif rate != 22050:
        raise ValueError(f"{path}: {rate} Hz; 44100 or 22050 is wanted")
    return y


def runner(weights):
    if str(weights).endswith(".onnx"):
        import onnxruntime
        s = onnxruntime.InferenceSession(str(weights))
        return lambda x: s.run(None, {"spectra": x.numpy()})
    return decode.network(export.load(weights))


def score(ref, est, offsets):
    ri = np.array([r[:2] for r in ref])
    rp = mir_eval.util.midi_to_hz(np.array([r[2] for r in ref]))
    if not est:
        return 0.0, 0.0, 0.0
    ei = np.array([e[:2] for e in est])
    ei[:, 1] = np.maximum(ei[:, 1], ei[:, 0] + 0.01)
    ep = mir_eval.util.midi_to_hz(np.array([float(e[2]) for e in est]))
    p, r, f, _ = mir_eval.transcription.precision_recall_f1_overlap(ri, rp, ei, ep, offset_ratio=0.2 if offsets else None)
    return p, r, f


def tablature(ref, est, places):
    """F of notes whose string and fret are right with the onset within 50 ms, and of 10 ms frames of (string, fret)."""
    hits = 0
    for s in range(6):
        a = [(r[0], int(round(r[2]))) for r in ref if r[3] == s]
        b = [(e[0], e[2]) for e, p in zip(est, places) if p == s]
        free = list(b)
        for t, m in a:
            match = next((x for x in free if abs(x[0] - t) <= 0.05 and x[1] == m), None)
            if match:
                free.remove(match)
                hits += 1
    note = 2 * hits / max(len(ref) + len(est), 1)
    end = int(max([r[1] for r in ref] + [e[1] for e in est]) * 100) + 2
    grids = [np.zeros((end, 6, 60), bool), np.zeros((end, 6, 60), bool)]
    for rows, g in ((((r[0], r[1], int(round(r[2])), r[3]) for r in ref), grids[0]), (((e[0], e[1], e[2], p) for e, p in zip(est, places)), grids[1])):
        for a, b, m, s in rows:
            g[int(a * 100):int(b * 100) + 1, s, m - decode.OPEN[s]] = True
    both = (grids[0] & grids[1]).sum()
    return note, 2 * both / max(grids[0].sum() + grids[1].sum(), 1)


def renders(folder, count=48):
    """[(notes, weak notes, sound)] of clips made with held-out notes, about half of them after the held-out piece."""
    studio = train.Studio(folder, torch.device("cpu"), 1)
    make = train.maker(train.load(folder)[1], folder, True, ())
    rng = np.random.default_rng(60)
    out = []
    for _ in range(count):
        events, labels, _ = make.batch(1, rng)
        y = studio.audio(torch.from_numpy(events), 1)[0].numpy()
        inside = labels[(labels[:, 1] > 0.02) & (labels[:, 1] < clips.SECONDS - 0.05)]
        rows = [(float(r[1]), float(min(max(r[2], r[1] + 0.02), clips.SECONDS)), float(r[3]), int(r[4])) for r in inside]
        strong = [r for r, w in zip(rows, inside[:, 5]) if w >= 0.5]
        out.append((sorted(strong), sorted(r for r, w in zip(rows, inside[:, 5]) if w < 0.5), y))
    return out


def pooled(made, onset, keep, silent):
    """Precision, recall, F of onsets over all clips. A found note that only a weak one explains counts for nothing; so does one at the edges."""
    hits = wanted = found = 0
    for ref, weak, post in made:
        est = [e for e in decode.notes(post, onset, keep, silent) if 0.02 < e[0] < clips.SECONDS - 0.05]
        ok = set()
        for r in ref:
            m = next((i for i, e in enumerate(est) if i not in ok and e[2] == round(r[2]) and abs(e[0] - r[0]) <= 0.05), None)
            if m is not None:
                ok.add(m)
        rest = [e for i, e in enumerate(est) if i not in ok and not any(e[2] == round(r[2]) and abs(e[0] - r[0]) <= 0.05 for r in weak)]
        hits, wanted, found = hits + len(ok), wanted + len(ref), found + len(ok) + len(rest)
    p, r = hits / max(found, 1), hits / max(wanted, 1)
    return p, r, 2 * p * r / max(p + r, 1e-9)


def ways(program, est):
    """Ways through the part by the program's model of the hand: as it likes best, and drawn to each place on the neck."""
    doc = json.dumps({"notes": [{"onset": e[0], "duration": max(e[1] - e[0], 0.02), "midi": e[2]} for e in est]})
    out = []
    with tempfile.NamedTemporaryFile("w", suffix=".json") as f:
        f.write(doc)
        f.flush()
        for around in (None, *range(1, 15)):
            extra = [] if around is None else ["--around", str(around)]
            r = json.loads(subprocess.run([program, "place", "--sequence", f.name, "--json", *extra], check=True, capture_output=True, text=True).stdout)
            out.append([6 - n["string"] if n.get("string") else 0 for n in r["notes"]])
    return out


def compare(root, run, made, o):
    """One network by the threshold that serves it best on the development excerpt and on renders together, then the evaluation excerpts."""
    posts = [(ref, weak, decode.posteriors(run, y)) for ref, weak, y in made]
    real = {}
    for audio in sorted((root / "audio").iterdir()):
        stem = audio.stem.rsplit("_", 1)[0]
        real[stem] = (truth(root / "annotation" / f"{stem}.jams"), decode.posteriors(run, resampled(audio)))
    own = next(v for k, v in real.items() if k.startswith("00_"))
    rows = []
    for x in np.arange(0.3, 0.76, 0.05):
        p, r, f = pooled(posts, x, o.keep, o.silent)
        d = score(own[0], decode.notes(own[1], x, o.keep, o.silent), False)
        print(f"  {x:.2f} renders P {p:.3f} R {r:.3f} F {f:.3f}  development P {d[0]:.3f} R {d[1]:.3f} F {d[2]:.3f}")
        rows.append((round(f + d[2], 4), x, f, d[2]))
    _, x, f, d = max(rows)
    each = {k: score(ref, decode.notes(post, x, o.keep, o.silent), False)[2] for k, (ref, post) in real.items() if not k.startswith("00_")}
    print(f"  threshold {x:.2f}: renders {f:.3f} development {d:.3f} evaluation {np.mean(list(each.values())):.3f}:", " ".join(f"{k} {v:.3f}" for k, v in each.items()), flush=True)


def main():
    p = argparse.ArgumentParser()
    p.add_argument("data")
    p.add_argument("weights", nargs="+")
    p.add_argument("--tune", action="store_true")
    p.add_argument("--renders")
    p.add_argument("--place", help="the program partwright: strings by its model of the hand, joined with the network's evidence")
    p.add_argument("--onset", type=float, default=decode.ONSET)
    p.add_argument("--keep", type=float, default=decode.KEEP)
    p.add_argument("--silent", type=float, default=decode.SILENT)
    o = p.parse_args()
    torch.set_num_threads(2)
    root = pathlib.Path(o.data) / "guitarset"
    made = renders(o.renders) if o.renders else None
    for weights in o.weights:
        run = runner(weights)
        print(weights)
        if o.renders:
            compare(root, run, made, o)
            continue
        for audio in sorted((root / "audio").iterdir()):
            stem = audio.stem.rsplit("_", 1)[0]
            development = stem.startswith("00_")
            if o.tune and not development:
                continue
            ref = truth(root / "annotation" / f"{stem}.jams")
            post = decode.posteriors(run, resampled(audio))
            if o.tune:
                for onset in np.arange(0.1, 0.75, 0.05):
                    for keep in (0.1, 0.2, 0.35, 0.5):
                        est = decode.notes(post, onset, keep, o.silent)
                        print(f"{onset:.2f} {keep:.2f}  P {score(ref, est, False)[0]:.3f} R {score(ref, est, False)[1]:.3f} F {score(ref, est, False)[2]:.3f}")
                for silent in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6):
                    print("silent", silent, f"{score(ref, decode.notes(post, o.onset, o.keep, silent), True)[2]:.3f}")
                continue
            est = decode.notes(post, o.onset, o.keep, o.silent)
            places = decode.joined(ways(o.place, est), decode.evidence(post, est)) if o.place else decode.strings(post, est)
            a, b = score(ref, est, False), score(ref, est, True)
            tab = tablature(ref, est, places)
            kind = "development" if development else "evaluation"
            print(f"{stem:28} {kind:11} P {a[0]:.3f} R {a[1]:.3f} F {a[2]:.3f}  offsets {b[2]:.3f}  tab notes {tab[0]:.3f} frames {tab[1]:.3f}", flush=True)


if __name__ == "__main__":
    main()
