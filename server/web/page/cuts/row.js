// A quote as a row of its list.

import { el } from "../dom.js";
import { brief, count, position } from "../written.js";
import { nudged, short } from "./order.js";

/** How many of the three bars beside a verdict are lit. */
export const grade = (verdict) => ({ clean: "three", usable: "two" })[verdict] ?? "one";

export class Row {
  node;
  #acts;
  #quote = null;
  #where = null;
  #cells = {};

  /** `acts`: choose(id), hear(id), grip(row) for what can be dragged. */
  constructor(acts) {
    this.#acts = acts;
    const cell = (name, tag = "span") => (this.#cells[name] = el(tag, { class: name }));
    const button = (name, run) =>
      (this.#cells[name] = el("button", { type: "button", class: name, tabindex: "-1", onclick: run }));
    this.node = el(
      "li",
      { class: "quote" },
      button("grip", () => this.#acts.choose(this.id)),
      cell("at"),
      button("play", () => this.#acts.hear(this.id)),
      button("words", () => this.#acts.choose(this.id)),
      cell("long"),
      el("span", { class: "facts" }, cell("who"), cell("where"), cell("source"), cell("backups")),
      cell("wrong", "p"),
      cell("note", "p"),
    );
    this.node.row = this;
    for (const name of ["words", "who", "source", "note", "wrong"]) this.#cells[name].dir = "auto";
    this.#cells.play.setAttribute("aria-pressed", "false");
  }

  get id() {
    return this.#quote?.id ?? null;
  }

  /** The button that the keyboard comes to: "words", "play" or "grip". */
  button(name) {
    return this.#cells[name];
  }

  /** Shows a quote; `partOf(ms)` names the part of the event it lies in. */
  show(quote, partOf) {
    const where = placeOf(quote, partOf);
    const before = this.#quote;
    if (before === quote && where === this.#where) return;
    this.#quote = quote;
    this.#where = where;
    const c = this.#cells;
    if (before && same(before, quote)) {
      // Only its place has changed: the case when one of 2,000 is moved.
      this.#place(quote);
      return;
    }
    this.node.dataset.id = quote.id;
    this.#place(quote);
    c.words.textContent = quote.text || quote.text_now || "no words";
    c.words.classList.toggle("none", !(quote.text || quote.text_now));
    c.who.textContent = quote.person ?? "unknown speaker";
    c.where.textContent = where;
    c.long.replaceChildren(unseen("length "), brief(quote.length_ms));
    this.#source(quote);
    c.wrong.textContent = wrong(quote);
    c.wrong.hidden = quote.problems.length === 0;
    const begin = nudged(quote.in);
    const end = nudged(quote.out);
    const moved = begin === end && begin === "as picked" ? "" : `begins ${begin}, ends ${end}`;
    c.note.textContent = [quote.note && `Note: ${quote.note}`, moved].filter(Boolean).join(" · ");
    c.note.hidden = c.note.textContent === "";
  }

  #place(quote) {
    const c = this.#cells;
    c.grip.textContent = quote.place;
    c.grip.setAttribute(
      "aria-label",
      `${quote.place}, quote ${short(quote)}: drag, or press Alt and an arrow key, to move it`,
    );
    c.at.replaceChildren(unseen("begins in the cut at "), position(quote.at_ms));
    c.play.setAttribute("aria-label", `Play quote ${quote.place}`);
    c.where.textContent = this.#where;
  }

  #source(quote) {
    const { chosen, backups, backups_wanted: wanted, hearing } = quote;
    const c = this.#cells;
    c.play.disabled = !chosen;
    if (chosen) {
      const verdict = chosen.verdict ?? "no speech found";
      c.source.replaceChildren(
        el("span", { class: "label" }, chosen.source.label),
        el("span", { class: `verdict ${grade(chosen.verdict)}` }, verdict),
        el("span", { class: "why" }, [hearing ? "chosen" : null, ...chosen.why].filter(Boolean).join(", ")),
      );
    } else c.source.replaceChildren(el("span", { class: "label" }, "no source"));
    const there = backups.filter(({ covers }) => covers).length;
    const most = wanted === null ? there : Math.min(wanted, there);
    c.backups.textContent = wanted === null ? count(there, "backup", "backups") : `${most} of ${count(there, "backup", "backups")}`;
  }

  /** Room for rows that are not there, CSS pixels; and of how many it is one. */
  room(before, after, all) {
    this.node.style.setProperty("--before", `${before}px`);
    this.node.style.setProperty("--after", `${after}px`);
    this.node.setAttribute("aria-posinset", this.#quote.place);
    this.node.setAttribute("aria-setsize", all);
  }

  mark({ chosen, sounds, reachable }) {
    this.node.classList.toggle("chosen", chosen);
    this.node.classList.toggle("plays", sounds);
    this.#cells.words.setAttribute("aria-pressed", String(chosen));
    this.#cells.play.setAttribute("aria-pressed", String(sounds));
    if (sounds) this.node.setAttribute("aria-current", "true");
    else this.node.removeAttribute("aria-current");
    for (const name of ["grip", "play", "words"]) this.#cells[name].tabIndex = reachable ? 0 : -1;
  }
}

const unseen = (text) => el("span", { class: "unseen" }, text);

/** Whether two states of a quote differ by their places only: one is made from the other. */
function same(one, other) {
  const moves = new Set(["place", "at_ms"]);
  return Object.keys(other).every((name) => moves.has(name) || one[name] === other[name]);
}

/** What is wrong with a quote, in words. */
export function wrong(quote) {
  return quote.problems.map(({ kind, detail }) => `${kind}: ${detail}`).join(" · ");
}

/** Where a quote lies, in words. */
export function placeOf(quote, partOf) {
  if (quote.start_ms === null) return "not on the event clock";
  const part = partOf(quote.start_ms);
  return part ? `${part} · ${position(quote.start_ms)}` : position(quote.start_ms);
}
