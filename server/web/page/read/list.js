// A stretch of all that was said, in the window of the list: some moments around the place
// that is read, more as one scrolls, never all. What is not here is room of about its
// height, so that the scroll bar is that of the whole event.

import { el } from "../dom.js";
import { isUncertain, partAt } from "./spoken.js";
import { Row } from "./row.js";

/** The most moments that are on the page. */
const MOST = 160;
/** So much is to be loaded beyond what is seen, px. */
const BEYOND = 900;
const REST_MS = 90;
/** Height of a moment until some were measured, px. */
const GUESSED = 64;

export class List {
  #scroller;
  #feed = el("div", { class: "feed", role: "feed", "aria-label": "What was said", "aria-busy": "false" });
  #above = el("div", { class: "room", "aria-hidden": "true" });
  #below = el("div", { class: "room", "aria-hidden": "true" });
  #on;
  #desk;
  #sequence = null;
  #from = 0;
  #total = 0;
  #height = GUESSED;
  #token = 0;
  #busy = false;
  #stale = false; // whether all is to be looked at again when this is done
  #resting = null;
  #moving = false;

  /**
   * `onRows()` when other moments are in the list, `onSeen()` when others are seen,
   * `onScroll()` when the reader scrolled.
   */
  constructor(scroller, desk, on) {
    this.#scroller = scroller;
    this.#desk = desk;
    this.#on = on;
    this.rows = [];
    scroller.append(this.#above, this.#feed, this.#below);
    scroller.addEventListener("scroll", () => this.#scrolled(), { passive: true });
    new ResizeObserver(() => this.#soon()).observe(scroller);
  }

  get total() {
    return this.#total;
  }

  /** The place of the first moment that is loaded. */
  get from() {
    return this.#from;
  }

  row(id) {
    return this.rows.find((row) => row.id === id) ?? null;
  }

  /** Takes all out. */
  clear() {
    this.#token += 1;
    this.#sequence = null;
    this.#scrollBy(-this.#scroller.scrollTop);
    this.#set(0, [], 0);
  }

  /** The same choice of what there is now. */
  read(sequence) {
    if (this.#sequence) this.#sequence = sequence;
  }

  /** Reads another sequence from an instant on; whether it could. */
  async open(sequence, ms) {
    this.#sequence = sequence;
    return this.goTo(ms);
  }

  /** Brings what is said at an instant of the event into sight; the row, or null. */
  async goTo(ms) {
    const here = this.rowAt(ms);
    if (here && this.#sequence) {
      this.center(here.node);
      return here;
    }
    const token = this.#begin();
    const place = await this.#desk.guarded(this.#sequence.placeOf(ms));
    if (place === null || token !== this.#token) {
      this.#end(token);
      return null;
    }
    await this.#jump(place, token);
    return this.rowAt(ms) ?? this.rows[place - this.#from] ?? null;
  }

  /** Brings the moment at a place of the sequence into sight. */
  async goToPlace(place) {
    const loaded = this.rows[place - this.#from];
    if (loaded) {
      this.center(loaded.node);
      return loaded;
    }
    await this.#jump(Math.max(0, Math.min(place, this.#total - 1)), this.#begin());
    return this.rows[place - this.#from] ?? null;
  }

  /** Looks again at what is loaded, wherever it is now. */
  async reload() {
    if (!this.#sequence) return;
    this.#stale = this.#busy;
    if (this.#busy) return;
    const anchor = this.#topRow() ?? this.rows[0] ?? null;
    const token = this.#begin();
    let from = this.#from;
    if (anchor?.moment.start_ms != null) {
      const place = await this.#desk.guarded(this.#sequence.placeOf(anchor.moment.start_ms));
      if (place === null || token !== this.#token) return this.#end(token);
      from = Math.max(0, place - this.rows.indexOf(anchor));
    }
    const count = Math.max(this.rows.length, this.#sequence.step);
    const answer = await this.#load(from, count);
    if (answer && token === this.#token) {
      this.#steady(() => this.#set(from, answer.moments, answer.total));
    }
    this.#end(token);
  }

  /** The loaded row of a moment that is said at an instant of the event clock, else before. */
  rowAt(ms) {
    const said = this.rows.filter(({ moment }) => moment.start_ms !== null);
    if (said.length === 0 || ms < said[0].moment.start_ms) {
      return this.#from === 0 ? (said[0] ?? null) : null;
    }
    const n = said.findLastIndex(({ moment }) => moment.start_ms <= ms);
    const last = n === said.length - 1;
    const ends = this.#from + this.rows.length >= this.#total || said.length < this.rows.length;
    return last && !ends && said[n].moment.end_ms <= ms ? null : said[n];
  }

  /** The rows that are seen, some beyond. */
  seen() {
    const { top, bottom } = this.#scroller.getBoundingClientRect();
    return this.rows.filter(({ node }) => {
      const rect = node.getBoundingClientRect();
      return rect.bottom > top - 200 && rect.top < bottom + 200;
    });
  }

  /** Scrolls so that something stands in the middle, if it is not well in sight. */
  center(wanted, { always = false } = {}) {
    // Words that are being put right are hidden: their moment stands for them.
    const node = wanted.getClientRects().length > 0 ? wanted : (wanted.closest(".utterance") ?? wanted);
    const view = this.#scroller.getBoundingClientRect();
    const rect = node.getBoundingClientRect();
    const fine = rect.top > view.top + view.height * 0.12 && rect.bottom < view.bottom - view.height * 0.2;
    if (fine && !always) return;
    const middle = rect.height > view.height * 0.6 ? view.top + view.height * 0.15 : view.top + (view.height - rect.height) / 2;
    this.#scrollBy(rect.top - middle);
  }

  /** Draws anew what stands beside the moments: parts, names, places. */
  redraw() {
    const { known } = this.#desk.state;
    let before = null;
    for (const [n, row] of this.rows.entries()) {
      row.show(row.moment, setting(row.moment, before, known, this.#from + n, this.#total));
      before = row.moment;
    }
  }

  // -- loading -----------------------------------------------------------------

  #begin() {
    this.#token += 1;
    this.#busy = true;
    this.#feed.setAttribute("aria-busy", "true");
    return this.#token;
  }

  #end(token) {
    if (token !== this.#token) return;
    this.#busy = false;
    this.#feed.setAttribute("aria-busy", "false");
    if (this.#stale) this.reload();
  }

  #load(from, count) {
    return this.#desk.guarded(this.#sequence.load(from, count));
  }

  async #jump(place, token) {
    const { step } = this.#sequence;
    const from = Math.max(0, place - step / 2);
    const answer = await this.#load(from, 2 * step);
    if (answer && token === this.#token) {
      this.#set(from, answer.moments, answer.total);
      const row = this.rows[place - this.#from];
      if (row) this.center(row.node, { always: true });
    }
    this.#end(token);
    this.#soon();
  }

  /** More at an end that is near, and less at the other. */
  async #grow() {
    if (this.#busy || !this.#sequence || this.rows.length === 0) return;
    const view = this.#scroller.getBoundingClientRect();
    const first = this.rows[0].node.getBoundingClientRect();
    const last = this.rows.at(-1).node.getBoundingClientRect();
    const end = this.#from + this.rows.length;
    if (first.top > view.bottom || last.bottom < view.top) return this.#land(view);
    const up = this.#from > 0 && first.top > view.top - BEYOND;
    const down = end < this.#total && last.bottom < view.bottom + BEYOND;
    if (!up && !down) return;
    const token = this.#begin();
    const { step } = this.#sequence;
    const from = up ? Math.max(0, this.#from - step) : end;
    const answer = await this.#load(from, up ? this.#from - from : step);
    if (answer && token === this.#token) this.#steady(() => this.#extend(up, answer));
    this.#end(token);
    if (answer) this.#soon();
  }

  #extend(up, { moments, total }) {
    const here = this.rows.map(({ moment }) => moment);
    if (up) this.#set(this.#from - moments.length, [...moments, ...here].slice(0, MOST), total);
    else {
      const all = [...here, ...moments];
      const drop = Math.max(0, all.length - MOST);
      this.#set(this.#from + drop, all.slice(drop), moments.length === 0 ? this.#from + all.length : total);
    }
  }

  /** The reader let go of the scroll bar where nothing is loaded. */
  async #land(view) {
    const top = this.#above.getBoundingClientRect().top;
    const above = this.#above.offsetHeight;
    const into = view.top - top;
    const beyond = into - above - this.#feed.offsetHeight;
    const place = into < above ? into / this.#height : this.#from + this.rows.length + beyond / this.#height;
    await this.#jump(Math.max(0, Math.min(Math.round(place), this.#total - 1)), this.#begin());
  }

  #set(from, moments, total) {
    const before = new Map(this.rows.map((row) => [row.id, row]));
    this.#from = from;
    this.#total = Math.max(total, from + moments.length);
    const ids = new Set();
    const fresh = moments.filter(({ id }) => !ids.has(id) && ids.add(id));
    this.rows = fresh.map((moment) => {
      const row = before.get(moment.id) ?? new Row(moment);
      // What was put right meanwhile is not undone by an answer that is older.
      if (moment.version >= row.moment.version) row.moment = moment;
      return row;
    });
    this.redraw();
    const wanted = new Set(this.rows.map(({ node }) => node));
    const focused = this.#feed.contains(document.activeElement);
    for (const node of [...this.#feed.children]) if (!wanted.has(node)) node.remove();
    let place = this.#feed.firstChild;
    for (const node of wanted) {
      if (node === place) place = place.nextSibling;
      else this.#feed.insertBefore(node, place);
    }
    // Arrows lead on from here where the moment that had the focus is no more.
    if (focused && !this.#feed.contains(document.activeElement)) this.#scroller.focus({ preventScroll: true });
    this.#makeRoom();
    this.#on.onRows();
  }

  #makeRoom() {
    const height = this.#feed.offsetHeight;
    if (this.rows.length > 0 && height > 0) this.#height = height / this.rows.length;
    const beyond = this.#total - this.#from - this.rows.length;
    this.#above.style.setProperty("--room", `${Math.round(this.#from * this.#height)}px`);
    this.#below.style.setProperty("--room", `${Math.round(beyond * this.#height)}px`);
  }

  // -- scrolling -----------------------------------------------------------------

  #topRow() {
    const { top } = this.#scroller.getBoundingClientRect();
    return this.rows.find(({ node }) => node.getBoundingClientRect().bottom > top) ?? null;
  }

  /** Changes what is loaded; what is seen stays where it is. */
  #steady(change) {
    const row = this.#topRow();
    const before = row?.node.getBoundingClientRect().top;
    change();
    if (row?.node.isConnected) this.#scrollBy(row.node.getBoundingClientRect().top - before);
  }

  #scrollBy(px) {
    if (Math.abs(px) < 1) return;
    const before = this.#scroller.scrollTop;
    this.#scroller.scrollTop += px;
    // Only what moves is told of by an event.
    if (this.#scroller.scrollTop !== before) this.#moving = true;
  }

  #scrolled() {
    if (this.#moving) this.#moving = false;
    else this.#on.onScroll();
    this.#soon();
  }

  #soon() {
    clearTimeout(this.#resting);
    this.#resting = setTimeout(() => {
      if (!this.#scroller.isConnected || this.#scroller.offsetHeight === 0) return;
      this.#on.onSeen();
      this.#grow();
    }, REST_MS);
  }
}

/** How a moment stands after the one before it. */
function setting(moment, before, { parts, outline, people }, at, total) {
  const own = partAt(parts, moment);
  const afar = moment.start_ms === null;
  const same = before !== null && partAt(parts, before) === own && (before.start_ms === null) === afar;
  const opens = same ? null : (parts[own] ?? { name: nameless(parts, afar) });
  const talker = (one) => `${one.person?.id}/${one.also?.id}`;
  const turn = !same || isUncertain(moment) || talker(moment) !== talker(before);
  return { opens, turn, at, total, colour: colourOf(moment.person, outline, people) };
}

function nameless(parts, afar) {
  if (afar) return "Not on the event clock";
  return parts.length > 0 ? "Outside all parts" : "All that was said";
}

/** The colour of a person, the same as on the band of the event. */
export function colourOf(person, outline, people) {
  const n = person ? (outline?.people ?? people).findIndex(({ id }) => id === person.id) : -1;
  return n < 0 ? "var(--nobody)" : `var(--who-${n % 8})`;
}
