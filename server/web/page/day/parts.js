// The parts of the event, to be named, moved and taken away. The server keeps them as one
// list; it is asked for anew before each change, so that nobody's else is lost.

import { el, update } from "../dom.js";
import { brief, position } from "../written.js";

export class Parts {
  #desk;
  #onShow;
  #stretch = null;

  constructor(desk, onShow) {
    this.#desk = desk;
    this.#onShow = onShow;
    this.list = el("ul", { class: "parts-list", id: "day-parts", "aria-label": "Parts of the event" });
    this.none = el("p", { class: "about" }, "No parts yet: select a stretch of the board, give it a name, and make it one.");
    this.host = el("section", { class: "below", "aria-label": "Parts" }, el("h3", {}, "Parts"), this.none, this.list);
  }

  show({ parts }, stretch) {
    this.#stretch = stretch;
    this.none.hidden = parts.length > 0;
    const can = stretch !== null;
    update(
      this.list,
      parts.map((part) => ({ ...part, can })),
      (part) => this.#row(part),
    );
  }

  /** Makes a stretch a part; whether that was done. */
  async make(name, { startMs, endMs }) {
    const told = name.trim();
    if (told === "") {
      this.#desk.tell("A part needs a name.", { trouble: true });
      return false;
    }
    const part = { name: told, start_ms: Math.round(startMs), end_ms: Math.round(endMs), required: false };
    return this.#change((parts) => [...parts, part]);
  }

  async #change(to) {
    const { eventId } = this.#desk.state.known;
    const { server } = this.#desk;
    const parts = await this.#desk.guarded(server.parts(eventId));
    if (parts === null) return false;
    const changed = to(parts).sort((a, b) => a.start_ms - b.start_ms);
    const kept = await this.#desk.guarded(server.setParts(eventId, changed));
    if (kept === null) return false;
    if (this.#desk.state.known.eventId === eventId) this.#desk.state.set({ parts: kept });
    this.#desk.refreshSoon();
    return true;
  }

  #row({ name, start_ms, end_ms, can }) {
    const field = el("input", { value: name, maxlength: 80, autocomplete: "off", "data-key": `name/${name}`, "aria-label": `Name of the part ${name}` });
    field.addEventListener("change", async () => {
      if (!(await this.#alter(name, { name: field.value.trim() }))) field.value = name;
    });
    const button = (what, text, label, act, also = {}) =>
      el("button", { type: "button", class: "quiet", "data-key": `${what}/${name}`, "aria-label": label, onclick: act, ...also }, text);
    const away = button("away", "Take away", `Take ${name} away`, () => {
      // A second press does it: there is no way back.
      if (away.dataset.sure) this.#change((parts) => parts.filter((part) => part.name !== name));
      else {
        away.dataset.sure = "yes";
        away.textContent = "Really take away";
      }
    });
    away.addEventListener("blur", () => {
      delete away.dataset.sure;
      away.textContent = "Take away";
    });
    const move = button("move", "Put to the stretch", `Put ${name} to the stretch that is selected`, () => this.#move(name), { disabled: !can });
    return el(
      "li",
      { class: "part" },
      field,
      el("span", { class: "time" }, `${position(start_ms)} to ${position(end_ms)}`),
      el("span", { class: "placement" }, brief(end_ms - start_ms)),
      button("show", "Show", `Show ${name}`, () => this.#onShow(start_ms, end_ms)),
      move,
      away,
    );
  }

  #move(name) {
    if (this.#stretch === null) return;
    const { startMs, endMs } = this.#stretch;
    this.#alter(name, { start_ms: Math.round(startMs), end_ms: Math.round(endMs) });
  }

  #alter(name, changes) {
    return this.#change((parts) => parts.map((part) => (part.name === name ? { ...part, ...changes } : part)));
  }
}
