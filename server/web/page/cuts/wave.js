// A quote on the wave of who is heard, with what is around it and the edges of words. Its
// edges are sliders: dragged, or by keys.

import { el } from "../dom.js";
import { sized } from "../panel/strip.js";
import { onLight } from "../shell/scheme.js";
import { soundingOf } from "./back.js";
import { Peaks } from "./peaks.js";
import { snapped } from "./words.js";

/** What is seen around a quote, ms, and around one of its edges. */
const AROUND_MS = 1500;
const NEAR_MS = 1200;
/** A dragged edge goes to a word's that is so near, CSS pixels. */
const REACH = 8;
/** Nothing shorter is left of a quote, ms. */
const SHORTEST_MS = 1;

export class Wave {
  #desk;
  #acts;
  #peaks;
  #canvas = el("canvas", { "aria-hidden": "true" });
  #frame = el("div", { class: "wave" });
  #words = el("div", { class: "wave-words", "aria-hidden": "true" });
  #head = el("span", { class: "head", "aria-hidden": "true", hidden: true });
  #edges = {};
  #told = el("p", { class: "about" });
  #zooms = {};
  #snap = el("input", { type: "checkbox", id: "wave-snap", checked: true });
  #look = "all";
  #quote = null;
  #known = [];
  #span = { from: 0, to: 1 };
  #drawn = null;
  #drag = null;

