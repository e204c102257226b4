// Where a quote begins and ends: nudged by frames and ms, to the next word, or by its
// edges on the wave; and each edge heard.

import { el } from "../dom.js";
import { framesPerSecond, nudged, short } from "./order.js";
import { Wave } from "./wave.js";
import { edgeBeside, Words } from "./words.js";

/** Heard before and after an edge, ms: a second around it. */
const AROUND_MS = 500;

const EDGES = { begin: { name: "Begins", wire: "in", word: "from" }, end: { name: "Ends", wire: "out", word: "to" } };

export class Edges {
  #desk;
  #work;
  #wave;
  #words;
  #known = [];
  #quote = null;
  #fps = null;
  #fields = {};
  #frames = []; // buttons that count frames
  #hear = el("input", { type: "checkbox", id: "edge-hear" });
  #rate = el("p", { class: "about", id: "edge-rate" });

  constructor(host, desk, work) {
    this.#desk = desk;
    this.#work = work;
    this.#words = new Words(desk);
    const wave = el("div", { class: "wave-of" });
    this.#wave = new Wave(wave, desk, {
      nudge: (edge, ms) => this.#nudge(edge, { ms, frames: 0 }),
      step: (edge, by) => this.#step(edge, by),
      word: (edge, by) => this.#toWord(edge, by),
    });
    host.append(
      el("h3", {}, "Begin and end"),
      wave,
      ...Object.keys(EDGES).map((edge) => this.#controls(edge)),
      el(
        "p",
        { class: "row" },
        el("label", {}, this.#hear, " hear the edge after every nudge"),
      ),
      this.#rate,
    );
  }

  #controls(edge) {
    const { name } = EDGES[edge];
    const nudge = (text, by, label) =>
      el(
        "button",
        { type: "button", class: "quiet", "data-nudge": `${edge}/${text}`, "aria-label": `${name} ${label}`, onclick: () => this.#nudge(edge, by) },
        text,
      );
    const frames = [nudge("−1 frame", { ms: 0, frames: -1 }, "−1 frame: earlier"), nudge("+1 frame", { ms: 0, frames: 1 }, "+1 frame: later")];
    this.#frames.push(...frames);
    const word = (text, by) =>
      el("button", { type: "button", class: "quiet", "data-nudge": `${edge}/word${by}`, "aria-label": `${name} ${text}`, onclick: () => this.#toWord(edge, by) }, text);
    const field = (unit, most) =>
      el("input", { type: "number", id: `edge-${edge}-${unit}`, step: 1, min: -most, max: most, inputmode: "numeric" });
    const [ms, of] = [field("ms", 86_400_000), field("frames", 10_368_000)];
    this.#fields[edge] = { ms, frames: of, told: el("span", { class: "told" }) };
    return el(
      "fieldset",
      { class: "edge" },
      el("legend", {}, name),
      el(
        "div",
        { class: "row" },
        word("word before", -1),
        frames[0],
        nudge("−10 ms", { ms: -10, frames: 0 }, "−10 ms: earlier"),
        nudge("+10 ms", { ms: 10, frames: 0 }, "+10 ms: later"),
        frames[1],
        word("next word", 1),
        el("button", { type: "button", class: "quiet", id: `edge-${edge}-hear`, "aria-label": `Hear it: one second around where it ${name.toLowerCase()}`, onclick: () => this.#sound(edge) }, "Hear it"),
      ),
      el(
        "form",
        { class: "row exact", onsubmit: (event) => this.#exact(event, edge) },
        el("label", { for: ms.id }, "ms"),
        ms,
        el("label", { for: of.id }, "frames"),
        of,
        el("button", { type: "submit", class: "quiet", id: `edge-${edge}-set`, "aria-label": `Set where it ${name.toLowerCase()}` }, "Set"),
        this.#fields[edge].told,
      ),
    );
  }

  show(quote, frameRate) {
    const other = this.#quote !== quote;
    const same = this.#quote?.id === quote.id;
    this.#quote = quote;
    this.#fps = framesPerSecond(frameRate);
    for (const [edge, { wire }] of Object.entries(EDGES)) {
      const { ms, frames, told } = this.#fields[edge];
      const focused = [ms, frames].includes(document.activeElement) && same;
      if (!focused) [ms.value, frames.value] = [quote[wire].ms, quote[wire].frames];
      frames.disabled = this.#fps === null;
      told.textContent = nudged(quote[wire]);
    }
    for (const button of this.#frames) button.disabled = this.#fps === null;
    this.#rate.textContent = this.#fps === null
      ? "The event has no frame rate, so there are no frames to count; give it one to nudge by frames."
      : `Counted from the words that were picked; a frame is ${(1000 / this.#fps).toFixed(1)} ms.`;
    if (!other) return;
    this.#wave.show(quote, same ? this.#known : [], this.#fps);
    this.#words.around(quote).then((words) => {
      if (this.#quote !== quote) return;
      this.#known = words;
      this.#wave.show(quote, words, this.#fps);
    });
  }

  /** The words of the event may be others now. */
  forget() {
    this.#words.forget();
  }

  time(ms) {
    this.#wave.time(ms);
  }

  #step(edge, by) {
    const nudge = this.#fps === null ? { ms: 10 * by, frames: 0 } : { ms: 0, frames: by };
    return this.#nudge(edge, nudge);
  }

  /** To where the next word begins, or the one before; for the end, to where it ends. */
  #toWord(edge, by) {
    const { word } = EDGES[edge];
    const at = edge === "begin" ? 0 : this.#quote.length_ms;
    const to = edgeBeside(this.#known, word, at, by);
    if (to === null) {
      this.#work.tell("No word is known there.");
      return null;
    }
    return this.#nudge(edge, { ms: to - at, frames: 0 });
  }

  async #nudge(edge, by) {
    if (by.ms === 0 && by.frames === 0) return;
    const { id } = this.#quote;
    const { name, wire } = EDGES[edge];
    const done = await this.#work.edit({
      did: `${short(this.#quote)} ${name.toLowerCase()} ${nudged(by)}`,
      send: (version) => this.#desk.server.nudgeQuote(this.#work.known.id, version, id, { [wire]: by }),
    });
    if (done) this.#done(edge, id);
    else this.#wave.back();
  }

  async #exact(event, edge) {
    event.preventDefault();
    const { id } = this.#quote;
    const { name, wire } = EDGES[edge];
    const { ms, frames } = this.#fields[edge];
    const to = { ms: Math.round(Number(ms.value)), frames: Math.round(Number(frames.value)) };
    const done = await this.#work.edit({
      did: `${short(this.#quote)} ${name.toLowerCase()} ${nudged(to)} from the words that were picked`,
      send: (version) => this.#desk.server.changeQuote(this.#work.known.id, version, id, { [wire]: to }),
    });
    if (done) this.#done(edge, id);
  }

  #done(edge, id) {
    const quote = this.#work.quote(id);
    if (!quote) return;
    const { name, wire } = EDGES[edge];
    this.#work.tell(`Quote ${quote.place} ${name.toLowerCase()} ${nudged(quote[wire])}; it is ${quote.length_ms} ms long.`);
    if (this.#hear.checked && this.#quote?.id === id) this.#sound(edge);
  }

  /** A second around an edge. */
  #sound(edge) {
    const { chosen, length_ms: length } = this.#quote;
    if (!chosen) return;
    const at = chosen.start_ms + (edge === "begin" ? 0 : length);
    const spot = { loop: false, title: `Where ${short(this.#quote)} ${EDGES[edge].name.toLowerCase()}` };
    this.#desk.hearFile(chosen.recording.id, Math.max(at - AROUND_MS, 0), at + AROUND_MS, spot);
  }
}
