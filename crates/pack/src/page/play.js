// Plays a passage: its stems mixed, sent round between two bars and carried from tempo to tempo, all on one audio clock.
// From: the figures of the page (bar borders in frames) and the sounds that the scripts in audio/ hand over.
//
// A segment is a stretch of playing without a change: one tempo, one span of bars, so many rounds. All its stems start at the same moment of
// the audio clock and go round by themselves; where we are follows from that clock alone. Segments are laid out ahead of time.
"use strict";

window.partwright = (() => {
  // Where bars that are no neighbours meet, the end is blended into what comes before the beginning.
  const SEAM_S = 0.008;
  // A part steps forward or drops out within this time.
  const RAMP_S = 0.015;
  // A round that a count-in follows dies away in this time.
  const LAST_S = 0.04;
  // A change is heard this long after it was asked for.
  const SOON_S = 0.05;
  // Segments are laid out until this far ahead: longer than a page in the background may sleep.
  const AHEAD_S = 4;
  // Volume 100 lies here, so that full level is out of reach; the rail below catches what the blends of two rounds add up to.
  const TOP_GAIN = 0.8;
  const RAIL_FROM = 0.8;
  const RAIL_TO = 0.98;

  const figures = JSON.parse(document.getElementById("figures").textContent);
  // Decoded steps that are kept: at least a whole ladder.
  const KEPT = Math.max(6, ...figures.passages.map((passage) => passage.steps.length));

  // ------------------------------------------------------------------ sounds

  const awaited = new Map();
  const decoded = new Map();

  // Called by the scripts in audio/.
  function sounds(name, base64) {
    const wait = awaited.get(name);
    if (wait) wait.arrived(base64);
  }

  // Loads a step's script, decodes it, cuts or fills every sound to its stated length. Loaded once; the last few are kept.
  function load(step) {
    const had = decoded.get(step.name);
    if (had) {
      decoded.delete(step.name);
      decoded.set(step.name, had);
      return had.promise;
    }
    const entry = { ready: null };
    entry.promise = fetched(step).then((base64) => unpacked(step, base64)).then(
      (ready) => (entry.ready = ready),
      (fault) => {
        decoded.delete(step.name);
        throw fault;
      },
    );
    decoded.set(step.name, entry);
    for (const name of decoded.keys()) {
      if (decoded.size <= KEPT) break;
      decoded.delete(name);
    }
    return entry.promise;
  }

  function ready(step) {
    const entry = decoded.get(step.name);
    return entry && entry.ready;
  }

  function fetched(step) {
    return new Promise((arrive, fail) => {
      const script = document.createElement("script");
      const done = () => {
        awaited.delete(step.name);
        script.remove();
      };
      const missing = () => {
        done();
        fail(new Error(`The sound file ${step.script} could not be read. It belongs beside this page: keep the whole folder together.`));
      };
      awaited.set(step.name, { arrived: (base64) => { done(); arrive(base64); } });
      script.onerror = missing;
      script.onload = () => { if (awaited.has(step.name)) missing(); };
      script.src = step.script;
      document.head.append(script);
    });
  }

  async function unpacked(step, base64) {
    // Decoding in a context of the sounds' own rate keeps every frame where it was.
    const context = new OfflineAudioContext(2, 1, step.rate);
    const open = async (text, frames, overlap = 0) => {
      const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
      let buffer;
      try {
        buffer = await context.decodeAudioData(bytes.buffer);
      } catch (_) {
        throw new Error(`This browser cannot read the sounds (${base64.mime}). A newer one can.`);
      }
      return overlap ? closed(buffer, frames, overlap) : fitted(buffer, frames);
    };
    const frames = step.borders[step.borders.length - 1];
    const stems = await Promise.all(base64.stems.map((text) => open(text, frames, step.overlapFrames)));
    const heads = await Promise.all(base64.heads.map((text) => open(text, step.headFrames)));
    const click = base64.click ? await open(base64.click, frames, step.overlapFrames) : null;
    const countIn = base64.countIn ? await open(base64.countIn, step.countInFrames) : null;
    return { stems, heads, click, countIn };
  }

  function empty(like, frames) {
    return new AudioBuffer({ length: Math.max(1, frames), numberOfChannels: like.numberOfChannels, sampleRate: like.sampleRate });
  }

  function fitted(buffer, frames) {
    if (buffer.length === frames) return buffer;
    const out = empty(buffer, frames);
    for (let c = 0; c < buffer.numberOfChannels; c++) out.copyToChannel(buffer.getChannelData(c).subarray(0, frames), c);
    return out;
  }

  // A sound that goes round. The frames behind its end are its beginning once more, as coded after the end: faded into the beginning they
  // leave no step where the two meet.
  function closed(buffer, frames, overlap) {
    const out = fitted(buffer, frames);
    if (buffer.length < frames + overlap) return out;
    for (let c = 0; c < buffer.numberOfChannels; c++) {
      const again = buffer.getChannelData(c).subarray(frames);
      const to = out.getChannelData(c);
      for (let i = 0; i < overlap; i++) to[i] = again[i] + (to[i] - again[i]) * (i / overlap);
    }
    return out;
  }

  // ------------------------------------------------------------------ seams

  // From 0 to 1 and flat at both ends, so that the blend itself makes no edge.
  const eased = (t) => Math.sin((Math.PI / 2) * t) ** 2;
  const equalPower = { rise: (t) => Math.sin((Math.PI / 2) * eased(t)), fall: (t) => Math.cos((Math.PI / 2) * eased(t)) };
  const equalGain = { rise: eased, fall: (t) => 1 - eased(t) };
  const curve = (shape) => Float32Array.from({ length: 65 }, (_, i) => shape(i / 64));
  const CURVES = {
    power: { rise: curve(equalPower.rise), fall: curve(equalPower.fall) },
    gain: { rise: curve(equalGain.rise), fall: curve(equalGain.fall) },
  };

  // Frames a to b as a sound that goes round: its last frames turn into those that lie before a, so that a follows them as it was played.
  // The whole passage goes round as it is.
  function looped(buffer, a, b) {
    const total = buffer.length;
    if (a === 0 && b === total) return buffer;
    const out = empty(buffer, b - a);
    const seam = Math.min(Math.round(SEAM_S * buffer.sampleRate), (b - a) >> 1);
    for (let c = 0; c < buffer.numberOfChannels; c++) {
      const from = buffer.getChannelData(c);
      const to = out.getChannelData(c);
      to.set(from.subarray(a, b));
      for (let i = 0; i < seam; i++) {
        const t = (i + 1) / seam;
        const before = from[(a - seam + i + total) % total];
        to[b - a - seam + i] = from[b - seam + i] * equalPower.fall(t) + before * equalPower.rise(t);
      }
    }
    return out;
  }

  // ------------------------------------------------------------------ mixing

  // Gains of the parts. One that leads is lifted, those beside it step back; together they never carry more power than all of them plain.
  function gains(positions) {
    const led = positions.includes("leads");
    const plain = positions.map((p) => (p === "leads" ? Math.SQRT2 : p === "joins" ? (led ? 0.5 : 1) : 0));
    const power = plain.reduce((sum, g) => sum + g * g, 0);
    const scale = power > 0 ? Math.min(1, Math.sqrt(plain.filter((g) => g > 0).length / power)) : 1;
    return plain.map((g) => g * scale);
  }

  function railCurve() {
    const half = 2048;
    return Float32Array.from({ length: 2 * half + 1 }, (_, i) => {
      const v = ((i - half) / half) * 2;
      const size = Math.abs(v);
      if (size <= RAIL_FROM) return v;
      return Math.sign(v) * (RAIL_FROM + (RAIL_TO - RAIL_FROM) * Math.tanh((size - RAIL_FROM) / (RAIL_TO - RAIL_FROM)));
    });
  }

  // ------------------------------------------------------------------ player

  // How a player stands before anything is chosen: fastest step, all bars, all parts but the easier ones.
  function initial(passage) {
    return {
      step: passage.steps.length - 1,
      from: 0,
      to: passage.bars.length,
      positions: passage.parts.map((part) => (part.easierOf === null ? "joins" : "rests")),
      click: false,
      countIn: "first",
      rise: false,
      rounds: 4,
      volume: 60,
    };
  }

  // A player of one passage in a context, live or offline. The sounds of the step in use must be loaded before start and change.
  function makePlayer(context, passage, choices) {
    const state = Object.assign(initial(passage), choices);
    let segments = [];

    const rail = new WaveShaperNode(context, { curve: railCurve() });
    const half = new GainNode(context, { gain: 0.5 });
    const mix = new GainNode(context, { gain: volumeGain() });
    mix.connect(half).connect(rail).connect(context.destination);
    const parts = gains(state.positions).map((gain) => new GainNode(context, { gain }));
    const click = new GainNode(context, { gain: state.click ? 1 : 0 });
    for (const node of [...parts, click]) node.connect(mix);

    function volumeGain() {
      const asked = TOP_GAIN * (state.volume / 100) ** 2;
      // No control goes over 100: there the rail alone holds, so that it can be tried.
      return state.volume > 100 ? asked : Math.min(asked, ceiling());
    }

    // Up to here any choice of parts is under full scale: the sounds add up to that at most while no part is lifted and no click beside them.
    function ceiling() {
      const lifted = Math.max(1, ...gains(state.positions));
      return (state.click ? Math.min(...passage.steps.map((step) => step.clickHeadroom)) : 1) / lifted;
    }

    // On the frame grid, where sources play their samples as they are.
    const grid = (time) => Math.round(time * context.sampleRate) / context.sampleRate;

    function ramp(param, to) {
      const now = context.currentTime;
      // What it is now, then straight to where it goes.
      const from = param.value;
      param.cancelScheduledValues(now);
      param.setValueAtTime(from, now);
      param.linearRampToValueAtTime(to, now + RAMP_S);
    }

    function span(step, from, to) {
      const { borders } = passage.steps[step];
      return { start: borders[from], frames: Math.max(1, borders[to] - borders[from]) };
    }

    // Lays out a segment whose sound (or count-in) begins at `at`. `place`: bar and fraction of it. `blend`: how it meets the one before;
    // `fresh`: nothing sounded before.
    function begin({ at, step, from, to, place, countIn, done, blend, fresh }) {
      const figures = passage.steps[step];
      const sound = ready(figures);
      const { start, frames } = span(step, from, to);
      const bar = figures.borders[place.bar];
      const offset = Math.round(bar + place.fraction * (figures.borders[place.bar + 1] - bar)) - start;
      const counted = countIn && sound.countIn;
      const segment = { at, step, from, to, frames, offset, rate: figures.rate, done, counted, sources: [], envelopes: [] };
      segment.musicAt = counted ? grid(at + sound.countIn.length / figures.rate) : at;

      // After silence the passage's first stroke has nothing of the round before in it.
      const first = (fresh || counted) && place.bar === 0 && place.fraction === 0 && sound.heads.length > 0;
      // Else the sounds begin a little early, where the round would have come from, and rise: the first stroke keeps its edge.
      const early = first ? 0 : grid(Math.min(SEAM_S, segment.musicAt));
      const position = (offset - Math.round(early * figures.rate) + frames) % frames;
      const play = (buffer, into, head = null) => {
        const source = new AudioBufferSourceNode(context, { buffer: looped(buffer, start, start + frames), loop: true });
        const envelope = new GainNode(context, { gain: 0 });
        if (early > 0) envelope.gain.setValueCurveAtTime(CURVES[blend].rise, segment.musicAt - early, early);
        else envelope.gain.setValueAtTime(1, Math.max(0, segment.musicAt - 0.5 / figures.rate));
        envelope.connect(into);
        if (head) {
          lead(head, source, envelope);
        } else {
          source.connect(envelope);
          source.start(Math.max(0, segment.musicAt - early), position / figures.rate);
        }
        segment.sources.push(source);
        segment.envelopes.push(envelope);
      };
      // The head, and over its last frames the sound that goes round, from the same place on.
      const lead = (head, source, into) => {
        const blended = Math.round(SEAM_S * figures.rate);
        const join = Math.max(0, Math.min(head.length, frames) - blended);
        const at = segment.musicAt + join / figures.rate;
        const falls = new GainNode(context, { gain: 1 });
        const rises = new GainNode(context, { gain: 0 });
        falls.gain.setValueCurveAtTime(CURVES.gain.fall, at, SEAM_S);
        rises.gain.setValueCurveAtTime(CURVES.gain.rise, at, SEAM_S);
        const once = new AudioBufferSourceNode(context, { buffer: head });
        once.connect(falls).connect(into);
        source.connect(rises).connect(into);
        once.start(segment.musicAt);
        source.start(at, join / figures.rate);
        segment.sources.push(once);
      };
      sound.stems.forEach((buffer, i) => parts[figures.stems[i]] && play(buffer, parts[figures.stems[i]], first ? sound.heads[i] : null));
      if (sound.click) play(sound.click, click);
      if (counted) {
        const source = new AudioBufferSourceNode(context, { buffer: sound.countIn });
        segment.counting = new GainNode(context);
        source.connect(segment.counting).connect(mix);
        source.start(at);
        segment.sources.push(source);
      }
      segment.rounds = roundsOf(segment);
      segments.push(segment);
      return segment;
    }

    // How many rounds a segment has before something else comes.
    function roundsOf(segment) {
      if (state.countIn === "each") return 1;
      return state.rise && segment.step + 1 < passage.steps.length ? Math.max(1, state.rounds - segment.done) : Infinity;
    }

    function endOf(segment) {
      return segment.rounds === Infinity ? Infinity : grid(segment.musicAt + (segment.rounds * segment.frames - segment.offset) / segment.rate);
    }

    function after(segment) {
      const done = segment.done + segment.rounds;
      const up = state.rise && done >= state.rounds && segment.step + 1 < passage.steps.length;
      return {
        at: endOf(segment),
        step: up ? segment.step + 1 : segment.step,
        from: segment.from,
        to: segment.to,
        place: { bar: segment.from, fraction: 0 },
        countIn: up ? state.countIn !== "never" : state.countIn === "each",
        done: up ? 0 : done,
        blend: "power",
      };
    }

    // Silent from `time` on. A segment that has not come to its music yet has only its count-in to fade.
    function close(segment, time, fade, blend) {
      const from = time - fade;
      for (const envelope of segment.envelopes) {
        envelope.gain.cancelScheduledValues(from);
        if (segment.musicAt <= from) envelope.gain.setValueCurveAtTime(CURVES[blend].fall, from, fade);
      }
      if (segment.counting && segment.musicAt > from) {
        segment.counting.gain.setValueAtTime(1, from);
        segment.counting.gain.linearRampToValueAtTime(0, time);
      }
      segment.fade = fade;
      segment.closed = time;
    }

    function reopen(segment) {
      for (const envelope of segment.envelopes) envelope.gain.cancelScheduledValues(segment.closed - segment.fade);
      delete segment.closed;
    }

    function drop(segment) {
      for (const source of segment.sources) source.stop();
      for (const node of segment.envelopes) node.disconnect();
      if (segment.counting) segment.counting.disconnect();
    }

    // Appends what follows until `horizon`. A step whose sounds have not come yet is waited for with one more round.
    function plan(horizon = context.currentTime + AHEAD_S) {
      const past = (segment) => segment.closed !== undefined && segment.closed < context.currentTime - 0.2;
      segments.filter(past).forEach(drop);
      segments = segments.filter((segment) => !past(segment));
      for (let last = segments[segments.length - 1]; last && last.closed === undefined && endOf(last) < horizon; last = segments[segments.length - 1]) {
        const next = after(last);
        if (!ready(passage.steps[next.step])) {
          load(passage.steps[next.step]).catch(() => {});
          if (endOf(last) - context.currentTime < 2 * SOON_S) last.rounds += 1;
          break;
        }
        close(last, next.at, next.countIn ? LAST_S : SEAM_S, "power");
        begin(next);
      }
      // The next tempo's sounds are fetched while there is time.
      const last = segments[segments.length - 1];
      if (state.rise && last && last.step + 1 < passage.steps.length) load(passage.steps[last.step + 1]).catch(() => {});
    }

    function segmentAt(time) {
      let found = null;
      for (const segment of segments) if (segment.at <= time && !(segment.closed <= time)) found = segment;
      return found;
    }

    // Where we are at a moment of the audio clock: null when nothing plays. `round` counts from 0, and goes on where a count-in parts rounds.
    function place(time = context.currentTime) {
      const segment = segmentAt(time);
      if (!segment) return null;
      const { borders } = passage.steps[segment.step];
      const gone = Math.round((time - segment.musicAt) * segment.rate) + segment.offset;
      const counting = gone < segment.offset;
      const run = counting ? segment.offset : gone;
      const frame = borders[segment.from] + (run % segment.frames);
      let bar = segment.from;
      while (bar + 1 < segment.to && borders[bar + 1] <= frame) bar++;
      const length = Math.max(1, borders[bar + 1] - borders[bar]);
      const round = segment.done + Math.floor(run / segment.frames);
      return { step: segment.step, bar, fraction: (frame - borders[bar]) / length, round, counting };
    }

    // Takes back what was laid out and has not begun; gives the segment that stays.
    function recall() {
      const now = context.currentTime;
      const begun = (segment) => segment.at - LAST_S - 0.01 <= now;
      segments.filter((segment) => !begun(segment)).forEach(drop);
      segments = segments.filter(begun);
      const last = segments[segments.length - 1];
      if (last && last.closed > now + LAST_S) reopen(last);
      return last;
    }

    function start(at = null) {
      stop();
      begin({
        at: grid(context.currentTime + SOON_S),
        step: state.step,
        from: state.from,
        to: state.to,
        place: inside(at),
        countIn: state.countIn !== "never",
        done: 0,
        blend: "gain",
        fresh: true,
      });
      plan();
    }

    function inside(at) {
      return at && at.bar >= state.from && at.bar < state.to ? { bar: at.bar, fraction: at.fraction || 0 } : { bar: state.from, fraction: 0 };
    }

    function stop() {
      const now = segmentAt(context.currentTime + SOON_S);
      if (now) state.step = now.step;
      recall();
      const time = context.currentTime + RAMP_S;
      for (const segment of segments) {
        if (segment.closed === undefined) close(segment, Math.max(time, segment.musicAt <= time ? segment.musicAt + SEAM_S + RAMP_S : time), RAMP_S, "gain");
      }
      for (const segment of segments) for (const source of segment.sources) source.stop(Math.max(time, segment.closed) + 0.1);
    }

    // Goes over to the chosen step and bars in the middle of playing, at the same bar and fraction where the bars still hold it.
    function move(last, to, done) {
      const soon = context.currentTime + SOON_S;
      const counting = soon < last.musicAt;
      const at = grid(counting ? soon : Math.max(soon, last.musicAt + 2 * SEAM_S));
      const was = place(at);
      const place_ = to ? inside(to) : inside(was);
      const same = !to && was && last.step === state.step && place_.bar === was.bar && place_.fraction === was.fraction;
      const blend = same ? "gain" : "power";
      close(last, at, SEAM_S, blend);
      begin({ at, step: state.step, from: state.from, to: state.to, place: place_, countIn: counting, done, blend });
      plan();
    }

    // Takes over choices while playing or not. `place` in it jumps to a bar.
    function change(choices) {
      const { place: to, ...rest } = choices;
      const now = segmentAt(context.currentTime + SOON_S);
      if (now && state.rise) state.step = now.step;
      const before = { ...state };
      Object.assign(state, rest);
      gains(state.positions).forEach((gain, i) => ramp(parts[i].gain, gain));
      ramp(click.gain, state.click ? 1 : 0);
      ramp(mix.gain, volumeGain());
      if (!now) return;
      const elsewhere = to || ["step", "from", "to"].some((key) => before[key] !== state[key]);
      const otherwise = ["rise", "rounds", "countIn"].some((key) => before[key] !== state[key]);
      if (!elsewhere && !otherwise) return;
      const last = recall();
      if (elsewhere) {
        move(last, to, 0);
      } else {
        const here = place();
        last.rounds = Math.max(roundsOf(last), (here ? here.round - last.done : 0) + 1);
        plan();
      }
    }

    return { state, start, stop, change, place, plan, playing: () => segmentAt(context.currentTime + SOON_S) !== null };
  }

  // ------------------------------------------------------------------ to try it without a loudspeaker

  // What a pupil would hear, as samples: one Float32Array a channel at the step's own rate. `passage`: index. `seconds`: how long.
  // `choices`: as in `initial`. `place`: where to begin. `changes`: [{ at, choices }], choices taken over at that second. The graph, the
  // laying out and the changes are those of the live player.
  async function renderOffline({ passage = 0, seconds, choices = {}, place = null, changes = [] }) {
    const of = figures.passages[passage];
    await Promise.all(of.steps.map(load));
    const rate = of.steps[0].rate;
    const context = new OfflineAudioContext(2, Math.round(seconds * rate), rate);
    const player = makePlayer(context, of, choices);
    player.start(place);
    player.plan(seconds);
    for (const { at, choices } of changes) {
      context.suspend(at).then(() => {
        if (choices.stop) player.stop();
        else player.change(choices);
        player.plan(seconds);
        context.resume();
      });
    }
    const buffer = await context.startRendering();
    return Array.from({ length: 2 }, (_, c) => buffer.getChannelData(c));
  }

  return { figures, sounds, load, initial, makePlayer, renderOffline, SOON_S };
})();
