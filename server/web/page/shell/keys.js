// Keys that work wherever the focus is, but in a field. They can be turned off
// (WCAG 2.2, 2.1.4): whoever speaks to the computer would press them by talking.

import { sounds } from "./desk.js";

const KEPT = "sayback keys";

export class Keys {
  #desk;
  #on = true;

  /** What each key does, in the order of the list on the page. */
  get all() {
    const { player } = this.#desk;
    const { known } = this.#desk.state;
    return [
      ["p", "play or pause", () => this.#desk.playOrPause()],
      ["n", "next source, same instant", () => player.nextSource()],
      ["b", "source before, same instant", () => player.previousSource()],
      ["g", "match levels on or off", () => player.setMatch(!known.heard?.match)],
      ["o", "over and over on or off", () => player.setLoop(!known.heard?.loop)],
      ["+", "faster", () => player.setSpeed(Math.min((known.heard?.speed ?? 1) + 0.25, 2))],
      ["-", "slower", () => player.setSpeed(Math.max((known.heard?.speed ?? 1) - 0.25, 0.5))],
      ["x", "stop", () => player.stop()],
      ["/", "to the search field", () => document.getElementById("query").focus()],
    ];
  }

  constructor(desk) {
    this.#desk = desk;
    desk.keys = this;
    try {
      this.#on = localStorage.getItem(KEPT) !== "off";
    } catch {
      // On, until the page is closed.
    }
  }

  get on() {
    return this.#on;
  }

  turn(on) {
    this.#on = on;
    try {
      localStorage.setItem(KEPT, on ? "on" : "off");
    } catch {
      // It holds until the page is closed.
    }
  }

  listen() {
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && !event.defaultPrevented && sounds(this.#desk.state.known.heard)) {
        event.preventDefault();
        this.#desk.player.stop();
        return;
      }
      if (!this.#on || event.altKey || event.ctrlKey || event.metaKey) return;
      if (event.defaultPrevented || inField(event.target)) return;
      const found = this.all.find(([key]) => key === event.key.toLowerCase());
      if (!found) return;
      event.preventDefault();
      found[2]();
    });
  }
}

/** Whether keys are text there. */
function inField(target) {
  const fields = "input:not([type=range], [type=checkbox], [type=radio]), textarea, select, [contenteditable], [contenteditable] *";
  return target.matches?.(fields) ?? false;
}
