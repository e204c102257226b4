// Hears a list back to back.

import { count } from "../written.js";
import { el } from "../dom.js";
import { sounds } from "../shell/desk.js";
import { short } from "./order.js";

const KEY = "quote/";

/** The quote that sounds; null where something else does. */
export function soundingOf(heard) {
  const key = sounds(heard) ? heard.key : null;
  return key?.startsWith(KEY) ? key.slice(KEY.length) : null;
}

export class Back {
  #desk;
  #work;
  #all;
  #from;
  #buttons = [];

  constructor(host, desk, work) {
    this.#desk = desk;
    this.#work = work;
    const button = (id, text, run, quiet = true) =>
      el("button", { type: "button", class: quiet ? "quiet" : null, id, onclick: run }, text);
    this.#all = button("cut-hear", "Hear it all", () => this.all(), false);
    this.#from = button("cut-from", "From this quote on", () => this.from(work.known.chosen));
    this.#buttons = [
      button("cut-before", "Quote before", () => desk.player.previousSpot()),
      button("cut-next", "Next quote", () => desk.player.nextSpot()),
      button("cut-stop", "Stop", () => desk.player.stop()),
    ];
    const loop = button("cut-loop", "This one over and over", () => this.one(work.known.chosen, true));
    host.append(el("div", { class: "row back", role: "group", "aria-label": "Hear it back to back" }, this.#all, this.#from, loop, ...this.#buttons));
    this.loop = loop;
  }

  show({ quotes, chosen }, heard) {
    this.#all.disabled = quotes.length === 0;
    this.#from.disabled = !chosen;
    this.loop.disabled = !chosen;
    const here = soundingOf(heard) !== null;
    for (const button of this.#buttons) button.disabled = !here;
    const over = here && heard.loop && heard.spots === 1;
    this.loop.setAttribute("aria-pressed", String(Boolean(over)));
  }

  all() {
    this.#play(this.#work.known.quotes, 0);
  }

  /** The whole list from a quote on. */
  from(id) {
    const { quotes } = this.#work.known;
    this.#play(quotes, Math.max(quotes.findIndex((quote) => quote.id === id), 0));
  }

  /** One quote; the same again stops it. */
  one(id, loop = false) {
    const quote = this.#work.quote(id);
    if (!quote) return;
    const { heard } = this.#desk.state.known;
    if (soundingOf(heard) === id && heard.loop === loop && heard.spots === 1) this.#desk.player.stop();
    else this.#play([quote], 0, loop);
  }

  #play(quotes, from, loop = false) {
    const heard = quotes.filter(({ chosen }) => chosen);
    const start = quotes.slice(0, from).filter(({ chosen }) => chosen).length;
    if (heard.length === 0 || start >= heard.length) {
      this.#work.tell("No recording has any of it.", { trouble: true });
      return;
    }
    const out = quotes.length - heard.length;
    this.#work.tell(out === 0 ? null : `${count(out, "quote is", "quotes are")} passed over: no recording has any of it.`);
    this.#desk.player.playList(heard.map(spotOf), { from: start, loop });
  }
}

function spotOf(quote) {
  const { chosen } = quote;
  return {
    recording: chosen.recording.id,
    fileStartMs: chosen.start_ms,
    fileEndMs: chosen.end_ms,
    key: `${KEY}${quote.id}`,
    title: `${quote.place}. ${short(quote, 80)}`,
  };
}
