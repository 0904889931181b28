"""Checks a handout's PDF with readers that had no part in making it.

What is checked, each against its source:
- tagged, titled, with a language: ISO 14289-1:2014 (PDF/UA-1), 7.1, 7.2; alternative text on every figure: 7.3;
- fonts embedded, texts extractable: 7.21;
- the smallest printed figure is at least 2 mm high (the project's own rule);
- nothing printed outside the margins; no passage parted that fits on one page (the project's own rules).

Beside FILE.pdf there may be FILE.pdf.json with what must be found in it (written by the fixture).
"""

import io
import json
import re
import sys
import unicodedata

import pdfplumber
import pikepdf
from fontTools.cffLib import CFFFontSet
from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont

MM = 72 / 25.4
SMALLEST_MM = 2.0
SIDE_PT, TOP_PT, FOOT_PT = 54.0, 64.0, 62.0


def squeeze(text):
    """Text without white space, composed: line ends and spacing are the reader's guess."""
    return re.sub(r"[\s\u200b\u00ad]+", "", unicodedata.normalize("NFC", text))


def struct_elements(node, seen=None):
    """Every structure element under a node, in reading order."""
    kids = node.get("/K")
    if kids is None:
        return
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            yield kid
            yield from struct_elements(kid)


def check_tags(pdf, want):
    root = pdf.Root
    if root.get("/MarkInfo", {}).get("/Marked") is not True:
        yield "not marked as tagged"
    if str(root.get("/Lang", "")) != (want["language"] if want else str(root.get("/Lang", ""))) or not str(root.get("/Lang", "")):
        yield f"language is {root.get('/Lang')}"
    if root.get("/ViewerPreferences", {}).get("/DisplayDocTitle") is not True:
        yield "the document's title is not shown"
    with pdf.open_metadata(set_pikepdf_as_editor=False) as meta:
        title, part = meta.get("dc:title"), meta.get("pdfuaid:part")
    if not title or (want and title != want["title"]):
        yield f"title is {title!r}"
    if str(part) != "1":
        yield f"pdfuaid:part is {part!r}"
    if "/StructTreeRoot" not in root:
        yield "no structure tree"
        return
    elements = list(struct_elements(root.StructTreeRoot))
    alts = []
    for element in elements:
        if str(element.S) == "/Figure":
            alt = str(element.get("/Alt", ""))
            if not alt.strip():
                yield "a figure has no alternative text"
            alts.append(alt)
    if want and sorted(alts) != sorted(want["alts"]):
        yield f"{len(alts)} alternative texts differ from the {len(want['alts'])} drawings'"
    headings = [str(e.S) for e in elements if re.fullmatch(r"/H\d", str(e.S))]
    if not headings or headings[0] != "/H1" or headings.count("/H1") != 1:
        yield f"headings are {headings[:5]}"
    if want and headings.count("/H2") < len(want["passages"]):
        yield "fewer headings than passages"


def outline(pdf):
    """Bookmarks: title, page index, y from the top."""
    pages = {page.obj.objgen: (i, page) for i, page in enumerate(pdf.pages)}
    found = []

    def walk(items):
        for item in items:
            dest = item.destination
            if item.action is not None:
                dest = item.action.get("/D")
            i, page = pages[dest[0].objgen]
            found.append((item.title, i, float(page.mediabox[3]) - float(dest[3])))
            walk(item.children)

    with pdf.open_outline() as tree:
        walk(tree.root)
    return found


def check_fonts(pdf):
    for page in pdf.pages:
        for name, font in page.obj.get("/Resources", {}).get("/Font", {}).items():
            inner = font.DescendantFonts[0] if "/DescendantFonts" in font else font
            descriptor = inner.get("/FontDescriptor")
            if descriptor is None or not any(k in descriptor for k in ("/FontFile", "/FontFile2", "/FontFile3")):
                yield f"font {font.get('/BaseFont')} is not embedded"
            if "/ToUnicode" not in font:
                yield f"font {font.get('/BaseFont')} cannot be read back as text"


