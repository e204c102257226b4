// Finding a line: asks as somebody types, shows each stretch of speech once, with every
// recording that heard it.

import { el } from "../dom.js";
import { collect } from "../cuts/collect.js";
import { copy } from "../panel/panel.js";
import { linkTo } from "../shell/address.js";
import { sounds } from "../shell/desk.js";
import { position } from "../written.js";
import { showHits, showPlaying, summary } from "./hits.js";
import { Kept } from "./kept.js";
import { Narrow } from "./narrow.js";

/** After so long without a letter a word counts as whole. */
const FINISHED_MS = 500;

export class FindView {
  #desk;
  #asking = new AbortController();
  #asked = null; // what the answer below belongs to, as parameters
  #answer = null;
  #busy = false;
  #goesOn = 0;
  #eventId = null;
  #parts;

  constructor(host, desk) {
    this.#desk = desk;
    const narrow = new Narrow((narrow) => desk.state.set({ narrow }));
    this.#parts = {
      narrow,
      kept: new Kept(desk),
      summary: el("p", { id: "summary", class: "summary", role: "status", "aria-live": "polite" }),
      hint: hint(),
      hits: el("ol", { id: "hits", class: "hits", "aria-label": "Lines found" }),
      more: el("button", { id: "more", type: "button", class: "quiet", hidden: true, onclick: () => this.#more() }, "More lines"),
      meant: el("section", { class: "meant", "aria-labelledby": "meant-title", hidden: true }),
    };
    const p = this.#parts;
    host.append(
      el("div", { class: "narrowing" }, narrow.host, p.kept.host),
      el("div", { class: "found" }, p.summary, p.hint, p.hits, p.more, p.meant),
    );
    host.addEventListener("keydown", (event) => this.#key(event));
    document.getElementById("query").addEventListener("keydown", (event) => this.#fromField(event));
  }

  show(known, changed) {
    const any = (...names) => names.some((name) => changed.has(name));
    if (known.eventId !== this.#eventId) {
      this.#eventId = known.eventId;
      this.#parts.narrow.count(null);
      this.#take(null, null);
    }
    if (any("eventId", "detail", "people", "parts", "narrow")) this.#parts.narrow.show(known);
    if (any("eventId", "query", "narrow")) this.#find(known);
    // New words may have come; a list somebody paged through stays as it is.
    else if (any("outline", "detail") && (this.#answer?.hits.length ?? 0) <= 20) this.#find(known, { quietly: true });
    if (any("heard")) showPlaying(this.#parts.hits.parentElement, known.heard);
    if (any("status", "events", "detail")) this.#sum();
    this.#parts.kept.show(known, changed);
  }

  // -- asking ------------------------------------------------------------------

  async #find(known, { quietly = false } = {}) {
    this.#asking.abort();
    clearTimeout(this.#goesOn);
    this.#asking = new AbortController();
    const { signal } = this.#asking;
    const asked = parameters(known);
    if (!asked) {
      this.#busy = false;
      this.#parts.narrow.count(null);
      this.#take(null, null);
      return;
    }
    if (!quietly) {
      this.#busy = true;
      this.#sum();
    }
    // Somebody still types: the last word may be a beginning.
    const answer = await this.#desk.guarded(this.#desk.server.search({ ...asked, typing: true }, { signal }));
    if (signal.aborted) return;
    this.#busy = false;
    if (!(quietly && same(answer, this.#answer))) this.#take(answer, asked);
    this.#goesOn = setTimeout(() => this.#finish(asked, signal), FINISHED_MS);
  }

  /**
   * Nobody typed on: the last word is whole, so what sounds like it counts as well, and
   * lines are counted by person, part and so on.
   */
  async #finish(asked, signal) {
    const answer = await this.#desk.server.search({ ...asked, facets: true }, { signal }).catch(() => null);
    if (!answer || signal.aborted) return;
    this.#parts.narrow.count(answer.facets);
    const has = new Set(answer.hits.map(({ moment }) => moment));
    const begun = this.#answer?.hits ?? [];
    if (begun.length <= answer.hits.length && begun.every(({ moment }) => has.has(moment))) {
      if (!same(answer, this.#answer)) this.#take(answer, asked);
    }
  }

  async #more() {
    const answer = this.#answer;
    if (!answer) return;
    const offset = answer.hits.length;
    const asked = { ...this.#asked, typing: true, offset };
    const next = await this.#desk.guarded(this.#desk.server.search(asked, { signal: this.#asking.signal }));
    if (!next || this.#answer !== answer) return;
    // Behind the last that is paged through there may be more, but none to be shown.
    const goesOn = next.more && next.hits.length > 0;
    this.#take({ ...next, more: goesOn, hits: [...answer.hits, ...next.hits] }, this.#asked);
    this.#parts.hits.querySelectorAll(".hit")[offset]?.querySelector("button.play")?.focus();
  }

  #take(answer, asked) {
    this.#answer = answer;
    this.#asked = asked;
    this.#sum();
    const { hits, more, meant } = this.#parts;
    const acts = {
      shelf: !this.#desk.state.known.eventId || asked?.event === undefined,
      play: (spot) => this.#play(spot),
      collect: (hit, hearing) => this.#collect(hit, hearing),
      link: (hit) => this.#link(hit),
      here: (hit) => hit.event.id === this.#desk.state.known.eventId,
      go: (view, hit) => this.#go(view, hit),
    };
    showHits(hits, answer?.hits ?? [], acts);
    more.hidden = !answer || (answer.hits.length >= answer.total && !answer.more);
    const like = answer?.by_meaning?.hits ?? [];
    meant.hidden = like.length === 0;
    if (!meant.hidden) {
      const list = el("ol", { class: "hits", "aria-label": "Lines that mean the like" });
      meant.replaceChildren(el("h2", { id: "meant-title" }, "Means the like"), list);
      showHits(list, like, acts);
    }
    showPlaying(hits.parentElement, this.#desk.state.known.heard);
  }

  #sum() {
    this.#parts.hint.hidden = this.#answer !== null || this.#busy;
    this.#parts.summary.textContent = summary({
      answer: this.#answer,
      asked: this.#asked,
      busy: this.#busy,
      known: this.#desk.state.known,
    });
  }

  // -- what is done with a line --------------------------------------------------

  /** Shows a line in another view, in its own event. */
  async #go(view, hit) {
    const { state } = this.#desk;
    if (hit.event.id !== state.known.eventId) await this.#desk.choose(hit.event.id);
    if (hit.event.id !== state.known.eventId) return;
    this.#desk.go(view, { place: placeOf(hit, state.known.timeline) });
  }

  /** The matched words of a hearing, or `on` and on, by whoever has it best. */
  #play({ key, title, hearing, on = false, at = null }) {
    if (on && at !== null) {
      this.#desk.hear({ startMs: at, title });
      return;
    }
    const { recording, start_ms, end_ms } = hearing;
    this.#desk.hearFile(recording.id, start_ms, on ? null : end_ms, { key, title });
  }

  /** Puts the matched words into the cut list that is worked on. */
  #collect(hit, hearing) {
    const { moment, matched, runs_over } = hit;
    return collect(this.#desk, [{ moment, matched, runs_over, hearing: hearing?.recording.id ?? null }]);
  }

  #link(hit) {
    const place = placeOf(hit, this.#desk.state.known.timeline);
    return copy(this.#desk, linkTo(hit.event.id, place), position(place.ms));
  }

  // -- keys ----------------------------------------------------------------------

  #fromField(event) {
    if (event.key !== "ArrowDown") return;
    const first = this.#parts.hits.querySelector("button.play");
    if (!first) return;
    event.preventDefault();
    first.focus();
  }

  #key(event) {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const buttons = [...this.#parts.hits.parentElement.querySelectorAll("button.play")];
    const here = buttons.indexOf(document.activeElement);
    if (here < 0) return;
    const field = document.getElementById("query");
    let next = null;
    if (event.key === "ArrowDown") next = buttons[here + 1];
    else if (event.key === "ArrowUp") next = here === 0 ? field : buttons[here - 1];
    else if (event.key === "Escape") {
      if (sounds(this.#desk.state.known.heard)) this.#desk.player.stop();
      else next = field;
      event.preventDefault();
    }
    if (!next) return;
    event.preventDefault();
    next.focus();
    next.scrollIntoView({ block: "nearest" });
  }
}

/** What may be typed, while nothing is. */
function hint() {
  const line = (...about) => el("li", {}, ...about);
  return el(
    "ul",
    { class: "hint", "aria-label": "What may be typed" },
    line("Words as you remember them: in any order, some of them wrong, mis-spelled or only alike in sound."),
    line(el("kbd", {}, '"'), " around words that stood together, ", el("kbd", {}, "*"), " after a word for any ending."),
    line("No words at all, with a person, a part or a source on the left: all that is said there."),
    line(el("kbd", {}, "↓"), " to the lines, ", el("kbd", {}, "Enter"), " plays, ", el("kbd", {}, "Esc"), " stops and leads back."),
  );
}

/** What is asked for, as the server's parameters; null where nothing is. */
function parameters({ eventId, query, narrow }) {
  const { shelf, ...rest } = narrow;
  const words = query.trim();
  const any = Object.keys(rest).some((name) => !["sort", "best", "meaning"].includes(name));
  if (!eventId || (!words && !any)) return null;
  return { q: query, ...(shelf ? {} : { event: eventId }), ...rest };
}

/** Whether two answers hold the same hits, however long they took. */
function same(a, b) {
  return a && b && JSON.stringify([a.total, a.hits]) === JSON.stringify([b.total, b.hits]);
}

/** The matched words as a place to go to. */
function placeOf(hit, timeline) {
  if (hit.start_ms !== null) return { line: 0, ms: hit.start_ms, endMs: hit.end_ms };
  const { recording, start_ms, end_ms } = hit.heard_on[0];
  const on = (ms) => Math.round(timeline?.toLine(recording.id, ms) ?? ms);
  const line = timeline?.lineOf(recording.id) ?? `file:${recording.id}`;
  return { line, ms: on(start_ms), endMs: on(end_ms) };
}
