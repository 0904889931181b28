// Joins the page's controls, the drawn bars and the player. Nothing is stored: the page opens the same way each time, quietly.
"use strict";

(() => {
  const { figures, load, initial, makePlayer } = window.partwright;
  if (!figures.passages.length) return;
  document.documentElement.classList.add("scripted");

  const one = (selector, within = document) => within.querySelector(selector);
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const stand = one(".stand");
  const go = one("#go");

  let context = null;
  let player = null;
  let shown = -1;
  // Between Stop and Play: the bar to go on from; null is the first of the loop.
  let here = null;
  // Counts presses of Play and Stop, so that a sound that arrives late starts nothing.
  let pressed = 0;
  let waiting = false;
  let timer = 0;
  let lit = -1;

  const passage = () => figures.passages[shown];
  const section = () => one(`section.passage[data-passage="${shown}"]`);
  const choices = () => one(`.choices[data-passage="${shown}"]`);
  const playing = () => player !== null && player.playing();
  const say = (text) => { one("#said").textContent = text; };

  // ------------------------------------------------------------------ what the controls say

  function chosenSpan() {
    return { from: Number(one("select.from", choices()).value), to: Number(one("select.to", choices()).value) };
  }

  function chosenPositions() {
    const positions = initial(passage()).positions;
    for (const input of all("input[data-part]:checked", choices())) positions[Number(input.dataset.part)] = input.value;
    return positions;
  }

  const chosenStep = () => Number(one(".tempo input:checked", choices()).value);
  const chosenCountIn = () => one('input[name="count-in"]:checked').value;

  function chosenRise() {
    const rounds = Math.min(99, Math.max(1, Math.round(Number(one("#rise-rounds").value)) || 1));
    return { rise: one("#rise").checked, rounds };
  }

  const chosenVolume = () => ({ volume: Number(one("#volume").value) });
  const chosenClick = () => ({ click: one("#click").checked });

  function everything() {
    return {
      step: chosenStep(),
      ...chosenSpan(),
      positions: chosenPositions(),
      countIn: chosenCountIn(),
      ...chosenRise(),
      ...chosenVolume(),
      ...chosenClick(),
    };
  }

  // ------------------------------------------------------------------ start and stop

  function soundOn() {
    if (!context) {
      const sampleRate = passage().steps[0].rate;
      try {
        context = new AudioContext({ sampleRate });
      } catch (_) {
        context = new AudioContext();
      }
    }
    context.resume();
  }

  async function play() {
    const press = ++pressed;
    soundOn();
    waiting = true;
    face();
    const slow = setTimeout(() => say("Getting the sounds ready."), 400);
    try {
      await load(passage().steps[chosenStep()]);
    } catch (fault) {
      if (press === pressed) say(fault.message);
      return;
    } finally {
      clearTimeout(slow);
      if (press === pressed) waiting = false;
      face();
    }
    if (press !== pressed) return;
    say("");
    player ??= makePlayer(context, passage(), everything());
    player.change(everything());
    player.start(here);
    clearInterval(timer);
    timer = setInterval(() => player && player.plan(), 500);
    face();
    requestAnimationFrame(follow);
  }

  function halt() {
    pressed++;
    waiting = false;
    const place = player && player.place();
    if (place) here = { bar: place.bar, fraction: 0 };
    if (player) player.stop();
    clearInterval(timer);
    face();
    mark();
  }

  const toggle = () => (playing() || waiting ? halt() : play());

  function face() {
    const on = waiting || (player !== null && player.playing());
    go.classList.toggle("on", on);
    one(".word", go).textContent = on ? "Stop" : "Play";
  }

  // Takes over some choices; a tempo's sounds are fetched before it is changed.
  async function change(part) {
    if (!player) return;
    if (part.step !== undefined) {
      const press = pressed;
      try {
        await load(passage().steps[part.step]);
      } catch (fault) {
        say(fault.message);
        return;
      }
      if (press !== pressed || chosenStep() !== part.step) return;
    }
    player.change(part);
  }

  // ------------------------------------------------------------------ bars

  const drawn = new Map();

  // The drawn bars of the passage: for each played bar, the groups that show it.
  function bars() {
    if (!drawn.has(shown)) {
      const found = passage().bars.map(() => []);
      for (const group of all(".music g.bar[data-played]", section())) {
        for (const played of group.dataset.played.split(" ")) if (found[played]) found[played].push(group);
      }
      drawn.set(shown, found);
    }
    return drawn.get(shown);
  }

  function span({ from, to }) {
    one("select.from", choices()).value = from;
    one("select.to", choices()).value = to;
    for (const cell of all(".cells button", choices())) {
      cell.setAttribute("aria-pressed", String(Number(cell.dataset.from) === from && Number(cell.dataset.to) === to));
    }
    const some = to - from < passage().bars.length;
    bars().flat().forEach((group) => group.classList.remove("round"));
    if (some) bars().slice(from, to).flat().forEach((group) => group.classList.add("round"));
    if (here && (here.bar < from || here.bar >= to)) here = null;
    change({ from, to });
    mark();
  }

  function jump(bar) {
    const { from, to } = chosenSpan();
    if (bar < from || bar >= to) span({ from: 0, to: passage().bars.length });
    here = { bar, fraction: 0 };
    if (playing()) player.change({ place: here });
    else mark();
  }

  // What leaves the loudspeaker now: on a slow machine that lies well behind what is being played.
  const heard = () => (playing() ? player.place(context.currentTime - (context.outputLatency || 0)) : null);

  // Lights the bar at hand, and says it in words.
  function mark() {
    const at = heard();
    const { from, to } = chosenSpan();
    const bar = at ? at.bar : here ? here.bar : playing() ? lit : -1;
    if (bar !== lit) {
      all(".lit", section()).forEach((group) => group.classList.remove("lit"));
      if (bar >= 0) bars()[bar].forEach((group) => group.classList.add("lit"));
      for (const cell of all(".cells button:not(:first-child)", choices())) {
        cell.classList.toggle("lit", Number(cell.dataset.from) <= bar && bar < Number(cell.dataset.to));
      }
      lit = bar;
      if (bar >= 0 && playing() && one("#follow").checked) keepInView(bar);
    }
    if (at && at.step !== chosenStep() && player.state.rise) {
      all(".tempo input", choices())[at.step].checked = true;
      say(`Now at ${percent(at.step)}.`);
    }
    const { rise, rounds } = chosenRise();
    const name = (b) => (passage().bars[b] === 0 ? "pickup" : `bar ${passage().bars[b]}`);
    const words = [];
    if (at) {
      const last = at.step + 1 === passage().steps.length;
      words.push(at.counting ? "count-in" : name(at.bar), `round ${at.round + 1}${rise && !last ? ` of ${rounds}` : ""}`);
    } else {
      words.push(here ? `from ${name(here.bar)}` : to - from === 1 ? name(from) : `bars ${passage().bars[from]} to ${passage().bars[to - 1]}`);
    }
    words.push(percent(at ? at.step : chosenStep()));
    one("#where").textContent = words.join(" · ");
  }

  const percent = (step) => `${Math.round(passage().steps[step].percent * 10) / 10}\u202f%`;

  function follow() {
    if (!player) return;
    mark();
    if (playing()) requestAnimationFrame(follow);
  }

  function keepInView(bar) {
    const group = bars()[bar].find((g) => g.getClientRects().length);
    if (!group) return;
    const behavior = calm.matches ? "auto" : "smooth";
    const system = group.closest(".system").getBoundingClientRect();
    const floor = stand.getBoundingClientRect().top - 8;
    if (system.top < 8 || system.height > floor - 8) window.scrollBy({ top: system.top - 16, behavior });
    else if (system.bottom > floor) window.scrollBy({ top: system.bottom - floor + 16, behavior });
    const music = group.closest(".music");
    const box = music.getBoundingClientRect();
    const field = group.getBoundingClientRect();
    if (field.left < box.left || field.right > box.right) music.scrollBy({ left: field.left - box.left - 24, behavior });
  }

  // ------------------------------------------------------------------ passages

  function show(index) {
    if (index === shown) return;
    if (shown >= 0) {
      halt();
      all(".lit", section()).forEach((group) => group.classList.remove("lit"));
    }
    player = null;
    here = null;
    lit = -1;
    shown = index;
    for (const part of all("section.passage, .choices")) part.hidden = Number(part.dataset.passage) !== index;
    all(".passages a").forEach((link, i) => (i === index ? link.setAttribute("aria-current", "true") : link.removeAttribute("aria-current")));
    one("#where-title").textContent = passage().title || passage().name;
    const silent = !passage().steps.length || !passage().bars.length;
    go.disabled = silent;
    one("#top").disabled = silent;
    choices().hidden = silent;
    if (silent) one("#where").textContent = "no sounds for this passage";
    else span(chosenSpan());
    say("");
  }

  function fromAddress() {
    const name = location.hash.slice(1);
    const index = figures.passages.findIndex((p) => p.name === name);
    show(index < 0 ? Math.max(0, shown) : index);
  }

  // ------------------------------------------------------------------ events

  // A part and the easier way to play it do not sound at once.
  function restOther(part) {
    const { parts } = passage();
    parts.forEach((other, i) => {
      const pair = parts[part].easierOf === i || other.easierOf === part;
      const input = one(`input[data-part="${i}"][value="rests"]`, choices());
      if (!pair || input.checked) return;
      input.checked = true;
      say(`${other.name} rests now.`);
    });
  }

  document.addEventListener("change", (event) => {
    const at = event.target;
    if (at.matches("input[data-part]")) {
      if (at.value !== "rests") restOther(Number(at.dataset.part));
      change({ positions: chosenPositions() });
    } else if (at.matches(".tempo input")) {
      change({ step: chosenStep() });
      mark();
    } else if (at.matches("select.from, select.to")) {
      const { from, to } = chosenSpan();
      // The border that was moved stays; the other makes room.
      span(at.matches(".from") ? { from, to: Math.max(to, from + 1) } : { from: Math.min(from, to - 1), to });
    } else if (at.matches('input[name="count-in"]')) change({ countIn: chosenCountIn() });
    else if (at.matches("#rise, #rise-rounds")) {
      if (at.id === "rise-rounds") at.value = chosenRise().rounds;
      change(chosenRise());
      mark();
    } else if (at.matches("#click")) change(chosenClick());
  });
  one("#volume").addEventListener("input", () => change(chosenVolume()));

  document.addEventListener("click", (event) => {
    const cell = event.target.closest(".cells button");
    if (cell) span({ from: Number(cell.dataset.from), to: Number(cell.dataset.to) });
    const group = event.target.closest(".music g.bar[data-played]");
    if (group && !go.disabled) {
      const { from, to } = chosenSpan();
      const played = group.dataset.played.split(" ").map(Number);
      jump(played.find((b) => b >= from && b < to) ?? played[0]);
    }
  });
  go.addEventListener("click", toggle);
  one("#top").addEventListener("click", () => {
    here = null;
    if (playing()) player.change({ place: { bar: chosenSpan().from, fraction: 0 } });
    else mark();
  });

  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || go.disabled) return;
    const music = event.target.closest(".music");
    if (event.key === " " && (music || event.target.matches("body, section.passage"))) {
      event.preventDefault();
      if (!event.repeat) toggle();
    } else if (music) {
      const { from, to } = chosenSpan();
      const bar = lit >= 0 ? lit : from;
      const aim = { ArrowLeft: bar > from ? bar - 1 : to - 1, ArrowRight: bar + 1 < to ? bar + 1 : from, Home: from }[event.key];
      if (aim === undefined) return;
      event.preventDefault();
      jump(aim);
    }
  });

  window.addEventListener("hashchange", fromAddress);
  // For a look from outside: where the live player is.
  window.partwright.here = () => ({ playing: playing(), place: playing() ? player.place() : null, heard: heard(), lit, state: player && { ...player.state } });
  fromAddress();
})();
