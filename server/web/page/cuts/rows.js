// The quotes in order. Rows out of sight are there but not laid out (content-visibility),
// and a long list is built a few rows a frame, so that 2,000 don't hold anything up.

import { el } from "../dom.js";
import { Drag } from "./drag.js";
import { Row } from "./row.js";

/** Rows that are there at once, and built in each frame after that. */
const AT_ONCE = 60;
const A_FRAME = 40;
/** How far each key goes. */
const KEYS = { ArrowUp: -1, ArrowDown: 1, PageUp: -10, PageDown: 10 };

export class Rows {
  list = el("ol", { class: "quotes", id: "cut-quotes", "aria-labelledby": "cut-title" });
  #acts;
  #rows = new Map(); // id -> Row
  #order = []; // ids as they stand in the list
  #quotes = [];
  #marks = { chosen: null, sounds: null };
  #partOf = () => null;
  #building = 0;

  /** `acts`: choose(id), hear(id), place(id, place), speak(text). */
  constructor(host, acts) {
    this.#acts = acts;
    const names = ["", "in the cut", "", "words", "length", "who", "where", "source", "backups"];
    host.append(
      el("div", { class: "quotes-names", "aria-hidden": "true" }, ...names.map((name) => el("span", {}, name))),
      this.list,
    );
    new Drag(this.list, {
      place: (id, place) => acts.place(id, place),
      choose: (id) => acts.choose(id),
    });
    this.list.addEventListener("keydown", (event) => this.#key(event));
    this.list.addEventListener("focusin", (event) => this.#reached(event));
  }

  show(quotes, partOf) {
    this.#quotes = quotes;
    this.#partOf = partOf;
    const building = (this.#building += 1);
    const there = new Set(quotes.map(({ id }) => id));
    const focused = document.activeElement?.closest?.("li.quote")?.dataset.id;
    const button = document.activeElement?.classList[0];
    for (const [id, row] of this.#rows) {
      if (there.has(id)) continue;
      row.node.remove();
      this.#rows.delete(id);
    }
    this.#order = this.#order.filter((id) => there.has(id));
    // Those that are there come first, then new ones a few at a time.
    const fresh = quotes.filter(({ id }) => !this.#rows.has(id)).length;
    const until = fresh > AT_ONCE * 2 ? AT_ONCE : quotes.length;
    this.#build(0, until);
    if (until < quotes.length) this.#later(until, building);
    if (focused && there.has(focused) && !this.list.contains(document.activeElement)) {
      this.#rows.get(focused)?.button(button)?.focus();
    }
  }

  #later(from, building) {
    requestAnimationFrame(() => {
      if (this.#building !== building) return;
      const to = Math.min(from + A_FRAME, this.#quotes.length);
      this.#build(from, to);
      if (to < this.#quotes.length) this.#later(to, building);
    });
  }

  /** Has rows `from` to `to` as they are to be; one that was moved moves alone. */
  #build(from, to) {
    for (let n = from; n < to; n += 1) {
      const quote = this.#quotes[n];
      let row = this.#rows.get(quote.id);
      if (!row) {
        row = new Row(this.#acts);
        this.#rows.set(quote.id, row);
        row.show(quote, this.#partOf);
        this.#mark(row);
      } else row.show(quote, this.#partOf);
    }
    this.#arrange(to);
  }

  #arrange(to) {
    const wanted = this.#quotes.slice(0, to).map(({ id }) => id);
    const now = this.#order;
    if (wanted.length === now.length && wanted.every((id, n) => id === now[n])) return;
    const focused = this.list.contains(document.activeElement) ? document.activeElement : null;
    let place = this.list.firstElementChild;
    for (const [n, id] of wanted.entries()) {
      const { node } = this.#rows.get(id);
      if (node === place) {
        place = place.nextElementSibling;
        continue;
      }
      // Where the one that stands here is to come later it is taken out, not all moved up.
      const next = place?.nextElementSibling;
      if (next === node && place.dataset.id !== wanted[n + 1]) {
        const late = place;
        place = next.nextElementSibling;
        late.remove();
      } else this.list.insertBefore(node, place);
    }
    this.#order = wanted;
    focused?.focus({ preventScroll: true });
  }

  /** Which quote is looked at, and which one sounds. */
  mark(chosen, sounds) {
    const before = this.#marks;
    this.#marks = { chosen, sounds };
    const ids = new Set([before.chosen, before.sounds, chosen, sounds]);
    for (const id of ids) {
      const row = this.#rows.get(id);
      if (row) this.#mark(row);
    }
  }

  #mark(row) {
    const { chosen, sounds } = this.#marks;
    const { id } = row;
    const first = chosen === null && id === this.#quotes[0]?.id;
    row.mark({ chosen: id === chosen, sounds: id === sounds, reachable: id === chosen || first });
  }

  /** Brings a quote into sight. */
  reveal(id) {
    this.#ready(id)?.node.scrollIntoView({ block: "nearest" });
  }

  focus(id, button = "words") {
    this.#ready(id)?.button(button).focus();
  }

  /** The row of a quote, built now if it is not there yet. */
  #ready(id) {
    if (!this.#rows.has(id) && this.#quotes.some((quote) => quote.id === id)) {
      this.#building += 1;
      this.#build(0, this.#quotes.length);
    }
    return this.#rows.get(id) ?? null;
  }

  #reached(event) {
    const id = event.target.closest("li.quote")?.dataset.id;
    if (id && id !== this.#marks.chosen) this.#acts.choose(id);
  }

  /** Arrows go from quote to quote; with Alt they take the quote along. */
  #key(event) {
    const row = event.target.closest("li.quote")?.row;
    if (!row || event.ctrlKey || event.metaKey) return;
    const from = this.#quotes.findIndex(({ id }) => id === row.id);
    const last = this.#quotes.length - 1;
    const ends = { Home: 0, End: last };
    const to = ends[event.key] ?? from + (KEYS[event.key] ?? NaN);
    if (Number.isNaN(to)) return;
    event.preventDefault();
    const place = Math.min(Math.max(to, 0), last);
    if (event.altKey) {
      if (place !== from) this.#acts.place(row.id, place + 1);
      return;
    }
    this.focus(this.#quotes[place].id, event.target.classList[0]);
  }
}
