// The stretch that is selected: its bounds in numbers, and what is done with it.

import { el } from "../dom.js";
import { copy } from "../panel/panel.js";
import { linkTo } from "../shell/address.js";
import { collect } from "../cuts/collect.js";
import { sounds } from "../shell/desk.js";
import { brief, position } from "../written.js";

const KEY = "day stretch";

export class Stretch {
  #desk;
  #onBounds;
  #onPart;
  #known = null;

  /** `onBounds(startMs, endMs)`: the bounds are to be others. `onPart(name)`: a part of it. */
  constructor(desk, { onBounds, onClear, onPart }) {
    this.#desk = desk;
    this.#onBounds = onBounds;
    this.#onPart = onPart;
    const number = (id, text) => {
      const field = el("input", { type: "number", id, step: 10, min: 0, inputmode: "numeric" });
      field.addEventListener("change", () => this.#typed());
      return [el("label", { for: id }, text), field];
    };
    const button = (text, act, also = {}) => el("button", { type: "button", class: "quiet", onclick: act, ...also }, text);
    [this.startLabel, this.start] = number("day-start", "from, ms");
    [this.endLabel, this.end] = number("day-end", "to, ms");
    this.told = el("p", { class: "about", id: "day-stretch" });
    this.play = button("Play", () => this.#hear(false), { id: "day-play-stretch" });
    this.loop = button("Over and over", () => this.#hear(true), { "aria-pressed": "false" });
    this.quote = button("Collect as a quote", () => this.#collect(), { id: "day-collect" });
    this.link = button("Copy link", () => this.#link());
    this.clear = button("Let go", onClear, { "aria-label": "Let go of the stretch" });
    this.name = el("input", { id: "day-part-name", maxlength: 80, autocomplete: "off" });
    this.part = el("button", { type: "submit", class: "quiet", id: "day-make-part" }, "Make it a part");
    this.form = el(
      "form",
      { class: "fields" },
      el("label", { for: "day-part-name" }, "name"),
      this.name,
      this.part,
    );
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#makePart();
    });
    const here = (begin) => () => this.#here(begin);
    this.host = el(
      "section",
      { class: "panel stretch-panel", "aria-label": "The stretch" },
      el("div", { class: "panel-head" }, el("h3", {}, "Stretch"), this.told),
      el(
        "div",
        { class: "fields" },
        this.startLabel,
        this.start,
        button("Here", here(true), { id: "day-begin-here", "aria-label": "Begin here, at the cursor" }),
        this.endLabel,
        this.end,
        button("Here", here(false), { id: "day-end-here", "aria-label": "End here, at the cursor" }),
      ),
      el("div", { class: "acts" }, this.play, this.loop, this.quote, this.link, this.clear),
      this.form,
    );
  }

  show(known, stretch) {
    this.#known = { known, stretch };
    const { heard } = known;
    const none = stretch === null;
    for (const button of [this.play, this.loop, this.quote, this.link, this.clear, this.part, this.name]) {
      button.disabled = none;
    }
    const focused = document.activeElement;
    if (focused !== this.start) this.start.value = none ? "" : Math.round(stretch.startMs);
    if (focused !== this.end) this.end.value = none ? "" : Math.round(stretch.endMs);
    this.told.textContent = none
      ? "Drag over rows, or hold Shift with the arrow keys."
      : `${position(stretch.startMs)} to ${position(stretch.endMs)}, ${brief(stretch.endMs - stretch.startMs)}`;
    const active = sounds(heard) && heard.key === KEY;
    this.play.textContent = active && !heard.loop ? "Stop" : "Play";
    this.loop.setAttribute("aria-pressed", String(active && heard.loop));
    const list = known.cuts.find(({ id }) => id === known.cut);
    this.quote.title = list ? `into ${list.name}` : "into a new cut list";
  }

  #typed() {
    const start = Number.parseFloat(this.start.value);
    const end = Number.parseFloat(this.end.value);
    if (Number.isFinite(start) && Number.isFinite(end) && end > start) this.#onBounds(start, end);
    else this.#desk.tell("A stretch ends after it begins.", { trouble: true });
  }

  #here(begin) {
    const { known, stretch } = this.#known ?? {};
    const ms = known?.place?.line === 0 ? known.place.ms : null;
    const { heard } = this.#desk.state.known;
    const at = sounds(heard) && heard.line === 0 ? Math.round(this.#desk.player.state.ms) : ms;
    if (at === null) return;
    const other = stretch === null ? null : begin ? stretch.endMs : stretch.startMs;
    if (begin) this.#onBounds(at, other !== null && other > at ? other : at + 1000);
    else this.#onBounds(other !== null && other < at ? other : Math.max(at - 1000, 0), at);
  }

  #hear(loop) {
    const { stretch } = this.#known;
    const { heard } = this.#desk.state.known;
    const title = `${position(stretch.startMs)} to ${position(stretch.endMs)}`;
    const other = sounds(heard) && heard.key === KEY && Boolean(heard.loop) !== loop;
    // Under the same key a second press stops; the other button goes on the other way.
    if (other) this.#desk.player.setLoop(loop);
    else this.#desk.hear({ line: 0, ...stretch, loop, key: KEY, title });
  }

  #collect() {
    const { startMs, endMs } = this.#known.stretch;
    return collect(this.#desk, [{ start_ms: Math.round(startMs), end_ms: Math.round(endMs) }]);
  }

  #link() {
    const { known, stretch } = this.#known;
    const place = { line: 0, ms: stretch.startMs, endMs: stretch.endMs };
    copy(this.#desk, linkTo(known.eventId, place), `${position(stretch.startMs)} to ${position(stretch.endMs)}`);
  }

  async #makePart() {
    if (await this.#onPart(this.name.value, this.#known.stretch)) this.name.value = "";
  }
}
