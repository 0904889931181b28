"""Holds MusicXML and MIDI files against what the lesson's model says is written and heard.

    check.py FOLDER          every NAME.musicxml with NAME.mid and NAME.json beside it (see crates/pack/examples/exchange.rs)
    check.py FOLDER --faults damages copies of some files in known ways and passes only if each damage is found

What reads what:
  schema     MusicXML 4.0 (musicxml.xsd as shipped by the package musicxml; xml.xsd and xlink.xsd from xmlschema)
  music21    both staves of every part, repeats expanded by music21: onset, length, pitch; on the tab also string and fret
  verovio    its MEI, in the order of its own expansion: onset, length (from note value, dots and tuplets, and again from
             dur.ppq), pitch on the staff, course and fret on the tab, General MIDI key of drums
  lxml       tempo, swing, key, tuning, capo, and the chord signs' pitch classes by the standard's definition of kind and degree
  pretty_midi  onset and end of every note to a tick, pitch, pitch bend at onset and goal, tempo and meter changes

What they cannot say, and what is done about it:
  - music21 keeps a chord's strings and frets in one list; they are dealt out to the notes from low to high, its own order.
  - music21 has no drum key for a member of an unpitched chord: lines and spaces are compared there, keys in verovio.
  - MEI has no capo, and a tab note in it has course and fret but no pitch: pitches are compared on the staff above.
  - verovio's tree cannot hold a beam that laps over a tuplet's end: it gets the file without beams.
  - verovio takes the ties of two strings on one pitch for each other on the staff: such notes are compared on the tab.
  - verovio cannot tie a note over a jump (from the end of a repeat back to its beginning, or past an ending). Such notes
    are compared as two, and counted.
"""

import argparse
import json
import multiprocessing
import os
import re
import sys
import tempfile
import warnings
from collections import Counter, defaultdict
from fractions import Fraction
from pathlib import Path

warnings.simplefilter("ignore")

import mido
import music21
import musicxml
import pretty_midi
import verovio
import xmlschema
from lxml import etree

TICKS, DEAD, SPREAD, BEND_SEMITONES = 960, 120, 40, 24
# Line or space of a General MIDI drum key, named as in the treble clef (common practice).
DRUM_LINE = {36: "F4", 38: "C5", 42: "G5", 46: "G5", 51: "F5", 49: "A5", 45: "E5"}
# Semitones above the root, as the schema's documentation of kind-value defines them.
KINDS = {
    "major": {3: 4, 5: 7}, "minor": {3: 3, 5: 7}, "augmented": {3: 4, 5: 8}, "diminished": {3: 3, 5: 6},
    "dominant": {3: 4, 5: 7, 7: 10}, "major-seventh": {3: 4, 5: 7, 7: 11}, "minor-seventh": {3: 3, 5: 7, 7: 10},
    "diminished-seventh": {3: 3, 5: 6, 7: 9}, "augmented-seventh": {3: 4, 5: 8, 7: 10}, "half-diminished": {3: 3, 5: 6, 7: 10},
    "major-minor": {3: 3, 5: 7, 7: 11}, "major-sixth": {3: 4, 5: 7, 6: 9}, "minor-sixth": {3: 3, 5: 7, 6: 9},
    "suspended-second": {2: 2, 5: 7}, "suspended-fourth": {4: 5, 5: 7}, "power": {5: 7}, "other": {},
}
for base, seventh in (("dominant", "dominant"), ("major", "major-seventh"), ("minor", "minor-seventh")):
    tones = dict(KINDS[seventh])
    for name, number, semitones in (("ninth", 9, 14), ("11th", 11, 17), ("13th", 13, 21)):
        tones = {**tones, number: semitones}
        KINDS[f"{base}-{name}"] = tones
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
MAJOR = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 10, 8: 12, 9: 14, 10: 16, 11: 17, 12: 19, 13: 21}


class Facts:
    """What the model says, with exact times."""

    def __init__(self, path):
        self.raw = json.loads(Path(path).read_text())
        self.bars = self.raw["bars"]
        self.parts = self.raw["parts"]
        for bar in self.bars:
            bar["start"], bar["length"] = Fraction(bar["start"]), Fraction(bar["length"])
        for part in self.parts:
            part["tab"] = part["tuning"] is not None
            for note in part["written"]:
                note["at"], note["len"] = Fraction(note["at"]), Fraction(note["len"])
            for note in part["graces"]:
                note["at"] = Fraction(note["at"])

    def tick(self, seconds):
        """Ticks at a time, bar by bar from the model's own times."""
        bar = self.bars[0]
        for b in self.bars:
            if b["start_s"] <= seconds + 1e-9:
                bar = b
        return float(bar["start"]) * TICKS + (seconds - bar["start_s"]) * bar["quarters_a_minute"] / 60 * TICKS


