// The quotes in order. Of a long list only what is in sight is there, with room left for
// the rest: 2,000 rows would hold up every touch.

import { el } from "../dom.js";
import { Drag } from "./drag.js";
import { Row } from "./row.js";

/** A list that is no longer is there as a whole. */
const WHOLE = 120;
/** Rows above and below what is in sight. */
const MORE = 12;
/** Height of a row until one was measured, CSS pixels. */
const ROW_PX = 52;
/** How far each key goes. */
const KEYS = { ArrowUp: -1, ArrowDown: 1, PageUp: -10, PageDown: 10 };

export class Rows {
  list = el("ol", { class: "quotes", id: "cut-quotes", "aria-labelledby": "cut-title" });
  #scroller;
  #acts;
  #rows = new Map(); // id -> Row, of those that are there
  #heights = new Map(); // id -> CSS pixels, of those that were there
  #quotes = [];
  #index = new Map(); // id -> where it stands, from 0
  #marks = { chosen: null, sounds: null };
  #partOf = () => null;
  #drag;
  #width = 0;
  #soon = false;

  /** `acts`: choose(id), hear(id), place(id, place). */
  constructor(host, acts) {
    this.#scroller = host;
    this.#acts = acts;
    const names = ["", "in the cut", "", "words", "length", "who", "where", "source", "backups"];
    host.append(
      el("div", { class: "quotes-names", "aria-hidden": "true" }, ...names.map((name) => el("span", {}, name))),
      this.list,
    );
    this.#drag = new Drag(this.list, host, {
      place: (id, place) => acts.place(id, place),
      choose: (id) => acts.choose(id),
      at: (id) => this.#index.get(id),
      focus: (id) => this.focus(id, "grip"),
    });
    this.list.addEventListener("keydown", (event) => this.#key(event));
    this.list.addEventListener("focusin", (event) => this.#reached(event));
    host.addEventListener("scroll", () => this.#renderSoon(), { passive: true });
    new ResizeObserver(() => this.#resized()).observe(host);
  }

  show(quotes, partOf) {
    this.#quotes = quotes;
    this.#partOf = partOf;
    this.#index = new Map(quotes.map(({ id }, n) => [id, n]));
    this.#render();
  }

  #resized() {
    const width = this.#scroller.clientWidth;
    if (width !== this.#width) this.#heights.clear();
    this.#width = width;
    this.#renderSoon();
  }

  #renderSoon() {
    if (this.#soon) return;
    this.#soon = true;
    requestAnimationFrame(() => {
      this.#soon = false;
      this.#render();
    });
  }

  /** Has those rows there that are in sight, and those that are held or have the focus. */
  #render() {
    this.#measure();
    const tops = this.#tops();
    const focused = this.list.contains(document.activeElement) ? document.activeElement : null;
    const kept = [focused?.closest("li.quote")?.dataset.id, this.#drag.held];
    const wanted = this.#inSight(tops);
    for (const id of kept) if (this.#index.has(id)) wanted.add(this.#index.get(id));
    const order = [...wanted].sort((a, b) => a - b);
    const ids = new Set(order.map((n) => this.#quotes[n].id));
    for (const [id, row] of this.#rows) {
      if (ids.has(id)) continue;
      row.node.remove();
      this.#rows.delete(id);
    }
    let place = this.list.firstElementChild;
    let before = 0;
    for (const [i, n] of order.entries()) {
      const row = this.#row(this.#quotes[n]);
      const after = i === order.length - 1 ? tops.at(-1) - tops[n + 1] : 0;
      row.room(tops[n] - before, after, this.#quotes.length);
      before = tops[n + 1];
      if (row.node === place) place = place.nextElementSibling;
      else this.list.insertBefore(row.node, place);
    }
    if (focused && focused !== document.activeElement && focused.isConnected) {
      focused.focus({ preventScroll: true });
    }
  }

  #row(quote) {
    let row = this.#rows.get(quote.id);
    if (!row) {
      row = new Row(this.#acts);
      this.#rows.set(quote.id, row);
      row.show(quote, this.#partOf);
    } else row.show(quote, this.#partOf);
    this.#mark(row);
    return row;
  }

  /** Rows that are there are as high as they are. */
  #measure() {
    for (const [id, row] of this.#rows) {
      const height = row.node.offsetHeight;
      if (height > 0) this.#heights.set(id, height);
    }
  }

  /** Where each row begins, CSS pixels from the first, and where the last ends. */
  #tops() {
    let sum = 0;
    for (const height of this.#heights.values()) sum += height;
    const usual = this.#heights.size > 0 ? sum / this.#heights.size : ROW_PX;
    const tops = [0];
    for (const { id } of this.#quotes) tops.push(tops.at(-1) + (this.#heights.get(id) ?? usual));
    return tops;
  }

  #inSight(tops) {
    const all = this.#quotes.length;
    const [from, to] = all <= WHOLE ? [0, all] : this.#stretch(tops, all);
    return new Set(Array.from({ length: to - from }, (_, i) => from + i));
  }

  #stretch(tops, all) {
    const top = this.#scroller.scrollTop - this.list.offsetTop;
    const bottom = top + this.#scroller.clientHeight;
    const first = tops.findIndex((_, n) => n === all || tops[n + 1] > top);
    const last = tops.findIndex((at) => at >= bottom);
    const from = Math.min(Math.max(first - MORE, 0), Math.max(all - 2 * MORE, 0));
    return [from, Math.min((last < 0 ? all : last) + MORE, all)];
  }

  /** Which quote is looked at, and which one sounds. */
  mark(chosen, sounds) {
    const before = this.#marks;
    if (before.chosen === chosen && before.sounds === sounds) return;
    this.#marks = { chosen, sounds };
    for (const id of new Set([before.chosen, before.sounds, chosen, sounds])) {
      const row = this.#rows.get(id);
      if (row) this.#mark(row);
    }
  }

  #mark(row) {
    const { chosen, sounds } = this.#marks;
    const { id } = row;
    const reachable = id === (this.#index.has(chosen) ? chosen : this.#quotes[0]?.id);
    row.mark({ chosen: id === chosen, sounds: id === sounds, reachable });
  }

  /** Brings a quote into sight. */
  reveal(id) {
    this.#there(id)?.node.scrollIntoView({ block: "nearest" });
  }

  focus(id, button = "words") {
    this.#there(id)?.button(button).focus();
  }

  /** The row of a quote, brought there where it is out of sight. */
  #there(id) {
    const n = this.#index.get(id);
    if (n === undefined) return null;
    if (!this.#rows.has(id)) {
      const middle = this.#tops()[n] + this.list.offsetTop - this.#scroller.clientHeight / 2;
      this.#scroller.scrollTop = Math.max(middle, 0);
      this.#render();
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
    const from = this.#index.get(row.id);
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