  /** `acts`: nudge(edge, ms), step(edge, by), word(edge, by). */
  constructor(host, desk, acts) {
    this.#desk = desk;
    this.#acts = acts;
    this.#peaks = new Peaks(desk);
    for (const [edge, name] of [["begin", "Begin of the quote"], ["end", "End of the quote"]]) {
      this.#edges[edge] = this.#handle(edge, name);
    }
    const zoom = (look, text) =>
      (this.#zooms[look] = el("button", { type: "button", class: "quiet", "aria-pressed": "false", onclick: () => this.#zoom(look) }, text));
    this.#frame.append(this.#canvas, this.#words, this.#head, this.#edges.begin, this.#edges.end);
    host.append(
      this.#frame,
      el(
        "div",
        { class: "row" },
        zoom("all", "All of it"),
        zoom("begin", "Its begin"),
        zoom("end", "Its end"),
        el("label", {}, this.#snap, " edges go to words"),
      ),
      this.#told,
    );
    new ResizeObserver(() => this.#paint()).observe(this.#frame);
    onLight(() => this.#paint());
  }

  #handle(edge, name) {
    const handle = el("div", {
      class: `handle ${edge}`,
      role: "slider",
      tabindex: 0,
      id: `wave-${edge}`,
      "aria-label": name,
      onkeydown: (event) => this.#key(event, edge),
      onpointerdown: (event) => this.#take(event, edge),
      onpointermove: (event) => this.#move(event),
      onpointerup: (event) => this.#drop(event),
      onpointercancel: () => this.back(),
    });
    return handle;
  }

  show(quote, words, fps) {
    const other = this.#quote?.id !== quote.id;
    this.#quote = quote;
    this.#known = words;
    if (other) this.#look = "all";
    if (!this.#drag) this.#frameIt();
    const far = Math.round((fps === null ? 10 : 1000 / fps) * 10) / 10;
    this.#frame.title = `arrow keys move an edge by ${far} ms, with Shift by words`;
    this.#read();
  }

  /** An edge stands where it was: what was asked for was not done. */
  back() {
    this.#drag = null;
    this.#frameIt();
    this.#paint();
  }

  #zoom(look) {
    this.#look = look;
    this.#frameIt();
    this.#read();
  }

  #frameIt() {
    const length = this.#quote.length_ms;
    const spans = {
      all: { from: -AROUND_MS, to: length + AROUND_MS },
      begin: { from: -NEAR_MS, to: NEAR_MS },
      end: { from: length - NEAR_MS, to: length + NEAR_MS },
    };
    this.#span = spans[this.#look];
    for (const [look, button] of Object.entries(this.#zooms)) button.setAttribute("aria-pressed", String(look === this.#look));
    this.#place();
  }

  get #at() {
    return { begin: 0, end: this.#quote.length_ms, ...this.#drag?.at };
  }

  #share(ms) {
    return (ms - this.#span.from) / (this.#span.to - this.#span.from);
  }

  #place() {
    const at = this.#at;
    for (const [edge, handle] of Object.entries(this.#edges)) {
      const share = this.#share(at[edge]);
      handle.hidden = share < 0 || share > 1;
      handle.style.setProperty("--at", share);
      const nudge = this.#quote[edge === "begin" ? "in" : "out"];
      const off = at[edge] - (edge === "begin" ? 0 : this.#quote.length_ms);
      handle.setAttribute("aria-valuemin", -86_400_000);
      handle.setAttribute("aria-valuemax", 86_400_000);
      handle.setAttribute("aria-valuenow", nudge.ms + Math.round(off));
      const frames = nudge.frames === 0 ? "" : ` and ${nudge.frames} frames`;
      handle.setAttribute("aria-valuetext", `${nudge.ms + Math.round(off)} ms${frames} from the words that were picked`);
    }
  }

  async #read() {
    const quote = this.#quote;
    const { chosen } = quote;
    const { from, to } = this.#span;
    const key = chosen ? `${chosen.recording.id} ${chosen.start_ms + from} ${chosen.start_ms + to}` : "none";
    if (this.#drawn?.key !== key) {
      const most = Math.max(this.#frame.clientWidth * (devicePixelRatio || 1), 200);
      const bins = chosen
        ? await this.#peaks.stretch(chosen.recording.id, chosen.start_ms + from, chosen.start_ms + to, most)
        : null;
      if (this.#quote !== quote || this.#span.from !== from || this.#span.to !== to) return;
      this.#drawn = bins ? { key, bins, startMs: chosen.start_ms } : { key: null, bins: null };
    }
    this.#told.textContent = this.#drawn.bins ? "" : "No wave of this recording is drawn yet; its words are.";
    this.#paint();
  }

  #paint() {
    if (!this.#quote || this.#frame.clientWidth === 0) return;
    const { canvas, width, height } = sized(this.#canvas);
    const pen = canvas.getContext("2d");
    const look = getComputedStyle(this.#frame);
    const ink = (name) => look.getPropertyValue(name).trim();
    const x = (ms) => this.#share(ms) * width;
    const at = this.#at;
    pen.clearRect(0, 0, width, height);
    pen.fillStyle = ink("--band-two");
    pen.fillRect(x(at.begin), 0, x(at.end) - x(at.begin), height);
    const bins = this.#drawn?.bins;
    if (bins) {
      const middle = height * 0.42;
      const scale = height * 0.4;
      const [wave, speech] = [ink("--wave"), ink("--wave-speech")];
      for (const [n, low] of bins.low.entries()) {
        const ms = bins.startMs + n * bins.binMs - this.#drawn.startMs;
        const inside = ms >= at.begin && ms < at.end;
        pen.fillStyle = inside ? speech : wave;
        const [top, bottom] = [middle - bins.high[n] * scale, middle - low * scale];
        pen.fillRect(x(ms), top, Math.max(x(ms + bins.binMs) - x(ms), 1), Math.max(bottom - top, 1));
      }
    }
    pen.fillStyle = ink("--edge");
    for (const { from, to } of this.#known) {
      for (const ms of [from, to]) pen.fillRect(x(ms), height * 0.84, Math.max(width / 600, 1), height * 0.16);
    }
    this.#name();
  }

  /** The words under the wave, where there is room for them. */
  #name() {
    const seen = this.#known.filter(({ from, to }) => this.#share(to) > 0 && this.#share(from) < 1);
    const key = JSON.stringify([this.#span, seen]);
    if (this.#words.dataset.key === key) return;
    this.#words.dataset.key = key;
    this.#words.replaceChildren(
      ...seen.map(({ text, from, to }) => {
        const word = el("span", { dir: "auto" }, text);
        word.style.setProperty("--at", Math.max(this.#share(from), 0));
        word.style.setProperty("--wide", Math.min(this.#share(to), 1) - Math.max(this.#share(from), 0));
        return word;
      }),
    );
  }

  /** What sounds is at an instant of its line. */
  time(ms) {
    const { heard } = this.#desk.state.known;
    const quote = this.#quote;
    if (!quote) return;
    const here = quote.start_ms !== null && heard?.line === 0 ? ms - quote.start_ms : NaN;
    const share = this.#share(here);
    this.#head.hidden = !(share >= 0 && share <= 1) || (soundingOf(heard) ?? quote.id) !== quote.id;
    if (!this.#head.hidden) this.#head.style.setProperty("--at", share);
  }

  #key(event, edge) {
    const by = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[event.key];
    const far = { PageDown: -100, PageUp: 100 }[event.key];
    if (by === undefined && far === undefined) return;
    event.preventDefault();
    if (far !== undefined) this.#acts.nudge(edge, far);
    else if (event.shiftKey) this.#acts.word(edge, by);
    else this.#acts.step(edge, by);
  }

  #take(event, edge) {
    if (event.button !== 0) return;
    event.preventDefault();
    event.target.focus();
    event.target.setPointerCapture(event.pointerId);
    const start = edge === "begin" ? 0 : this.#quote.length_ms;
    this.#drag = { edge, start, x: event.clientX, at: {} };
  }

  #move(event) {
    if (!this.#drag) return;
    const { edge, start, x } = this.#drag;
    const perPixel = (this.#span.to - this.#span.from) / this.#frame.clientWidth;
    let ms = start + (event.clientX - x) * perPixel;
    if (this.#snap.checked && !event.altKey) ms = snapped(this.#known, edge === "begin" ? "from" : "to", ms, REACH * perPixel);
    const length = this.#quote.length_ms;
    ms = edge === "begin" ? Math.min(ms, length - SHORTEST_MS) : Math.max(ms, SHORTEST_MS);
    this.#drag.at = { [edge]: Math.round(ms) };
    this.#place();
    this.#paint();
  }

  #drop(event) {
    if (!this.#drag) return;
    const { edge, start, at } = this.#drag;
    event.target.releasePointerCapture(event.pointerId);
    this.#drag = null;
    const by = (at[edge] ?? start) - start;
    if (by === 0) this.back();
    else this.#acts.nudge(edge, by);
  }
}
