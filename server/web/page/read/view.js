// All that was said, in the order of the clock: to be read, heard, put right.

import { el } from "../dom.js";
import { Author } from "./author.js";
import { Details } from "./details.js";
import { Drafts } from "./drafts.js";
import { Edits } from "./edits.js";
import { Filters } from "./filters.js";
import { List } from "./list.js";
import { MomentPanel } from "./moment.js";
import { People } from "./people.js";
import { Picking } from "./picking.js";
import { Everything, Some, picked } from "./sequence.js";
import { Side, legend } from "./side.js";
import { Sounding } from "./sounding.js";
import { placeOf } from "./spoken.js";
import { Steps } from "./steps.js";

/** The place that others look at follows the focus after a rest of so long. */
const REST_MS = 350;

export class ReadView {
  #desk;
  #list;
  #details;
  #steps;
  #sounding;
  #picking;
  #edits;
  #panel;
  #people;
  #side;
  #filters;
  #empty = el("p", { class: "nothing-there", role: "status" });
  #place = null; // the place we set ourselves, or went to
  #reads = ""; // which sequence is read
  #resting;
  #opening = null;
  #described = null; // the word that the panel tells more of

  constructor(host, desk) {
    this.#desk = desk;
    const scroller = el("div", { class: "transcript", tabindex: "-1" });
    this.#list = new List(scroller, desk, {
      onRows: () => this.#rowsCame(),
      onSeen: () => this.#seen(),
      onScroll: () => this.#sounding.wander(),
    });
    this.#details = new Details(desk, (detail) => this.#wordsCame(detail));
    const author = new Author(desk);
    const drafts = new Drafts();
    this.#edits = new Edits(this.#list, desk, author, drafts, {
      fixed: (moments) => this.#fixed(moments),
      closed: (row) => this.#steps.to(row, this.#steps.id === row.id ? this.#steps.word : 0),
      changed: () => this.#side.showDrafts(drafts.of(desk.state.known.eventId)),
    });
    this.#picking = new Picking(this.#list, this.#details, desk);
    this.#steps = new Steps(scroller, this.#list, this.#onSteps());
    const follow = el("button", { id: "read-follow", type: "button", class: "quiet", "aria-pressed": "true" }, "Follow what sounds");
    this.#sounding = new Sounding(this.#list, desk, (on) => follow.setAttribute("aria-pressed", String(on)));
    follow.addEventListener("click", () => this.#sounding.follow(!this.#sounding.follows));
    this.#panel = new MomentPanel(this.#list, { desk, author, on: { fixed: (moments) => this.#fixed(moments), again: () => this.#list.reload() } });
    this.#people = new People(desk, author, {
      next: (person) => this.#nextOf(person),
      only: (person) => (this.#filters.person = person),
    });
    this.#side = new Side(this.#panel.node, this.#people.node, {
      go: (ms) => this.#goTo(ms),
      draft: (id, draft) => this.#edits.again(id, draft),
      drop: (id) => this.#edits.drop(id),
    });
    this.#filters = new Filters(follow, () => this.#open());
    scroller.addEventListener("click", (event) => this.#clicked(event));
    host.append(
      el("div", { class: "read-top" }, this.#filters.node, legend()),
      el("div", { class: "column" }, this.#empty, scroller, this.#picking.bar),
      this.#side.node,
    );
  }

  show(known, changed) {
    const any = (...names) => names.some((name) => changed.has(name));
    if (any("eventId")) this.#forget();
    if (any("people", "parts", "outline")) this.#filters.show(known);
    if (any("people", "outline", "detail")) this.#people.show(known);
    if (any("parts")) this.#side.showParts(known.parts);
    if (any("cuts", "cut")) this.#picking.showCuts(known);
    if (any("eventId")) this.#edits.showDrafts();
    if (any("heard")) this.#heard(known);
    if (!known.eventId || !known.detail) return this.#tellEmpty();
    const other = this.#reads !== this.#wanted(known);
    if (other) this.#open();
    else if (any("looked")) {
      this.#list.read(this.#sequence(known));
      this.#list.reload();
    }
    else if (any("parts", "people", "outline", "timeline")) this.#again();
    if (!other && any("place") && known.place !== this.#place) this.#toPlace(known.place);
    if (any("status")) this.#tellEmpty();
  }

  leave() {
    this.#sounding.hush();
  }

  time(ms) {
    this.#sounding.time(ms);
  }

  // -- what is read -----------------------------------------------------------------

  #forget() {
    this.#reads = "";
    this.#place = null;
    this.#opening = null;
    this.#list.clear();
    this.#filters.none();
    this.#picking.none();
  }

  /** Names the sequence: a choice by who or how well needs the outline. */
  #wanted({ eventId, parts, outline }) {
    const { choice, picks } = this.#filters;
    const part = choice.part === null ? null : parts[choice.part];
    return JSON.stringify([eventId, choice, part ?? null, picks && Boolean(outline)]);
  }

  #part({ parts }) {
    const { part } = this.#filters.choice;
    return part === null ? null : (parts[part] ?? null);
  }

  /** The moments that are read, by what is known now. */
  #sequence(known) {
    const { choice, picks } = this.#filters;
    const part = this.#part(known);
    return picks && known.outline
      ? new Some(this.#desk, known.eventId, picked(known.outline, { ...choice, part }))
      : new Everything(this.#desk, known.eventId, part);
  }

  async #open() {
    const { known } = this.#desk.state;
    if (!known.eventId) return;
    this.#reads = this.#wanted(known);
    const opening = this.#reads;
    this.#opening = opening;
    this.#filters.tell(0, true);
    const sequence = this.#sequence(known);
    const part = this.#part(known);
    const at = known.place?.line === 0 ? known.place.ms : 0;
    this.#list.clear();
    const row = await this.#list.open(sequence, Math.max(at, part?.start_ms ?? 0));
    if (this.#opening !== opening) return;
    this.#tellEmpty();
    this.#filters.tell(this.#list.total, false);
    if (row) await this.#arrive(row, known.place);
  }

  #again() {
    this.#list.redraw();
    this.#rowsCame();
  }

  async #toPlace(place) {
    if (!place) return;
    const { timeline } = this.#desk.state.known;
    // What lies on no common clock is found by its own line.
    const other = place.line === 0 ? null : this.#list.rows.find(({ moment }) => holds(placeOf(moment, timeline), place));
    if (other) return this.#arrive(other, place);
    if (place.line === 0) await this.#goTo(place.ms, place);
  }

  async #goTo(ms, place = null) {
    const row = await this.#list.goTo(ms);
    if (row) await this.#arrive(row, place ?? { line: 0, ms, endMs: null });
  }

  /** Makes a row the current one, at the word of an instant; picks a stretch. */
  async #arrive(row, place) {
    this.#place = this.#desk.state.known.place;
    this.#steps.to(row, 0, { focus: false });
    if (!place || place.line !== 0) return;
    const endMs = place.endMs ?? null;
    const rows = endMs === null ? [row] : this.#list.rows.filter(({ moment }) => moment.start_ms < endMs && moment.end_ms > place.ms);
    await Promise.all(rows.map(({ moment }) => this.#details.get(moment) ?? this.#details.load(moment.id)));
    this.#seen();
    const n = row.times?.words.findIndex((word) => word.endMs > place.ms) ?? -1;
    if (n > 0) this.#steps.to(row, n, { focus: false });
    if (endMs !== null) this.#picking.stretch(place.ms, endMs);
  }

  #nextOf(person) {
    const { outline, place } = this.#desk.state.known;
    const from = place?.line === 0 ? place.ms : -1;
    const who = outline?.people.findIndex(({ id }) => id === person) ?? -1;
    const after = (n) => outline.person[n] === who && outline.start_ms[n] > from;
    let ms = null;
    if (who >= 0) {
      let n = outline.start_ms.findIndex((_, at) => after(at));
      if (n < 0) n = outline.person.indexOf(who);
      ms = n < 0 ? null : outline.start_ms[n];
    } else {
      const rows = this.#list.rows.filter(({ moment }) => moment.person?.id === person && moment.start_ms !== null);
      ms = (rows.find(({ moment }) => moment.start_ms > from) ?? rows[0])?.moment.start_ms ?? null;
    }
    if (ms === null) this.#desk.tell("They say nothing, as far as is known.");
    else this.#desk.state.set({ place: { line: 0, ms, endMs: null } });
  }

  #tellEmpty() {
    const { eventId, status } = this.#desk.state.known;
    const none = this.#list.rows.length === 0;
    this.#empty.hidden = !none;
    if (!none) return;
    const open = status ? status.jobs.waiting + status.jobs.running : 0;
    if (!eventId) this.#empty.textContent = "There is no event yet: make one under “Add”.";
    else if (this.#filters.picks) this.#empty.textContent = "No moment is like this.";
    else if (open > 0) this.#empty.textContent = "Nothing is written down yet; the recordings are being listened to.";
    else this.#empty.textContent = "Nothing was said in this event, or nothing was added to it yet.";
  }

  // -- rows -----------------------------------------------------------------------

  #rowsCame() {
    for (const row of this.#list.rows) this.#fill(row);
    this.#edits.reopen();
    this.#picking.redraw();
    this.#steps.settle();
    this.#panel.refresh();
    this.#filters.tell(this.#list.total, false);
    this.#tellEmpty();
    this.#heard(this.#desk.state.known);
  }

  #seen() {
    const rows = this.#list.seen();
    this.#details.want(rows.map(({ moment }) => moment));
    for (const row of rows) this.#fill(row);
    this.#steps.settle();
  }

  #fill(row) {
    const detail = this.#details.get(row.moment);
    if (detail) row.showWords(detail, this.#desk.state.known.timeline);
  }

  #wordsCame(detail) {
    const row = this.#list.row(detail.id);
    if (!row) return;
    if (detail.version > row.moment.version) {
      row.moment = detail;
      this.#list.redraw();
    }
    row.showWords(detail, this.#desk.state.known.timeline);
    this.#edits.refresh(row);
    this.#picking.redraw();
    this.#steps.settle();
    if (row.id === this.#steps.id) this.#panel.refresh();
  }

  /** A moment became these, by what was done here. */
  #fixed(moments) {
    for (const moment of moments) {
      if (moment.words) this.#details.keep(moment);
      const row = this.#list.row(moment.id);
      if (row) row.moment = moment;
    }
    this.#again();
    this.#steps.hold();
    this.#list.reload();
    this.#desk.refreshSoon();
  }

  // -- what is done -----------------------------------------------------------------

  #onSteps() {
    return {
      onCurrent: (row, n) => this.#current(row, n),
      onPlay: (row, n) => this.#play(row, n),
      onEdit: (row) => this.#edits.open(row),
      onAnchor: (row, n) => this.#picking.anchor(row, n),
      onPick: (row, n) => this.#picking.upTo(row, n),
      onUnpick: () => this.#picking.none(),
    };
  }

  #current(row, n) {
    this.#described?.removeAttribute("aria-describedby");
    this.#described = row.stop(n) ?? null;
    this.#described?.setAttribute("aria-describedby", "read-word");
    this.#panel.show(row, n);
    clearTimeout(this.#resting);
    this.#resting = setTimeout(() => this.#setPlace(row, n), REST_MS);
  }

  #setPlace(row, n) {
    const { known } = this.#desk.state;
    // Only where the reader is: what was merely gone to has its place already.
    if (known.view !== "read" || !row.node.contains(document.activeElement)) return;
    const where = placeOf(row.moment, known.timeline);
    if (!where) return;
    const ms = Math.round(row.times?.words[n]?.startMs ?? where.startMs);
    this.#place = { line: row.times?.line ?? where.line, ms, endMs: null };
    this.#desk.state.set({ place: this.#place });
  }

  /** Plays from a word to the end of all that follows on this line. */
  #play(row, n = null) {
    const where = placeOf(row.moment, this.#desk.state.known.timeline);
    if (!where) return;
    const { line, startMs, endMs } = row.times ? { ...where, line: row.times.line } : where;
    const word = n === null ? null : row.times?.words[n];
    this.#sounding.follow(true);
    // From a word on it plays through what follows, so its title is no moment's text.
    if (word) this.#desk.hear({ line, startMs: word.startMs, endMs: null, title: `from “${row.stop(n).textContent}” on` });
    else this.#desk.hear({ line, startMs, endMs, key: `read/${row.id}`, title: row.moment.text ?? "" });
  }

  #heard({ heard }) {
    const key = heard?.playing ? heard.key : null;
    for (const row of this.#list.rows) row.plays = key === `read/${row.id}`;
    if (!heard?.playing && !heard?.paused) this.#sounding.hush();
  }

  #clicked(event) {
    const row = event.target.closest(".utterance")?.row;
    if (!row) return;
    if (event.target.closest(".play")) return this.#play(row);
    if (event.target.closest(".edit")) return this.#edits.open(row);
    if (event.target.closest(".confirm")) return this.#panel.tell(row, row.moment.person.id);
    const word = event.target.closest(".word");
    if (!word || !getSelection().isCollapsed || event.shiftKey) return;
    this.#play(row, row.stops.indexOf(word));
  }
}

const holds = (where, { line, ms }) => where !== null && where.line === line && ms >= where.startMs && ms < where.endMs;