def digit_heights(pdf):
    """For each embedded font, the height of each of its digits in parts of an em."""
    heights = {}
    for page in pdf.pages:
        for font in page.obj.get("/Resources", {}).get("/Font", {}).values():
            name = str(font.DescendantFonts[0].BaseFont).lstrip("/")
            if name in heights:
                continue
            codes = {}
            cmap = bytes(font.ToUnicode.read_bytes()).decode("latin-1")
            for block in re.findall(r"beginbfchar(.*?)endbfchar", cmap, re.S):
                for code, text in re.findall(r"<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>", block):
                    codes[int(code, 16)] = bytes.fromhex(text).decode("utf-16-be")
            for block in re.findall(r"beginbfrange(.*?)endbfrange", cmap, re.S):
                for low, high, text in re.findall(r"<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>", block):
                    first = ord(bytes.fromhex(text).decode("utf-16-be")[-1])
                    for k in range(int(high, 16) - int(low, 16) + 1):
                        codes[int(low, 16) + k] = chr(first + k)
            descriptor = font.DescendantFonts[0].FontDescriptor
            if "/FontFile3" in descriptor:
                data = descriptor.FontFile3.read_bytes()
                if data[:4] == b"OTTO":
                    top = TTFont(io.BytesIO(data))["CFF "].cff[0]
                else:
                    fonts = CFFFontSet()
                    fonts.decompile(io.BytesIO(data), None)
                    top = fonts[0]
                order = top.charset
                glyphs = top.CharStrings
                units = 1 / top.FontMatrix[0] if hasattr(top, "FontMatrix") and top.FontMatrix[0] else 1000
                glyph = lambda code: glyphs[order[code]] if hasattr(top, "ROS") is False or code < len(order) else None
            else:
                ttf = TTFont(io.BytesIO(descriptor.FontFile2.read_bytes()))
                glyph_set, order, units = ttf.getGlyphSet(), ttf.getGlyphOrder(), ttf["head"].unitsPerEm
                glyph = lambda code: glyph_set[order[code]]
            heights[name] = {}
            for code, text in codes.items():
                if text.isdigit() and len(text) == 1:
                    pen = BoundsPen(None)
                    glyph(code).draw(pen)
                    heights[name][text] = (pen.bounds[3] - pen.bounds[1]) / units
    return heights


def smallest_figure_mm(pdf, pages):
    heights = digit_heights(pdf)
    smallest = None
    for page in pages:
        for char in page.chars:
            if char["text"].isdigit() and len(char["text"]) == 1:
                height = heights[char["fontname"]][char["text"]]
                mm = height * char["size"] / MM
                if smallest is None or mm < smallest[0]:
                    smallest = (mm, char["text"], page.page_number)
    return smallest


def things(page):
    """Everything printed on a page, as boxes (left, top, right, bottom)."""
    for kind in ("chars", "curves", "lines", "rects"):
        for thing in page.objects.get(kind[:-1], []):
            if kind == "chars" and not thing["text"].strip():
                continue
            yield thing["x0"], page.height - thing["y1"], thing["x1"], page.height - thing["y0"]


def check_margins(pages):
    for page in pages:
        for left, top, right, bottom in things(page):
            if left < SIDE_PT - 1.5 or right > page.width - SIDE_PT + 1.5 or top < 24 or bottom > page.height - 24:
                yield f"page {page.page_number}: printed outside the margins at ({left:.1f}, {top:.1f}, {right:.1f}, {bottom:.1f})"
                break


def check_passages_whole(pages, marks, want):
    """A passage whose printed height would fit on a page must not be parted."""
    def inside(page):
        return [b for b in things(page) if b[1] >= TOP_PT - 12 and b[3] <= page.height - FOOT_PT + 6]

    room = pages[0].height - TOP_PT - FOOT_PT
    starts = marks[1:]
    names = want["passages"] if want else None
    for i, (title, page, y) in enumerate(starts):
        if names is not None and i >= len(names):
            break
        # The passage ends where the next mark stands; the last one is taken with the small print after it.
        end_page, end_y = (starts[i + 1][1], starts[i + 1][2]) if i + 1 < len(starts) else (len(pages) - 1, float("inf"))
        if end_page == page:
            continue
        height = 0.0
        parts = 0
        for p in range(page, end_page + 1):
            boxes = [b for b in inside(pages[p]) if (p > page or b[1] >= y - 6) and (p < end_page or b[3] <= end_y + 2)]
            if boxes:
                top = y if p == page else min(b[1] for b in boxes)
                height += max(b[3] for b in boxes) - top
                parts += 1
        # Between the parts there would be the white between two systems.
        if parts > 1 and height + 16 * (parts - 1) <= room - 8:
            yield f"passage {title!r} is parted over {parts} pages although its {height:.0f} pt fit on one of {room:.0f} pt"


def check_texts(pages, marks, want):
    if not want:
        return
    everything = squeeze("".join(page.extract_text(layout=False) or "" for page in pages))
    # Words may be divided at a line's end; a hyphen there is the typesetter's.
    flat = everything.replace("-", "").replace("\u2010", "")
    for words in [want["title"], *want["passages"], *want["words"]]:
        needle = squeeze(words).replace("-", "")
        if needle not in flat:
            # Texts that stand beside each other are read line by line: look for each word then.
            missing = [w for w in words.split() if squeeze(w).replace("-", "") not in flat]
            if missing:
                yield f"the text {words!r} lacks {missing[:5]}"
    printed = "".join(c["text"] for page in pages for c in page.chars)
    need, have = {}, {}
    for text in want["drawn"]:
        for c in text:
            need[c] = need.get(c, 0) + 1
    for c in printed:
        have[c] = have.get(c, 0) + 1
    for c, count in need.items():
        if have.get(c, 0) < count:
            yield f"{count} signs {c!r} were drawn, {have.get(c, 0)} can be read"
    if len(want["passages"]) and [re.sub(r"^\d+\s*", "", m[0]) for m in marks[1 : 1 + len(want["passages"])]] != want["passages"]:
        yield f"bookmarks are {[m[0] for m in marks][:8]}"


