// The neck, lying as a player sees it in tab: highest string on top, nut on the left (on the right for left-handed players). Places can be chosen.
// From: the strings, frets and marks that the server gives for the slot under the cursor.

const SVG = "http://www.w3.org/2000/svg";
const WIDE = 1000;
const GAP = 27;
const OPEN = 46;
// Dots on the fingerboard. common practice.
const DOTS = [3, 5, 7, 9, 12, 15, 17, 19, 21, 24];

function draw(name, attributes, ...children) {
  const e = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) e.setAttribute(key, value);
  e.append(...children);
  return e;
}

class NeckDrawing extends HTMLElement {
  strings = 0;
  frets = 0;
  marks = [];
  #shape = "";
  #left = false;
  #hand = 0;
  #at = { string: 1, fret: 0 };

  connectedCallback() {
    this.addEventListener("click", (event) => {
      const g = event.target.closest(".spot");
      if (g) this.#choose(Number(g.dataset.string), Number(g.dataset.fret));
    });
    this.addEventListener("keydown", (event) => {
      if (!event.target.classList?.contains("spot")) return;
      const along = this.#left ? -1 : 1;
      const [s, f] = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -along], ArrowRight: [0, along] }[event.key] ?? [0, 0];
      if (event.key === "Enter" || event.key === " ") this.#choose(this.#at.string, this.#at.fret);
      else if (!s && !f) return;
      event.preventDefault();
      this.#at = { string: Math.min(this.strings, Math.max(1, this.#at.string + s)), fret: Math.min(this.frets, Math.max(0, this.#at.fret + f)) };
      this.#rove(true);
    });
  }

  // `neck` as the server gives it; null for a part without one.
  show(neck, left) {
    if (!neck) {
      this.strings = 0;
      this.marks = [];
      this.#shape = "";
      this.replaceChildren();
      this.hidden = true;
      return;
    }
    this.hidden = false;
    const shape = JSON.stringify([neck.strings, neck.frets, neck.capo, neck.open, left]);
    Object.assign(this, { strings: neck.strings, frets: neck.frets, marks: neck.marks });
    this.#left = left;
    if (shape !== this.#shape) {
      this.#shape = shape;
      this.#board(neck);
    }
    this.#dots();
  }

  inHand(string) {
    this.#hand = string;
    for (const line of this.querySelectorAll(".string")) line.classList.toggle("in-hand", Number(line.dataset.string) === string);
  }

  #choose(string, fret) {
    this.#at = { string, fret };
    this.dispatchEvent(new CustomEvent("place", { detail: { string, fret } }));
  }

  // Distance of a fret from the nut, equal temperament, the last fret at the drawing's end.
  #x(fret) {
    const far = 1 - 2 ** (-this.frets / 12);
    const x = OPEN + ((WIDE - OPEN - 6) * (1 - 2 ** (-fret / 12))) / far;
    return this.#left ? WIDE - x : x;
  }

  #middle(fret) {
    if (fret === 0) return this.#left ? WIDE - OPEN / 2 : OPEN / 2;
    return (this.#x(fret - 1) + this.#x(fret)) / 2;
  }

  #y(string) {
    return 17 + (string - 1) * GAP;
  }

  #board(neck) {
    const high = 30 + (neck.strings - 1) * GAP + 20;
    const svg = draw("svg", { viewBox: `0 0 ${WIDE} ${high}`, role: "grid", "aria-label": "Neck: choose a place for the slot" });
    const bottom = this.#y(neck.strings) + 8;
    for (let fret = 0; fret <= neck.frets; fret++) svg.append(draw("line", { class: fret ? "fret" : neck.capo ? "nut capo" : "nut", x1: this.#x(fret), x2: this.#x(fret), y1: 6, y2: bottom }));
    for (const fret of DOTS.map((d) => d - neck.capo).filter((d) => d > 0 && d <= neck.frets)) {
      svg.append(draw("text", { class: "fret-number", x: this.#middle(fret), y: high - 4, "text-anchor": "middle", "aria-hidden": "true" }, String(fret)));
    }
    for (let string = 1; string <= neck.strings; string++) {
      const y = this.#y(string);
      svg.append(draw("line", { class: "string", "data-string": string, x1: this.#x(0), x2: this.#x(neck.frets), y1: y, y2: y, "stroke-width": 0.8 + string * 0.28 }));
      const row = draw("g", { role: "row", "aria-label": `string ${string}` });
      for (let fret = 0; fret <= neck.frets; fret++) {
        const [a, b] = fret ? [this.#x(fret - 1), this.#x(fret)] : this.#left ? [WIDE - OPEN, WIDE] : [0, OPEN];
        const name = fret ? `fret ${fret}` : `open, ${neck.open[neck.strings - string]}`;
        const spot = draw("g", { class: "spot", role: "gridcell", tabindex: "-1", "data-string": string, "data-fret": fret, "data-name": name, "aria-label": name });
        spot.append(draw("rect", { class: "ground", x: Math.min(a, b), y: y - GAP / 2, width: Math.abs(a - b), height: GAP }));
        if (!fret) spot.append(draw("text", { class: "open-name", x: this.#middle(0), y: y + 5, "text-anchor": "middle" }, neck.open[neck.strings - string]));
        row.append(spot);
      }
      svg.append(row);
    }
    this.replaceChildren(svg);
    this.inHand(this.#hand);
    this.#rove(false);
  }

  #dots() {
    for (const old of this.querySelectorAll(".held")) old.remove();
    for (const spot of this.querySelectorAll(".spot[aria-selected]")) {
      spot.removeAttribute("aria-selected");
      spot.setAttribute("aria-label", spot.dataset.name);
    }
    for (const { string, fret, text, root } of this.marks) {
      const spot = this.#spot(string, fret);
      if (!spot) continue;
      const [x, y] = [this.#middle(fret), this.#y(string)];
      const held = draw("g", { class: root ? "held root" : "held" });
      if (root) held.append(draw("circle", { class: "ring", cx: x, cy: y, r: 15 }));
      held.append(draw("circle", { class: "dot", cx: x, cy: y, r: 12 }), draw("text", { class: "degree", x, y: y + 5, "text-anchor": "middle" }, text));
      spot.append(held);
      spot.setAttribute("aria-selected", "true");
      spot.setAttribute("aria-label", text ? `${spot.dataset.name}: ${text}` : spot.dataset.name);
    }
  }

  #spot(string, fret) {
    return this.querySelector(`.spot[data-string="${string}"][data-fret="${fret}"]`);
  }

  #rove(focus) {
    for (const spot of this.querySelectorAll('.spot[tabindex="0"]')) spot.setAttribute("tabindex", "-1");
    const spot = this.#spot(this.#at.string, this.#at.fret) ?? this.querySelector(".spot");
    spot?.setAttribute("tabindex", "0");
    if (focus) spot?.focus({ preventScroll: true });
  }
}

customElements.define("neck-drawing", NeckDrawing);