def differences(what, want, got, faults, limit=3):
    """Compares two lists as bags."""
    want, got = Counter(want), Counter(got)
    missing, extra = list((want - got).elements()), list((got - want).elements())
    if missing or extra:
        show = lambda notes: "; ".join(str(tuple(str(x) for x in n)) for n in sorted(notes, key=str)[:limit])
        faults.append(f"{what}: {len(missing)} missing [{show(missing)}], {len(extra)} not written [{show(extra)}]")
    return sum(want.values())


# ---- schema -------------------------------------------------------------------------------------------------------------

_schema = None


def schema():
    global _schema
    if _schema is None:
        own = Path(musicxml.__file__).parent / "generate_classes" / "musicxml_4_0.xsd"
        other = Path(xmlschema.__file__).parent / "schemas"

        class Local(etree.Resolver):
            def resolve(self, url, public, context):
                name = url.rsplit("/", 1)[-1]
                place = {"xml.xsd": other / "XML" / "xml.xsd", "xlink.xsd": other / "XLINK" / "xlink.xsd"}.get(name)
                return self.resolve_filename(str(place), context) if place else None

        parser = etree.XMLParser(no_network=True)
        parser.resolvers.add(Local())
        _schema = etree.XMLSchema(etree.parse(str(own), parser))
    return _schema


def check_schema(tree, faults):
    if not schema().validate(tree):
        faults.extend(f"schema: line {e.line}: {e.message}" for e in list(schema().error_log)[:3])


# ---- lxml ---------------------------------------------------------------------------------------------------------------

def pitch_of(element, prefix=""):
    alter = element.findtext(f"{prefix}alter")
    return STEPS[element.findtext(f"{prefix}step")] + int(alter or 0)


def check_head(tree, facts, faults):
    """Tempo, swing, key, tuning, capo, chord signs."""
    root = tree.getroot()
    first = root.find("part")
    divisions = int(first.find("measure/attributes/divisions").text)
    tempos = [float(s.get("tempo")) for s in first.iter("sound") if s.get("tempo")]
    wanted = []
    for b in facts.bars:
        if not wanted or abs(wanted[-1] - b["quarters_a_minute"]) > 1e-9:
            wanted.append(b["quarters_a_minute"])
    # Repeats are folded here, so a tempo may be written once and come back; each must be said and none invented.
    if not tempos or abs(tempos[0] - wanted[0]) > 1e-6 or {round(t, 6) for t in tempos} != {round(t, 6) for t in wanted}:
        faults.append(f"tempo: {tempos} written, {wanted} meant")
    swing, found = facts.raw["swing"], first.find(".//swing")
    if (swing is None) != (found is None):
        faults.append(f"swing: {swing} meant, {found} written")
    elif swing:
        a, b = int(found.findtext("first")), int(found.findtext("second"))
        unit = {"1/2": "eighth", "1/4": "16th"}[swing["of"]]
        if abs(100 * a / (a + b) - swing["percent"]) > 0.01 or found.findtext("swing-type") != unit:
            faults.append(f"swing: {a}:{b} of {found.findtext('swing-type')} written, {swing} meant")
    for part, element in zip(facts.parts, root.findall("part")):
        if int(element.findtext("measure/attributes/key/fifths")) != (facts.raw["key"] or 0):
            faults.append(f"{part['name']}: key")
        details = element.find("measure/attributes/staff-details")
        if part["tab"]:
            open_strings = [pitch_of(t, "tuning-") + 12 * (int(t.findtext("tuning-octave")) + 1) for t in details.findall("staff-tuning")]
            lines = [int(t.get("line")) for t in details.findall("staff-tuning")]
            if open_strings != part["tuning"] or lines != list(range(1, len(lines) + 1)):
                faults.append(f"{part['name']}: tuning {open_strings}, {part['tuning']} meant")
            if int(details.findtext("capo") or 0) != part["capo"]:
                faults.append(f"{part['name']}: capo")
    check_harmony(first, divisions, facts, faults)