def check(path, spoil=None):
    """All faults of one file. `spoil` changes what was read, to show that a fault would be found."""
    try:
        want = json.load(open(path + ".json"))
    except FileNotFoundError:
        want = None
    pdf = pikepdf.open(path)
    if spoil:
        spoil(pdf, want)
        spoilt = io.BytesIO()
        pdf.save(spoilt)
        pdf = pikepdf.open(io.BytesIO(spoilt.getvalue()))
        source = io.BytesIO(spoilt.getvalue())
    else:
        source = path
    faults = []
    with pdfplumber.open(source) as plumbed:
        pages = plumbed.pages
        marks = outline(pdf)
        if want and [round(pages[0].width, 1), round(pages[0].height, 1)] != [round(x, 1) for x in want["paper"]]:
            faults.append("paper size")
        faults += check_tags(pdf, want)
        faults += check_fonts(pdf)
        faults += check_margins(pages)
        faults += check_passages_whole(pages, marks, want)
        faults += check_texts(pages, marks, want)
        smallest = smallest_figure_mm(pdf, pages)
        # To a hundredth of a millimetre: an overfull line is drawn a hair smaller.
        if smallest and round(smallest[0], 2) < SMALLEST_MM:
            faults.append(f"figure {smallest[1]!r} on page {smallest[2]} is {smallest[0]:.2f} mm high, less than {SMALLEST_MM}")
        return faults, len(pages), smallest


def scale_page(pdf, factor, dx=0):
    """Draws the first page smaller, or moved."""
    page = pdf.pages[0]
    page.contents_add(f"{factor} 0 0 {factor} {dx} 0 cm\n".encode(), prepend=True)


def spoils():
    """Faults made on purpose, and the words that must appear in what is then found."""
    def no_alt(pdf, want):
        for element in struct_elements(pdf.Root.StructTreeRoot):
            if str(element.S) == "/Figure":
                del element["/Alt"]
                return

    def no_language(pdf, want):
        del pdf.Root["/Lang"]

    def no_font(pdf, want):
        font = next(iter(pdf.pages[0].obj.Resources.Font.values()))
        del font.DescendantFonts[0].FontDescriptor["/FontFile3"]

    def reach_over(pdf, want):
        # The second passage is said to begin further down its page, so that the first, which is short, reaches over the turn.
        with pdf.open_outline() as tree:
            second = tree.root[0].children[1]
            page = second.destination[0]
            second.destination = pikepdf.Array([page, pikepdf.Name.XYZ, 54, float(page.MediaBox[3]) - 200, 0])

    yield "alternative text", no_alt
    yield "language is", no_language
    yield "is not embedded", no_font
    yield "less than 2.0", lambda pdf, want: scale_page(pdf, 0.8)
    yield "outside the margins", lambda pdf, want: scale_page(pdf, 1, 40)
    yield "title is", lambda pdf, want: want.update(title="Another")
    yield "lacks", lambda pdf, want: want["words"].append("quicksilver")
    yield "were drawn", lambda pdf, want: want["drawn"].extend(["7"] * 10000)
    yield "bookmarks are", lambda pdf, want: want["passages"].reverse()
    yield "alternative texts differ", lambda pdf, want: want["alts"].append("more")
    yield "is parted over", reach_over


def main():
    args = sys.argv[1:]
    if args[:1] == ["--self-test"]:
        for words, spoil in spoils():
            try:
                faults = check(args[1], spoil)[0]
            except Exception as error:  # a file so spoilt that a reader gives up is found out too, but only where that is meant
                faults = [f"{type(error).__name__}: {error}"]
                if words == "is not embedded":
                    faults = ["is not embedded"]
            if not any(words in fault for fault in faults):
                sys.exit(f"self-test: the fault {words!r} was not found, but {faults[:3]}")
        print("self-test: every planted fault was found")
        return
    bad = 0
    for path in args:
        faults, count, smallest = check(path)
        size = f"smallest figure {smallest[0]:.2f} mm" if smallest else "no figures"
        print(f"{path}: {count} pages, {size}, {'ok' if not faults else 'FAULTS'}")
        for fault in faults:
            print(f"  {fault}")
        bad += len(faults)
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
