// Cut lists: lines that were collected, put in order by ear.

import { el } from "../dom.js";
import { Back, soundingOf } from "./back.js";
import { HandOver } from "./handover.js";
import { Head } from "./head.js";
import { Lists } from "./lists.js";
import { One } from "./one.js";
import { moved, short } from "./order.js";
import { Rows } from "./rows.js";
import { Versions } from "./versions.js";
import { Work } from "./work.js";

/** What a quote's words, place and hearings are made of. */
const UNDER_IT = ["clock", "outline", "detail"];

export class CutsView {
  #desk;
  #work;
  #lists;
  #body = el("div", { class: "cut-work", hidden: true });
  #state = el("p", { class: "about", id: "cut-state", role: "status" });
  #retry;
  #empty;
  #head;
  #back;
  #rows;
  #one;
  #versions;
  #over;
  #parts = null;

  constructor(host, desk) {
    this.#desk = desk;
    const work = (this.#work = new Work(desk));
    this.#lists = new Lists(host, desk, work);
    this.#retry = el("button", { type: "button", class: "quiet", hidden: true, onclick: () => work.reload() }, "Try again");
    host.append(this.#state, this.#retry, this.#body);
    this.#build();
    work.read((known, changed) => this.#showWork(known, changed));
  }

  #build() {
    const [desk, work] = [this.#desk, this.#work];
    const main = el("div", { class: "cut-main" });
    const side = el("section", { class: "cut-side", "aria-label": "The quote that is looked at" });
    this.#head = new Head(main, desk, work);
    this.#back = new Back(main, desk, work);
    const scroll = el("div", { class: "quotes-of" });
    this.#empty = el("p", { class: "about", id: "cut-empty" }, "No quotes yet: put lines in from Find, Day or Read.");
    main.append(this.#empty, scroll);
    const acts = {
      choose: (id) => this.#choose(id),
      hear: (id) => this.#back.one(id),
      place: (id, place) => this.#place(id, place),
      drop: (id) => this.#drop(id),
    };
    this.#rows = new Rows(scroll, acts);
    const after = el("div", { class: "cut-after" });
    this.#versions = new Versions(after, desk, work);
    this.#over = new HandOver(after, desk, work);
    main.append(after);
    this.#one = new One(side, desk, work, acts);
    this.#body.append(main, side);
  }

  show(known, changed) {
    const any = (...names) => names.some((name) => changed.has(name));
    if (any("cuts", "cut", "detail")) this.#lists.show(known);
    if (any("cut", "eventId")) {
      this.#one.keep();
      this.#work.open(known.cut);
    }
    if (any("cuts")) this.#work.heardOf(known.cuts);
    if (any(...UNDER_IT)) {
      this.#one.forget();
      // What has just been opened is read already.
      if (this.#work.known.state === "here") this.#work.reload();
    }
    if (any("parts")) this.#showRows();
    if (any("heard")) this.#showHeard(known.heard);
    this.#showState();
  }

  leave() {
    this.#one.keep();
  }

  time(ms) {
    this.#one.time(ms);
  }

  #partOf = (ms) => this.#desk.state.known.parts.find((part) => part.start_ms <= ms && part.end_ms > ms)?.name ?? null;

  #showWork(known, changed) {
    const any = (...names) => names.some((name) => changed.has(name));
    if (any("state", "why", "id")) this.#showState();
    if (any("cut", "quotes", "told", "conflict", "canRedo")) this.#head.show(known, changed);
    if (any("quotes")) this.#showRows();
    if (any("chosen", "quotes", "frameRate")) {
      this.#showOne();
      this.#showHeard(this.#desk.state.known.heard);
    }
    if (any("cut")) {
      this.#versions.show();
      this.#over.show();
    }
  }

  #showState() {
    const { state, why, id } = this.#work.known;
    const { eventId } = this.#desk.state.known;
    const told = {
      none: eventId ? "No cut list yet. Make one, or add a line to it from Find, Day or Read." : "No event is chosen.",
      reading: "Reading the list…",
      failed: `The list could not be read: ${why}`,
      here: "",
    };
    this.#state.textContent = told[id === null ? "none" : state];
    this.#state.hidden = state === "here";
    this.#retry.hidden = state !== "failed";
    this.#body.hidden = state !== "here";
  }

  #showRows() {
    const { quotes } = this.#work.known;
    this.#empty.hidden = quotes.length > 0;
    this.#rows.list.parentElement.hidden = quotes.length === 0;
    this.#rows.show(quotes, this.#partOf);
  }

  #showOne() {
    const { quotes, frameRate } = this.#work.known;
    this.#one.show(this.#work.quote(), { quotes, frameRate, partOf: this.#partOf });
  }

  #showHeard(heard) {
    const before = this.#sounds;
    this.#sounds = soundingOf(heard);
    this.#rows.mark(this.#work.known.chosen, this.#sounds);
    this.#back.show(this.#work.known, heard);
    this.#one.sounds(heard);
    if (this.#sounds !== null && this.#sounds !== before) this.#rows.reveal(this.#sounds);
  }

  #sounds = null;

  #choose(id) {
    if (id === this.#work.known.chosen) return;
    this.#one.keep();
    this.#work.set({ chosen: id });
  }

  async #place(id, place) {
    const quote = this.#work.quote(id);
    const done = await this.#work.edit({
      did: `${short(quote)} from place ${quote.place} to ${place}`,
      says: `${short(quote)} is at place ${place} of ${this.#work.known.quotes.length}.`,
      apply: (quotes) => moved(quotes, id, place),
      send: (version) => this.#desk.server.placeQuote(this.#work.known.id, version, id, place),
    });
    if (done) this.#rows.reveal(id);
  }

  async #drop(id) {
    const quote = this.#work.quote(id);
    const done = await this.#work.edit({
      did: `${short(quote)} taken out`,
      says: `${short(quote)} was taken out; Undo puts it back.`,
      apply: (quotes) => quotes.filter((one) => one.id !== id),
      send: (version) => this.#desk.server.removeQuote(this.#work.known.id, version, id),
    });
    if (!done) return;
    const { chosen } = this.#work.known;
    if (chosen) this.#rows.focus(chosen);
    else document.getElementById("cut-title").focus();
  }
}