def check_harmony(first, divisions, facts, faults):
    written = {}
    for measure in first.findall("measure"):
        now = Fraction(0)
        number = int(measure.get("number"))
        start = next(b["start"] for b in facts.bars if b["number"] == number)
        for e in measure:
            if e.tag == "note" and e.find("chord") is None and e.find("grace") is None:
                now += Fraction(int(e.findtext("duration")), divisions)
            elif e.tag == "backup":
                now -= Fraction(int(e.findtext("duration")), divisions)
            elif e.tag == "harmony":
                at = start + now + Fraction(int(e.findtext("offset") or 0), divisions)
                written[at] = e
    pinned = 0
    for sign in facts.raw["harmony"]:
        e = written.get(Fraction(sign["at"]))
        if e is None:
            continue
        pinned += 1
        kind = e.findtext("kind")
        if sign["root"] is None:
            if kind != "none":
                faults.append(f"harmony at {sign['at']}: {kind}, no chord meant")
            continue
        root = pitch_of(e.find("root"), "root-") % 12
        tones = dict(KINDS[kind])
        for d in e.findall("degree"):
            number, alter, how = int(d.findtext("degree-value")), int(d.findtext("degree-alter")), d.findtext("degree-type")
            if how == "add":
                tones[f"added {number}"] = MAJOR[number] + alter
            elif how == "alter":
                tones[number] += alter
            else:
                del tones[number]
        bass = pitch_of(e.find("bass"), "bass-") % 12 if e.find("bass") is not None else root
        classes = sorted({(root + t) % 12 for t in tones.values()} | {root, bass})
        if (root, bass, classes) != (sign["root"], sign["bass"], sorted(sign["classes"])):
            faults.append(f"harmony at {sign['at']}: {(root, bass, classes)} written, {(sign['root'], sign['bass'], sign['classes'])} meant")
    printed = {b["number"] for b in facts.bars} & {int(m.get("number")) for m in first.findall("measure")}
    due = sum(1 for s in facts.raw["harmony"] if any(b["start"] <= Fraction(s["at"]) < b["start"] + b["length"] and b["number"] in printed for b in facts.bars))
    if pinned != due:
        faults.append(f"harmony: {pinned} signs found, {due} meant")


# ---- music21 ------------------------------------------------------------------------------------------------------------

def exact(x):
    return Fraction(x).limit_denominator(65535)


def music21_staves(path):
    score = music21.converter.parseFile(path, format="musicxml", forceSource=True, storePickle=False)
    return [p.expandRepeats() for p in score.parts]


def music21_notes(staff):
    """Notes with ties joined, and grace notes: (onset, length, pitch or line, string, fret)."""
    entries, graces = [], []
    for n in staff.flatten().notes:
        if isinstance(n, music21.harmony.Harmony):
            continue
        members = list(n.notes) if hasattr(n, "notes") else [n]
        signs = n.articulations
        strings = [a.number for a in signs if type(a) is music21.articulations.StringIndication]
        frets = [a.number for a in signs if type(a) is music21.articulations.FretIndication]
        # A chord's signs come together, by its notes from low to high.
        rank = {k: r for r, k in enumerate(sorted(range(len(members)), key=lambda k: members[k].pitch.ps if hasattr(members[k], "pitch") else 0))}
        for i, m in enumerate(members):
            pitch = m.displayStep + str(m.displayOctave) if isinstance(m, music21.note.Unpitched) else m.pitch.midi
            place = (strings[rank[i]], frets[rank[i]]) if len(strings) == len(frets) == len(members) else (None, None)
            if n.duration.isGrace:
                graces.append((exact(n.offset), pitch, *place))
            else:
                tie = m.tie.type if m.tie else None
                entries.append([exact(n.offset), exact(n.quarterLength), pitch, *place, tie in ("stop", "continue")])
    return joined(entries), graces


def joined(entries):
    out, open_notes = [], defaultdict(list)
    for at, length, pitch, string, fret, goes_on in sorted(entries, key=lambda e: e[0]):
        key = (pitch, string, fret)
        earlier = next((n for n in open_notes[key] if n[0] + n[1] == at), None) if goes_on else None
        if earlier:
            earlier[1] += length
        else:
            open_notes[key].append([at, length, pitch, string, fret])
    for notes in open_notes.values():
        out.extend(tuple(n) for n in notes)
    return out


