// The lesson's text in a pane: what is typed goes out as it is typed, problems are underlined where they are.
// From: the model's text and problems. While an answer is under way, what is typed further waits and goes out as one piece.
import { between, change, model, on, redo, say, splice, undo } from "./link.js";

class LessonText extends HTMLElement {
  #area = document.createElement("textarea");
  #under = document.createElement("div");
  #at = Object.assign(document.createElement("div"), { className: "at" });
  #word = document.createElement("p");
  // The server's text as the pane shows it, and what it is there: line ends may differ.
  #shown = "";
  #busy = false;
  #marked = "";

  connectedCallback() {
    this.#area.spellcheck = false;
    this.#area.wrap = "off";
    this.#area.setAttribute("aria-label", "Lesson text");
    this.#area.setAttribute("aria-describedby", "text-word");
    this.#area.autocapitalize = "off";
    this.#under.className = "under";
    this.#under.setAttribute("aria-hidden", "true");
    this.#word.id = "text-word";
    this.#word.className = "word";
    const field = document.createElement("div");
    field.className = "field";
    field.append(this.#under, this.#area);
    this.append(field, this.#word);
    this.#area.addEventListener("input", () => this.#typed());
    this.#area.addEventListener("scroll", () => this.#scroll());
    for (const event of ["keyup", "click"]) this.#area.addEventListener(event, () => this.#tellProblem());
    this.#area.addEventListener("beforeinput", (event) => {
      // The browser's own undo knows nothing of the page.
      if (event.inputType === "historyUndo" || event.inputType === "historyRedo") {
        event.preventDefault();
        event.inputType === "historyUndo" ? undo() : redo();
      }
    });
    this.#area.addEventListener("keydown", (event) => {
      // Tab leaves the pane, as everywhere; two spaces make the usual step in.
      if (event.key === "Enter" && !event.ctrlKey && !event.metaKey && !event.isComposing) {
        const { selectionStart: at, value } = this.#area;
        const line = value.slice(value.lastIndexOf("\n", at - 1) + 1, at);
        const indent = /^ */.exec(line)[0] + (/\{\s*$/.test(line) ? "  " : "");
        if (!indent) return;
        event.preventDefault();
        this.#area.setRangeText(`\n${indent}`, at, this.#area.selectionEnd, "end");
        this.#typed();
      }
    });
    on("update", () => this.#take());
    on("state", () => this.#shut() || this.#underline());
  }

  get area() {
    return this.#area;
  }

  #shut() {
    return this.closest("[hidden]") !== null;
  }

  // The pane was opened: what changed meanwhile is taken in.
  opened() {
    this.#take();
  }

