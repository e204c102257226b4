// The quote that is looked at: its words, its place, who is heard, its note.

import { el, replace } from "../dom.js";
import { brief, position } from "../written.js";
import { Edges } from "./edges.js";
import { Hearings } from "./hearings.js";
import { twice } from "./lists.js";
import { short } from "./order.js";
import { placeOf, wrong } from "./row.js";

export class One {
  #desk;
  #work;
  #acts;
  #host;
  #nothing = el("p", { class: "about" }, "Choose a quote to nudge it, to choose who is heard, or to write a note.");
  #body;
  #title = el("h3", { id: "one-title", dir: "auto" });
  #about = el("p", { class: "about", id: "one-about" });
  #wrong = el("p", { class: "wrong", id: "one-wrong", dir: "auto" });
  #place = el("input", { id: "one-place", type: "number", min: 1, inputmode: "numeric" });
  #note = el("textarea", { id: "one-note", rows: 3, maxlength: 10000, dir: "auto" });
  #up;
  #down;
  #edges;
  #hearings;
  #quote = null;
  #drafts = new Map(); // quote id -> a note that could not be kept
  #remove = el("span");

  /** `acts`: place(id, place), hear(id), drop(id). */
  constructor(host, desk, work, acts) {
    this.#desk = desk;
    this.#work = work;
    this.#acts = acts;
    this.#host = host;
    const button = (id, text, run) => el("button", { type: "button", class: "quiet", id, onclick: run }, text);
    this.#up = button("one-up", "Move up", () => this.#by(-1));
    this.#down = button("one-down", "Move down", () => this.#by(1));
    const edges = el("div", { class: "edges" });
    const hearings = el("div", { class: "hearings-of" });
    this.#edges = new Edges(edges, desk, work);
    this.#hearings = new Hearings(hearings, desk, work);
    this.#body = el(
      "div",
      { hidden: true },
      this.#title,
      this.#about,
      this.#wrong,
      el("div", { class: "row" }, this.#up, this.#down, this.#placeForm(), this.#remove),
      edges,
      hearings,
      this.#noteForm(),
    );
    host.append(this.#nothing, this.#body);
  }

  #placeForm() {
    return el(
      "form",
      { class: "to-place", onsubmit: (event) => this.#toPlace(event) },
      el("label", { for: "one-place" }, "to place"),
      this.#place,
      el("button", { type: "submit", class: "quiet", id: "one-move" }, "Move"),
    );
  }

  #noteForm() {
    return el(
      "form",
      { class: "note-form", onsubmit: (event) => this.#keepNote(event) },
      el("label", { for: "one-note" }, "Note of this quote"),
      this.#note,
      el("button", { type: "submit", class: "quiet", id: "one-keep" }, "Keep note"),
    );
  }

  show(quote, { quotes, frameRate, partOf }) {
    const before = this.#quote;
    this.#quote = quote;
    this.#nothing.hidden = Boolean(quote) || quotes.length === 0;
    this.#body.hidden = !quote;
    if (!quote) return;
    const other = before?.id !== quote.id;
    this.#title.textContent = quote.text || quote.text_now || "no words";
    const who = quote.person ?? "unknown speaker";
    const at = `begins at ${position(quote.at_ms)} of the cut`;
    this.#about.textContent = [who, placeOf(quote, partOf), brief(quote.length_ms), at].join(" · ");
    this.#wrong.textContent = wrong(quote);
    this.#wrong.hidden = quote.problems.length === 0;
    this.#up.disabled = quote.place === 1;
    this.#down.disabled = quote.place === quotes.length;
    this.#place.max = quotes.length;
    if (other || document.activeElement !== this.#place) this.#place.value = quote.place;
    // What is typed and not kept stays while the quote is looked at.
    if (other || this.#note.value === (before?.note ?? "")) {
      this.#note.value = this.#drafts.get(quote.id) ?? quote.note;
    }
    if (other) replace(this.#remove, [this.#remover(quote)]);
    this.#edges.show(quote, frameRate);
    this.#hearings.show(quote);
  }

  time(ms) {
    if (this.#quote) this.#edges.time(ms);
  }

  sounds(heard) {
    this.#hearings.sounds(heard);
  }

  /** The words of the event may be others now. */
  forget() {
    this.#edges.forget();
  }

  /** A note that is typed and not yet kept, so that leaving it loses nothing. */
  keep() {
    if (this.#quote && this.#note.value !== this.#quote.note) this.#keepNote(new Event("submit"));
  }

  #remover(quote) {
    return twice("Remove", `quote ${short(quote)} from the list`, () => this.#acts.drop(this.#quote.id));
  }

  #by(by) {
    this.#acts.place(this.#quote.id, this.#quote.place + by);
  }

  #toPlace(event) {
    event.preventDefault();
    const place = Math.round(Number(this.#place.value));
    const most = this.#work.known.quotes.length;
    if (!(place >= 1 && place <= most)) {
      this.#work.tell(`Places are 1 to ${most}.`, { trouble: true });
      this.#place.focus();
      return;
    }
    if (place !== this.#quote.place) this.#acts.place(this.#quote.id, place);
  }

  async #keepNote(event) {
    event.preventDefault();
    const { id, place } = this.#quote;
    const note = this.#note.value;
    if (note === this.#quote.note) return;
    const done = await this.#work.edit({
      did: note ? `the note of ${short(this.#quote)}: ${note}` : `no note of ${short(this.#quote)}`,
      says: `The note of quote ${place} is kept.`,
      send: (version) => this.#desk.server.changeQuote(this.#work.known.id, version, id, { note }),
    });
    // What could not be kept stands there again when the quote is looked at.
    if (done) this.#drafts.delete(id);
    else this.#drafts.set(id, note);
  }
}