def check_music21(path, facts, faults):
    staves = music21_staves(path)
    count, i = 0, 0
    for part in facts.parts:
        line = lambda midi: DRUM_LINE.get(midi, "B4")
        if part["kind"] in ("drums", "click"):
            want = [(n["at"], n["len"], line(n["midi"]), None, None) for n in part["written"]]
        else:
            want = [(n["at"], n["len"], n["midi"], None, None) for n in part["written"]]
        notes, graces = music21_notes(staves[i])
        count += differences(f"music21, {part['name']}, staff", want, [(*n[:3], None, None) for n in notes], faults)
        differences(f"music21, {part['name']}, grace notes", [(g["at"], g["midi"]) for g in part["graces"]], [g[:2] for g in graces], faults)
        i += 1
        if part["tab"]:
            notes, graces = music21_notes(staves[i])
            want = [(n["at"], n["len"], n["midi"], n["string"], n["fret"]) for n in part["written"]]
            count += differences(f"music21, {part['name']}, tab", want, notes, faults)
            differences(f"music21, {part['name']}, grace notes on the tab", [(g["at"], g["midi"], g["string"], g["fret"]) for g in part["graces"]], graces, faults)
            i += 1
    if i != len(staves):
        faults.append(f"music21: {len(staves)} staves, {i} meant")
    return count


# ---- verovio ------------------------------------------------------------------------------------------------------------

MEI = "{http://www.music-encoding.org/ns/mei}"
XML_ID = "{http://www.w3.org/XML/1998/namespace}id"
ACCIDENTALS = {"s": 1, "f": -1, "ss": 2, "x": 2, "ff": -2, "n": 0}


def verovio_mei(path):
    toolkit = verovio.toolkit()
    toolkit.setOptions({"xmlIdChecksum": True})
    tree = etree.parse(str(path))
    for beam in list(tree.iter("beam")):
        beam.getparent().remove(beam)
    if not toolkit.loadData(etree.tostring(tree, encoding="unicode")):
        raise ValueError("verovio cannot load the file")
    return etree.fromstring(re.sub(r"<\?xml[^>]*\?>", "", toolkit.getMEI(), count=1).encode())


def measures_in_order(root):
    """Measures as played by verovio's own expansion; with each, whether it follows the one before it on the page."""
    ids = {e.get(XML_ID): e for e in root.iter() if e.get(XML_ID)}
    on_page = {m: i for i, m in enumerate(root.iter(MEI + "measure"))}
    order = []

    def play(element):
        expansion = element.find(MEI + "expansion")
        if expansion is not None:
            for ref in expansion.get("plist").split():
                play(ids[ref.lstrip("#")])
            return
        for child in element:
            if child.tag == MEI + "measure":
                order.append(child)
            elif child.tag in (MEI + "section", MEI + "ending"):
                play(child)

    play(root.find(f".//{MEI}score/{MEI}section"))
    return [(m, i == 0 or on_page[order[i - 1]] + 1 == on_page[m]) for i, m in enumerate(order)]


def value(element, ratio):
    length = Fraction(4, int(element.get("dur")))
    for i in range(int(element.get("dots") or 0)):
        length += Fraction(4, int(element.get("dur"))) / 2 ** (i + 1)
    return length * ratio


def mei_notes(layer, ppq, faults):
    """Strokes of a layer: (onset, length, notes, grace), and the layer's length."""
    out = []
    now = Fraction(0)

    def walk(element, ratio):
        nonlocal now
        tag = element.tag.replace(MEI, "") if isinstance(element.tag, str) else ""
        if tag == "tuplet":
            ratio = ratio * Fraction(int(element.get("numbase")), int(element.get("num")))
        if tag in ("note", "chord", "rest", "tabGrp"):
            notes = [element] if tag == "note" else list(element.iter(MEI + "note"))
            grace = any(n.get("grace") for n in notes) or bool(element.get("grace"))
            length = Fraction(0) if grace else value(element, ratio)
            if not grace and element.get("dur.ppq") and Fraction(int(element.get("dur.ppq")), ppq) != length:
                faults.append(f"verovio: a {tag} of {length} by its note value lasts {element.get('dur.ppq')}/{ppq}")
            if notes:
                out.append((now, length, notes, grace))
            now += length
        elif tag == "mRest":
            now = None
        else:
            for child in element:
                walk(child, ratio)

    for child in layer:
        walk(child, Fraction(1))
    return out, now


