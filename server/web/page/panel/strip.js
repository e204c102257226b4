// The whole event as one thin band, always there: parts, what is said by whom, and where
// one is. A press lands there.

import { el } from "../dom.js";
import { onLight } from "../shell/scheme.js";
import { sounds } from "../shell/desk.js";
import { position } from "../written.js";

export class Strip {
  #desk;
  #host;
  #canvas = el("canvas", { "aria-hidden": "true" });
  #slider = el("input", { type: "range", id: "strip-place", min: 0, max: 1, step: 100, "aria-label": "Instant of the event" });
  #head = el("span", { class: "head", "aria-hidden": "true" });

  constructor(host, desk) {
    this.#desk = desk;
    this.#host = host;
    host.append(this.#canvas, this.#slider, this.#head);
    this.#slider.addEventListener("input", () => this.#land(Number(this.#slider.value)));
    new ResizeObserver(() => this.#draw()).observe(host);
    onLight(() => this.#draw());
  }

  show(known, changed) {
    this.#host.hidden = !known.clock || known.clock.length_ms === 0;
    if (this.#host.hidden) return;
    if (["outline", "parts", "clock", "people"].some((name) => changed.has(name))) {
      this.#slider.max = known.clock.length_ms;
      this.#draw();
    }
    const { place, heard } = known;
    if (changed.has("place") && place?.line === 0) this.#point(place.ms);
    else if (changed.has("eventId") && !sounds(heard)) this.#point(0);
  }

  time(ms) {
    if (this.#desk.state.known.heard?.line === 0) this.#point(ms);
  }

  #land(ms) {
    const { heard } = this.#desk.state.known;
    this.#desk.state.set({ place: { line: 0, ms } });
    if (!sounds(heard)) return;
    if (heard.line === 0) this.#desk.player.seek(ms);
    else this.#desk.hear({ line: 0, startMs: ms });
  }

  #point(ms) {
    const { clock } = this.#desk.state.known;
    const share = Math.min(Math.max(ms / Math.max(clock?.length_ms ?? 1, 1), 0), 1);
    this.#head.style.setProperty("--at", share);
    this.#slider.value = ms;
    this.#slider.setAttribute("aria-valuetext", position(ms));
  }

  #draw() {
    const { outline, parts, clock } = this.#desk.state.known;
    if (!clock || this.#host.hidden) return;
    const { canvas, width, height } = sized(this.#canvas);
    const pen = canvas.getContext("2d");
    const look = getComputedStyle(this.#host);
    const ink = (name) => look.getPropertyValue(name).trim();
    const x = (ms) => (ms / Math.max(clock.length_ms, 1)) * width;
    pen.clearRect(0, 0, width, height);
    for (const [n, { start_ms, end_ms }] of parts.entries()) {
      pen.fillStyle = ink(n % 2 === 0 ? "--band" : "--band-two");
      pen.fillRect(x(start_ms), 0, x(end_ms) - x(start_ms), height);
    }
    if (!outline) return;
    for (let n = 0; n < outline.start_ms.length; n += 1) {
      const person = outline.person[n];
      pen.fillStyle = ink(person === null ? "--nobody" : `--who-${person % 8}`);
      const from = x(outline.start_ms[n]);
      pen.fillRect(from, height * 0.3, Math.max(x(outline.end_ms[n]) - from, 1), height * 0.4);
    }
  }
}

/** A canvas as large as it is shown, in device pixels. */
export function sized(canvas) {
  const ratio = devicePixelRatio || 1;
  const width = Math.max(Math.round(canvas.clientWidth * ratio), 1);
  const height = Math.max(Math.round(canvas.clientHeight * ratio), 1);
  if (canvas.width !== width) canvas.width = width;
  if (canvas.height !== height) canvas.height = height;
  return { canvas, width, height, ratio };
}
