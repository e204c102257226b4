// Words picked from one to another: by pointer, by touch, by Shift and arrows; what can
// be done with them stands in a bar below.

import { el } from "../dom.js";
import { collect } from "../cuts/collect.js";
import { linkTo } from "../shell/address.js";
import { copy } from "../panel/panel.js";
import { brief, count } from "../written.js";

export class Picking {
  #list;
  #details;
  #desk;
  #anchor = null; // {id, n}: where picking began
  #picked = []; // [{id, from, to}], in order; `to` exclusive
  #byPointer = false;
  #told = el("p", { class: "told", role: "status" });
  #into = el("select", { id: "pick-into", "aria-label": "Cut list" });

  constructor(list, details, desk) {
    this.#list = list;
    this.#details = details;
    this.#desk = desk;
    const button = (id, text, onclick) => el("button", { id, type: "button", class: "quiet", onclick }, text);
    this.bar = el(
      "section",
      { class: "picked-bar", "aria-label": "Words picked", hidden: true },
      this.#told,
      button("pick-play", "Play", () => this.#play()),
      el("span", { class: "into" }, button("pick-collect", "Collect into", () => this.#collect()), this.#into),
      button("pick-copy", "Copy words", () => this.#copyWords()),
      button("pick-link", "Copy link", () => this.#copyLink()),
      button("pick-none", "Let go", () => this.none()),
    );
    this.#into.addEventListener("change", () => {
      this.#desk.state.set({ cut: this.#into.value || null });
    });
    document.addEventListener("selectionchange", () => this.#selected());
  }

  get picked() {
    return this.#picked;
  }

  showCuts({ cuts, cut }) {
    const options = cuts.map(({ id, name }) => el("option", { value: id }, name));
    if (options.length === 0) options.push(el("option", { value: "" }, "a new cut list"));
    this.#into.replaceChildren(...options);
    // A list that was just made is known before it is listed.
    this.#into.value = (cuts.find(({ id }) => id === cut) ?? cuts[0])?.id ?? "";
  }

  /** Picking with keys begins at a word, if it has not begun. */
  anchor(row, n) {
    this.#byPointer = false;
    getSelection().removeAllRanges();
    this.#anchor ??= { id: row.id, n };
  }

  /** Picks the words from where it began to this one. */
  upTo(row, n) {
    const first = this.#anchor && this.#list.row(this.#anchor.id);
    if (!first) return;
    this.#pick(first, this.#anchor.n, row, n);
  }

  /** Picks what is said from one instant to another, of what is loaded. */
  stretch(startMs, endMs) {
    const ends = [];
    for (const row of this.#list.rows) {
      const words = row.times?.line === 0 ? row.times.words : [];
      for (const [n, word] of words.entries()) {
        const middle = (word.startMs + word.endMs) / 2;
        if (middle >= startMs && middle < endMs) ends.push([row, n]);
      }
    }
    if (ends.length === 0) return false;
    this.#anchor = { id: ends[0][0].id, n: ends[0][1] };
    this.#pick(...ends[0], ...ends.at(-1));
    return true;
  }

  /** Lets go of what is picked; whether anything was. */
  none() {
    const any = this.#picked.length > 0;
    const inBar = this.bar.contains(document.activeElement);
    this.#anchor = null;
    if (this.#byPointer) getSelection().removeAllRanges();
    const first = this.#picked[0];
    this.#set([]);
    if (inBar) this.#list.row(first?.id)?.stop(first.from)?.focus();
    return any;
  }

  /** Marks the words anew where rows were made anew. */
  redraw() {
    const by = new Map(this.#picked.map((one) => [one.id, one]));
    for (const row of this.#list.rows) {
      const { from = 0, to = 0 } = by.get(row.id) ?? {};
      row.pick(from, to);
    }
    this.#tell();
  }

  // -- what is picked ---------------------------------------------------------------

  #pick(rowA, a, rowB, b) {
    const rows = this.#list.rows;
    let [[first, from], [last, to]] = [[rows.indexOf(rowA), a], [rows.indexOf(rowB), b]];
    if (first < 0 || last < 0) return;
    if (first > last || (first === last && from > to)) {
      [first, from, last, to] = [last, to, first, from];
    }
    const picked = rows.slice(first, last + 1).flatMap((row, n) => {
      const all = row.wordNodes.length;
      const begins = n === 0 ? Math.min(from, all) : 0;
      const ends = n === last - first ? Math.min(to + 1, all) : all;
      return begins < ends ? [{ id: row.id, from: begins, to: ends }] : [];
    });
    this.#set(picked);
  }

  #set(picked) {
    if (JSON.stringify(picked) === JSON.stringify(this.#picked)) return;
    this.#picked = picked;
    this.redraw();
    this.bar.hidden = picked.length === 0;
  }

  #tell() {
    const words = this.#picked.reduce((sum, { from, to }) => sum + to - from, 0);
    const span = this.#span();
    const told = count(words, "word", "words") + (span ? `, ${brief(span.endMs - span.startMs)}` : "");
    if (this.#told.textContent !== told) this.#told.textContent = told;
  }

  /** A selection of the browser's own, made by pointer or touch. */
  #selected() {
    const selection = getSelection();
    if (!selection.anchorNode || !this.#list.rows.length) return;
    if (selection.isCollapsed) {
      if (this.#byPointer) {
        this.#byPointer = false;
        this.#anchor = null;
        this.#set([]);
      }
      return;
    }
    const range = selection.getRangeAt(0);
    const rows = this.#list.rows.filter(({ words }) => range.intersectsNode(words));
    if (rows.length === 0 || !rows[0].words.closest(".feed")) return;
    const touched = rows.flatMap((row) =>
      row.wordNodes.flatMap((node, n) => (touches(range, node) ? [[row, n]] : [])),
    );
    if (touched.length === 0) return;
    this.#byPointer = true;
    this.#anchor = { id: touched[0][0].id, n: touched[0][1] };
    this.#pick(...touched[0], ...touched.at(-1));
  }

  /** From the first word to the last, on the line they share; null where that is not known. */
  #span() {
    const [first, last] = [this.#picked[0], this.#picked.at(-1)];
    const begins = first && this.#list.row(first.id)?.times;
    const ends = last && this.#list.row(last.id)?.times;
    if (!begins || !ends || begins.line !== ends.line) return null;
    const startMs = begins.words[first.from]?.startMs;
    const endMs = ends.words[last.to - 1]?.endMs;
    return endMs > startMs ? { line: begins.line, recording: begins.recording, startMs, endMs } : null;
  }

  async #known() {
    const missing = this.#picked.filter(({ id }) => !this.#list.row(id)?.times);
    for (const { id } of missing) await this.#details.load(id);
    const span = this.#span();
    if (!span) this.#desk.tell("The times of these words are not known.", { trouble: true });
    return span;
  }

  get #text() {
    return this.#picked
      .map(({ id, from, to }) => {
        const nodes = this.#list.row(id)?.wordNodes.slice(from, to) ?? [];
        return nodes.map((node) => node.textContent).join(" ");
      })
      .join("\n");
  }

  // -- what is done with it ------------------------------------------------------------

  async #play() {
    const span = await this.#known();
    if (!span) return;
    const { line, startMs, endMs, recording } = span;
    const best = line === 0 ? null : recording;
    this.#desk.hear({ line, startMs, endMs, recording: best, key: "read/picked", title: this.#text });
  }

  #collect() {
    return collect(this.#desk, this.#picked.map(({ id, from, to }) => ({ moment: id, from, to })));
  }

  async #copyWords() {
    try {
      await navigator.clipboard.writeText(this.#text);
      this.#desk.tell("The words are copied.");
    } catch {
      this.#desk.tell("The browser does not let the page copy; mark the words and copy them by hand.", { trouble: true });
    }
  }

  async #copyLink() {
    const span = await this.#known();
    if (!span) return;
    const place = { line: span.line, ms: Math.round(span.startMs), endMs: Math.round(span.endMs) };
    await copy(this.#desk, linkTo(this.#desk.state.known.eventId, place, "read"), "these words");
  }
}

/** Whether some of a word lies in a range. */
function touches(range, node) {
  if (!range.intersectsNode(node)) return false;
  const word = document.createRange();
  word.selectNodeContents(node);
  return (
    range.compareBoundaryPoints(Range.END_TO_START, word) < 0 &&
    range.compareBoundaryPoints(Range.START_TO_END, word) > 0
  );
}