def mei_pitch(note):
    accid = note.get("accid.ges") or note.get("accid")
    child = note.find(MEI + "accid")
    if child is not None:
        accid = child.get("accid.ges") or child.get("accid") or accid
    return STEPS[note.get("pname").upper()] + ACCIDENTALS[accid or "n"] + 12 * (int(note.get("oct")) + 1)


def check_verovio(path, facts, faults, skipped):
    root = verovio_mei(path)
    ties = {t.get("endid").lstrip("#"): t.get("startid").lstrip("#") for t in root.iter(MEI + "tie") if t.get("endid") and t.get("startid")}
    staff_defs = [d for d in root.find(f".//{MEI}scoreDef").iter(MEI + "staffDef")]
    ppq = {d.get("n"): int(d.get("ppq")) for d in staff_defs}
    order = measures_in_order(root)
    if len(order) != len(facts.bars):
        faults.append(f"verovio: {len(order)} bars played, {len(facts.bars)} meant")
        return 0
    kinds = []
    for part in facts.parts:
        kinds.append((part, "drums" if part["kind"] in ("drums", "click") else "staff"))
        if part["tab"]:
            kinds.append((part, "tab"))
    if len(kinds) != len(staff_defs):
        faults.append(f"verovio: {len(staff_defs)} staves, {len(kinds)} meant")
        return 0
    count = 0
    for n, (part, kind) in enumerate(kinds, 1):
        if kind == "tab":
            tuning = [c for c in staff_defs[n - 1].iter(MEI + "course")]
            got = [STEPS[c.get("pname").upper()] + ACCIDENTALS[c.get("accid") or "n"] + 12 * (int(c.get("oct")) + 1) for c in tuning]
            if got != part["tuning"]:
                faults.append(f"verovio, {part['name']}: tuning {got}, {part['tuning']} meant")
        notes, graces, open_notes, cuts = [], [], {}, set()
        for bar, (measure, follows) in zip(facts.bars, order):
            if not follows:
                cuts.add(bar["start"])
            layer = measure.find(f"{MEI}staff[@n='{n}']/{MEI}layer")
            strokes, length = mei_notes(layer, ppq[str(n)], faults)
            if length is not None and length != bar["length"]:
                faults.append(f"verovio, {part['name']}, {kind}: bar {bar['number']} lasts {length}, {bar['length']} meant")
            for at, length, members, grace in strokes:
                at += bar["start"]
                for m in members:
                    if kind == "tab":
                        what = (int(m.get("tab.course")), int(m.get("tab.fret")))
                    elif kind == "drums":
                        what = (int(m.get("pnum")),)
                    else:
                        what = (mei_pitch(m),)
                    if grace:
                        graces.append((at, *what))
                        continue
                    me = m.get(XML_ID)
                    earlier = open_notes.get(ties.get(me))
                    if earlier and earlier[0] + earlier[1] == at:
                        earlier[1] += length
                        open_notes[me] = earlier
                    else:
                        open_notes[me] = [at, length, *what]
                        notes.append(open_notes[me])
        want = []
        for w in part["written"]:
            what = {"tab": (w["string"], w["fret"]), "drums": (w["midi"],), "staff": (w["midi"],)}[kind]
            at, end = w["at"], w["at"] + w["len"]
            for cut in sorted(c for c in cuts if at < c < end):
                want.append((at, cut - at, *what))
                at = cut
                skipped[0] += 1
            want.append((at, end - at, *what))
        # A tie that does lead over a jump is as good as two notes.
        got = []
        for note in notes:
            at, end = note[0], note[0] + note[1]
            for cut in sorted(c for c in cuts if at < c < end):
                got.append((at, cut - at, *note[2:]))
                at = cut
            got.append((at, end - at, *note[2:]))
        if kind == "staff":
            # Two strings on one pitch at once: only the tab can tell which tie is whose.
            starts = Counter((w[0], w[2]) for w in want)
            double = [w for w in want if starts[(w[0], w[2])] > 1]
            skipped[3] += len(double)
            want = [w for w in want if w not in double]
            got = [g for g in got if not any(w[2] == g[2] and w[0] <= g[0] < w[0] + w[1] for w in double)]
        count += differences(f"verovio, {part['name']}, {kind}", want, got, faults)
        place = (lambda g: (g["string"], g["fret"])) if kind == "tab" else (lambda g: (g["midi"],))
        differences(f"verovio, {part['name']}, {kind}, grace notes", [(g["at"], *place(g)) for g in part["graces"]], graces, faults)
    return count