  // Goes to a place of the text.
  goTo(from, to) {
    const [a, b] = [this.#pane(from), this.#pane(Math.max(to, from))];
    this.#area.focus();
    this.#area.setSelectionRange(a, b);
    const line = this.#area.value.slice(0, a).split("\n").length - 1;
    const high = parseFloat(getComputedStyle(this.#area).lineHeight);
    this.#area.scrollTop = Math.max(0, line * high - this.#area.clientHeight / 3);
    this.#tellProblem();
  }

  // Shows which line the page's cursor works on, without taking the cursor of the pane.
  point(from, to) {
    if (!this.isConnected || this.#shut() || !this.clientHeight) return;
    const before = this.#area.value.slice(0, this.#pane(from)).split("\n").length - 1;
    const high = parseFloat(getComputedStyle(this.#area).lineHeight);
    this.#at.style.setProperty("--line", before);
    this.#at.style.setProperty("--lines", this.#area.value.slice(this.#pane(from), this.#pane(to)).split("\n").length);
    const top = before * high;
    if (document.activeElement !== this.#area && (top < this.#area.scrollTop || top > this.#area.scrollTop + this.#area.clientHeight - 3 * high)) this.#area.scrollTop = Math.max(0, top - this.#area.clientHeight / 3);
  }

  // An offset of the server's text in the pane, where every line end is one sign, and back.
  #pane(offset) {
    return model.text.includes("\r") ? plain(model.text.slice(0, offset)).length : offset;
  }

  #server(offset) {
    if (!model.text.includes("\r")) return offset;
    let i = 0;
    for (let seen = 0; seen < offset && i < model.text.length; seen++) i += model.text.startsWith("\r\n", i) ? 2 : 1;
    return i;
  }

  async #typed() {
    if (this.#busy) return;
    this.#busy = true;
    try {
      while (this.#area.value !== this.#shown) {
        await change("/text", () => {
          const [start, end, put] = between(this.#shown, this.#area.value) ?? [0, 0, ""];
          const ends = model.text.includes("\r\n") ? put.replaceAll("\n", "\r\n") : put;
          const body = { version: model.version, start: this.#server(start), end: this.#server(end), with: ends };
          // What is under way counts as there; the update confirms it.
          this.#shown = splice(this.#shown, [start, end, put]);
          return body;
        });
      }
    } catch (e) {
      say(e.message);
      this.#shown = plain(model.text);
      if (e.status) this.#area.value = this.#shown;
    } finally {
      this.#busy = false;
    }
  }

  // The model's text into the pane, the cursor staying by its word; what is typed and not sent yet stays.
  #take() {
    if (this.#shut()) return;
    const next = plain(model.text);
    if (next !== this.#shown) {
      const theirs = between(this.#shown, next);
      const mine = between(this.#shown, this.#area.value);
      const { selectionStart, selectionEnd, scrollTop, scrollLeft } = this.#area;
      const shift = (i) => (i <= theirs[0] ? i : i >= theirs[1] ? i + theirs[2].length - (theirs[1] - theirs[0]) : theirs[0] + theirs[2].length);
      const apart = !mine || mine[1] <= theirs[0] || mine[0] >= theirs[1];
      this.#area.value = mine && apart ? splice(next, [shift(mine[0]), shift(mine[1]), mine[2]]) : next;
      if (!apart) say("Another window or program changed the very place that you were typing at. Undo leads back.");
      this.#area.setSelectionRange(shift(selectionStart), shift(selectionEnd));
      [this.#area.scrollTop, this.#area.scrollLeft] = [scrollTop, scrollLeft];
      this.#shown = next;
    }
    this.#underline();
  }

  #underline() {
    const key = `${model.version} ${JSON.stringify(model.problems)}`;
    if (key === this.#marked) return;
    this.#marked = key;
    const lines = plain(model.text).split("\n");
    const marks = [];
    for (const { from, to, line, error } of model.problems ?? []) {
      const text = lines[line - 1];
      if (text === undefined) continue;
      const start = plain(model.text.slice(0, from)).length - lines.slice(0, line - 1).reduce((n, l) => n + l.length + 1, 0);
      const length = Math.max(1, Math.min(text.length - start, plain(model.text.slice(from, Math.max(to, from + 1))).length));
      const row = document.createElement("div");
      row.style.setProperty("--line", line - 1);
      const mark = document.createElement("span");
      mark.className = error ? "error" : "remark";
      mark.textContent = text.slice(start, start + length).split("\n")[0] || " ";
      row.append(text.slice(0, Math.max(0, start)), mark);
      marks.push(row);
    }
    this.#under.replaceChildren(this.#at, ...marks);
    this.#scroll();
    this.#tellProblem();
  }

  #scroll() {
    this.#under.style.transform = `translate(${-this.#area.scrollLeft}px, ${-this.#area.scrollTop}px)`;
  }

  // What is wrong in the cursor's line, under the pane.
  #tellProblem() {
    const line = this.#area.value.slice(0, this.#area.selectionStart).split("\n").length;
    const here = (model.problems ?? []).find((p) => p.line === line);
    this.#word.textContent = here ? `line ${here.line}, column ${here.column}: ${here.found}. ${here.right}.` : "";
  }
}

const plain = (text) => text.replace(/\r\n?/g, "\n");

customElements.define("lesson-text", LessonText);