# ---- pretty_midi --------------------------------------------------------------------------------------------------------

def expected_midi(part, facts):
    """Notes as the conventions of the MIDI writer say, in ticks: on, off, pitch, cents at points from the onset."""
    out = []
    for h in part["heard"]:
        on, off = facts.tick(h["on_s"]), facts.tick(h["off_s"])
        off = max(off, on + 1)
        step = SPREAD if h["spread"] else SPREAD // 2 if h["rake"] else 0
        # The distance from string to string is whole ticks of a rounded length: a tick of rounding counts once a string.
        slack = 1 + (h["order"] if step else 0)
        if step:
            on += h["order"] * min(step, (round(off) - round(on)) // 2 // max(h["of"], 1))
        if h["dead"] or part["kind"] in ("drums", "click"):
            off = min(off, on + DEAD)
        elif h["short"]:
            off = on + (off - on) / 2
        rounds = max(1, round(Fraction(h["len"]) * 8 + Fraction(1, 10**9))) if h["tremolo"] and not h["dead"] else 1
        # So does a stroke of a tremolo, whose place is cut to whole ticks.
        slack += 1 if rounds > 1 else 0
        goals = []
        if not h["dead"]:
            points = [(facts.tick(t), c) for t, c in h["bend"]]
            start = facts.tick(h["on_s"])
            first = points[0][1] if points and points[0][0] <= start + 0.5 else 0.0
            if h["slide"]:
                reached = facts.tick(h["slide"][0])
                bend = [c for t, c in points if t <= reached + 0.5]
                goals = [(0, first)] + ([(reached - start, (bend[-1] if bend else 0.0) + 100 * h["slide"][1])] if not points or points[-1][0] <= reached + 0.5 else [])
            elif points:
                goals = [(0, first), (points[-1][0] - start, points[-1][1])]
        for i in range(rounds):
            a = on + (off - on) * i / rounds
            b = on + (off - on) * (i + 1) / rounds
            # A later stroke of a tremolo has the goals that fall into it; where none does, its bend is on the way.
            mine = [(max(t - (a - on), 0), c) for t, c in goals if a - on <= t < b - on] if rounds > 1 else goals
            out.append((a, max(b, a + 1), h["midi"], None if goals and not mine else mine, slack))
    return out


def check_midi(path, facts, faults, skipped):
    pm = pretty_midi.PrettyMIDI(str(path))
    if pm.resolution != TICKS:
        faults.append(f"MIDI: {pm.resolution} ticks")
    times, tempos = pm.get_tempo_changes()
    wanted = []
    for b in facts.bars:
        if not wanted or abs(wanted[-1][1] - b["quarters_a_minute"]) > 1e-9:
            wanted.append((b["start_s"], b["quarters_a_minute"]))
    if len(times) != len(wanted) or any(abs(t - w[0]) > 0.002 or abs(q / w[1] - 1) > 1e-5 for t, q, w in zip(times, tempos, wanted)):
        faults.append(f"MIDI: tempo {list(zip(times, tempos))[:4]}, {wanted[:4]} meant")
    meters = []
    for b in facts.bars:
        whole = Fraction(4 * b["meter"][0], b["meter"][1])
        m = tuple(b["meter"]) if b["length"] == whole else b["length"]
        if not meters or meters[-1] != m:
            meters.append(m)
    got = [(s.numerator, s.denominator) for s in pm.time_signature_changes]
    fits = lambda g, m: Fraction(4 * g[0], g[1]) == m if isinstance(m, Fraction) else g == m
    odd_pickup = isinstance(meters[0], Fraction) and (meters[0] * 16).denominator != 1
    if not odd_pickup and (len(got) != len(meters) or not all(fits(g, m) for g, m in zip(got, meters))):
        faults.append(f"MIDI: meters {got}, {meters} meant")
    count = 0
    for part in facts.parts:
        mine = [i for i in pm.instruments if i.name.encode("latin-1", "replace").decode("utf-8", "replace") == part["name"]]
        if part["easier"]:
            if any(i.notes for i in mine):
                faults.append(f"MIDI: {part['name']} sounds")
            continue
        if any(i.is_drum != (part["kind"] in ("drums", "click")) for i in mine):
            faults.append(f"MIDI: {part['name']}: drum channel")
        have = [(pm.time_to_tick(n.start), pm.time_to_tick(n.end), n.pitch, i) for i in mine for n in i.notes]
        want = expected_midi(part, facts)
        count += len(want)
        by_pitch = defaultdict(list)
        for h in have:
            by_pitch[h[2]].append(h)
        unmatched = []
        starts = {(h[0], h[2]) for h in have}
        for on, off, pitch, goals, slack in sorted(want, key=lambda w: (w[0], w[1])):
            near = [h for h in by_pitch[pitch] if abs(h[0] - on) <= slack]
            best = min(near, key=lambda h: abs(h[1] - off), default=None)
            if best is None:
                # One pitch struck twice at once, with no channel left: once is all that MIDI can say.
                if sum(1 for w in want if abs(w[0] - on) <= 1 and w[2] == pitch) > 1:
                    skipped[1] += 1
                else:
                    unmatched.append((round(on), round(off), pitch))
                continue
            by_pitch[pitch].remove(best)
            if abs(best[1] - off) > slack:
                if any((best[1] + d, pitch) in starts for d in (-1, 0, 1)):
                    skipped[1] += 1
                else:
                    unmatched.append((round(on), round(off), pitch, f"ends {best[1]}"))
                    continue
            bends = sorted(best[3].pitch_bends, key=lambda b: b.time)
            start = best[0]
            for at, cents in [] if goals is None else goals or [(0, 0.0)]:
                if start + at >= best[1] or part["kind"] in ("drums", "click"):
                    continue
                value = 0
                for b in bends:
                    if pm.time_to_tick(b.time) <= start + at + 1:
                        value = b.pitch
                meant = max(-8192, min(8191, cents / 100 / BEND_SEMITONES * 8192))
                # A course between its points may be a tick early or late.
                if abs(value - meant) > (1.01 if at == 0 else 0.02 * abs(meant) + 30):
                    if not (goals and value == 0):
                        unmatched.append((round(on), pitch, f"bend {value}, {meant:.0f} meant"))
                    elif not channels_full(path):
                        unmatched.append((round(on), pitch, f"no bend, {meant:.0f} meant"))
                    else:
                        skipped[2] += 1
                    break
        left = [h[:3] for hs in by_pitch.values() for h in hs]
        if unmatched or left:
            faults.append(f"MIDI, {part['name']}: {len(unmatched)} amiss {unmatched[:3]}, {len(left)} not meant {left[:3]}")
    return count


def channels_full(path):
    """Whether every pitched channel is in use, so that a bend may have found none."""
    used = {m.channel for t in mido.MidiFile(path).tracks for m in t if m.type == "program_change"}
    return len(used) == 15


# ---- all of it ----------------------------------------------------------------------------------------------------------

def check(stem):
    """Faults of one passage, and counts."""
    faults, skipped, notes = [], [0, 0, 0, 0], [0, 0, 0]
    try:
        facts = Facts(f"{stem}.json")
        tree = etree.parse(f"{stem}.musicxml")
        check_schema(tree, faults)
        check_head(tree, facts, faults)
        notes[0] = check_music21(f"{stem}.musicxml", facts, faults)
        notes[1] = check_verovio(f"{stem}.musicxml", facts, faults, skipped)
        notes[2] = check_midi(f"{stem}.mid", facts, faults, skipped)
    except Exception as error:
        faults.append(f"{type(error).__name__}: {error}")
        if os.environ.get("TRACE"):
            raise
    return stem, faults, notes, skipped


def damage(folder, stems):
    """Damages copies; every damage must be found. Returns the number of damages and those that were not found."""
    missed, done = [], 0

    def element(tag, change):
        def work(tree, _):
            found = next((e for e in tree.iter(tag) if e.text and e.text.strip()), None)
            if found is None:
                return False
            found.text = change(found.text)
            return True
        return work

    def drop(tag):
        def work(tree, _):
            found = [e for e in tree.iter(tag)]
            for e in found:
                e.getparent().remove(e)
            return bool(found)
        return work

    def midi(change):
        def work(_, path):
            file = mido.MidiFile(path)
            hit = False
            for track in file.tracks[1:]:
                for i, m in enumerate(track):
                    if not hit and m.type == "note_on" and i + 1 < len(track):
                        hit = True
                        change(track, i)
            file.save(path)
            return hit
        return work

    def raise_note(track, i):
        old = track[i]
        track[i] = old.copy(note=old.note + 1)
        off = next((k for k in range(i + 1, len(track)) if track[k].type == "note_off" and track[k].note == old.note and track[k].channel == old.channel), None)
        track[off] = track[off].copy(note=old.note + 1)

    def move(track, i):
        track[i] = track[i].copy(time=track[i].time + 2)

    def stick(track, i):
        off = next(k for k in range(i + 1, len(track)) if track[k].type == "note_off" and track[k].note == track[i].note and track[k].channel == track[i].channel)
        track[off + 1] = track[off + 1].copy(time=track[off + 1].time + track[off].time)
        del track[off]

    other_step = lambda t: "D" if t == "C" else "C"
    kinds = {
        "a fret": element("fret", lambda t: str(int(t) + 1)),
        "a string": element("string", lambda t: str(int(t) % 4 + 1)),
        "a step": element("step", other_step),
        "a length": element("duration", lambda t: str(int(t) * 2)),
        "a note value": element("type", lambda t: "half" if t != "half" else "quarter"),
        "the ties": drop("tie"),
        "a chord mark": lambda tree, _: bool([e.getparent().remove(e) for e in list(tree.iter("chord"))[:1]]),
        "a word not in the schema": lambda tree, _: bool([setattr(e, "tag", "bar-line") for e in list(tree.iter("voice"))[:1]]),
        "a repeat": lambda tree, _: bool([e.getparent().remove(e) for e in list(tree.iter("repeat"))[-1:]]),
        "the capo": drop("capo"),
        "a tuning": element("tuning-octave", lambda t: str(int(t) + 1)),
        "the swing": drop("swing"),
        "a chord's kind": element("kind", lambda t: "augmented-seventh"),
        "a MIDI pitch": midi(raise_note),
        "a MIDI onset by two ticks": midi(move),
        "a MIDI note without end": midi(stick),
    }
    for name, work in kinds.items():
        hit = False
        for stem in stems:
            with tempfile.TemporaryDirectory() as place:
                copy = Path(place) / "copy"
                for ext in ("musicxml", "mid", "json"):
                    Path(f"{copy}.{ext}").write_bytes(Path(f"{stem}.{ext}").read_bytes())
                tree = etree.parse(f"{copy}.musicxml")
                if not work(tree, f"{copy}.mid"):
                    continue
                tree.write(f"{copy}.musicxml", xml_declaration=True, encoding="UTF-8")
                hit = True
                done += 1
                if not check(str(copy))[1]:
                    missed.append(f"{name} in {Path(stem).name}")
                break
        if not hit:
            missed.append(f"{name}: no passage to damage")
    return done, missed


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("folder")
    parser.add_argument("--faults", action="store_true")
    args = parser.parse_args()
    stems = sorted(str(p)[: -len(".musicxml")] for p in Path(args.folder).glob("*.musicxml"))
    if not stems:
        sys.exit("no files to check")
    if args.faults:
        done, missed = damage(args.folder, stems)
        print(f"exchange, self-test: {done} damages, {done - len([m for m in missed if ' in ' in m])} found")
        sys.exit("\n".join(["NOT FOUND:", *missed]) if missed else 0)
    workers = int(os.environ.get("JOBS", os.cpu_count() or 1))
    bad, notes, skipped = 0, [0, 0, 0], [0, 0, 0, 0]
    with multiprocessing.Pool(workers) as pool:
        for stem, faults, n, s in pool.imap(check, stems, chunksize=4):
            notes = [a + b for a, b in zip(notes, n)]
            skipped = [a + b for a, b in zip(skipped, s)]
            if faults:
                bad += 1
                if bad <= 20:
                    print(f"{Path(stem).name}:", *faults[:6], sep="\n    ")
    print(
        f"exchange: {len(stems)} passages, {bad} with faults; notes read back alike: music21 {notes[0]}, verovio {notes[1]}, pretty_midi {notes[2]}; "
        f"left to the others: {skipped[0]} ties over a jump and {skipped[3]} doubled pitches on the staff (verovio), {skipped[1]} doubled pitches and {skipped[2]} bends without a free channel (MIDI)"
    )
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
