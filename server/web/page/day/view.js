// The whole day: every recording as a row on the event clock, and what each has at one
// instant. Joins the board with what is said, what is selected and what is done with it.

import { el } from "../dom.js";
import { sounds } from "../shell/desk.js";
import { position } from "../written.js";
import { Apart } from "./apart.js";
import { Board } from "./board.js";
import { Clock } from "./clock.js";
import { Hand } from "./hand.js";
import { Instant, spokenAt } from "./instant.js";
import { Parts } from "./parts.js";
import { Peaks } from "./peaks.js";
import { nextProblem, noProblem, problemTold, problemsOf } from "./problems.js";
import { Said, beside } from "./said.js";
import { Scale } from "./scale.js";
import { Stretch } from "./stretch.js";
import { Tools } from "./tools.js";
import { emptyTold, rowsOf } from "./tracks.js";

/** A step of an arrow key, as a share of what is seen. */
const STEP = 1 / 100;
/** A key that is held down tells the rest of the page after so long a rest, ms. */
const REST_MS = 90;
/** What is seen at once where one looks for words, ms. */
const WORDS_SPAN_MS = 9000;

export class DayView {
  #desk;
  #known;
  #scale = new Scale();
  #rows = [];
  #problems = [];
  #follows = false;
  #waveKey = "";
  #cursor = null; // ms; ahead of `place` while a key is held down
  #anchor = null; // where a stretch was begun by keys
  #moving = null; // the end of it that keys move
  #stretch = null; // {startMs, endMs}; ahead of `place` while it is dragged
  #resting = 0;
  #event = null;
  #read = null; // the first request for waves
  #inSight = false;
  #wasDrawn = false;

  constructor(host, desk) {
    this.#desk = desk;
    this.#known = desk.state.known;
    this.said = new Said(desk.server, () => this.#arrived());
    this.peaks = new Peaks(desk.server, (recording) => this.#waves(recording));
    this.board = new Board(this.#scale, this.peaks, this.said, {
      onHear: (recording) => this.#hearOn(recording),
      onResize: () => this.#scaled(),
      onDrawn: (how) => this.#drawn(how),
    });
    this.instant = new Instant(this.said, this.peaks, (recording) => this.#hearOn(recording));
    this.parts = new Parts(desk, (start, end) => this.#frame(start, end));
    this.stretch = new Stretch(desk, {
      onBounds: (start, end) => this.#select(start, end, true),
      onClear: () => this.#clear(),
      onPart: (name, stretch) => this.parts.make(name, stretch),
    });
    this.tools = new Tools(this.#tools());
    this.apart = new Apart(desk);
    this.clock = new Clock(desk);
    this.board.host.append(el("div", { class: "pan-bar" }, this.tools.pan));
    this.empty = el("p", { class: "summary", id: "day-empty" });
    this.field = el("div", { class: "field-day" }, this.board.host, this.apart.host, this.parts.host, this.clock.host);
    this.dock = el("div", { class: "dock" }, this.instant.host, this.stretch.host);
    host.append(
      el("h2", { class: "unseen" }, "The day"),
      this.empty,
      this.tools.host,
      el("div", { class: "desk-day" }, el("div", { class: "main-day" }, this.field), this.dock),
    );
    new Hand(this.board, this.#hand());
    new ResizeObserver(() => this.board.room(this.field.clientHeight)).observe(this.field);
  }

  // -- what is known -----------------------------------------------------------

  enter() {
    this.#inSight = true;
    this.board.dirty();
  }

  leave() {
    this.#inSight = false;
    this.peaks.want([]);
  }

  show(known, changed) {
    this.#known = known;
    const any = (...names) => names.some((name) => changed.has(name));
    if (known.eventId !== this.#event) this.#choose(known);
    if (any("clock", "detail")) this.#showRows(known);
    if (any("outline", "people", "looked")) this.said.renew();
    if (any("outline", "people")) this.#problems = problemsOf(known.outline);
    if (any("outline", "parts", "timeline", "people", "eventId")) this.board.know(known);
    if (any("place")) this.#placed(known.place);
    if (any("heard", "clock")) this.#heard(known);
    if (any("clock", "detail")) {
      this.clock.show(known);
      this.apart.show(known);
    }
    if (any("parts", "place")) this.parts.show(known, this.#stretch);
    if (any("place", "heard", "cuts", "cut")) this.stretch.show(known, this.#stretch);
    if (any("place", "heard", "outline", "timeline", "detail")) this.#tellInstant();
    if (any("outline", "clock")) this.#scaled();
    if (any("looked")) this.#arrived();
  }

  /** Marks for measuring when all that is seen was drawn first, as fine as it gets. */
  #drawn({ waiting, waves }) {
    if (this.#wasDrawn || !waves || waiting > 0) return;
    this.#wasDrawn = true;
    performance.mark("day drawn");
  }

  #choose({ eventId, events }) {
    this.#event = eventId;
    this.peaks.forget();
    // Waves are on their way while the server still says where they lie.
    const count = events?.find(({ id }) => id === eventId)?.counts.recordings ?? 0;
    this.#read = count > 0 ? this.#desk.guarded(this.peaks.read(eventId, count)) : null;
    this.said.choose(eventId);
    [this.#cursor, this.#stretch] = [null, null];
    this.#scale.fit();
    this.#waveKey = "";
  }

  #showRows({ clock, detail, eventId }) {
    this.#rows = rowsOf(clock, detail);
    const start = Math.min(0, ...this.#rows.map(({ startMs }) => startMs));
    const end = Math.max(clock?.length_ms ?? 0, ...this.#rows.map(({ endMs }) => endMs), 1);
    this.#scale.extend(start, end);
    this.board.show(this.#rows);
    this.board.room(this.field.clientHeight);
    this.board.glass.setAttribute("aria-valuemin", Math.round(start));
    this.board.glass.setAttribute("aria-valuemax", Math.round(end));
    const none = this.#rows.length === 0;
    this.tools.host.hidden = none;
    this.tools.pan.hidden = none;
    this.board.host.hidden = none;
    this.dock.hidden = none;
    this.empty.hidden = !none;
    this.empty.textContent = emptyTold({ clock, detail });
    // Waves are read again once another recording has been listened through.
    const heard = (detail?.recordings ?? []).map(({ id, state, segments }) => `${id} ${state} ${segments}`);
    const key = heard.join("\n");
    if (key === this.#waveKey || !eventId || none) return;
    const first = this.#waveKey === "";
    this.#waveKey = key;
    this.#readWaves(eventId, heard.length, first);
  }

  /** Those asked for first will do, if all were there by then. */
  async #readWaves(eventId, count, first) {
    if (first && this.#read !== null) await this.#read;
    const lacking = this.#rows.some(({ id }) => !this.peaks.has(id));
    if (eventId !== this.#event || (first && !lacking)) return;
    await this.#desk.guarded(this.peaks.read(eventId, count));
  }

  #waves(recording) {
    this.board.dirty({ lanes: false });
    if (recording === null) this.#tellInstant();
  }

  #arrived() {
    if (!this.#inSight) return;
    if (this.board.showsWords) this.board.dirty({ rows: false });
    this.#tellInstant();
  }

  #placed(place) {
    const here = place?.line === 0 ? place : null;
    const other = here?.ms !== this.#cursor;
    this.#cursor = here?.ms ?? null;
    this.#stretch = here && here.endMs > here.ms ? { startMs: here.ms, endMs: here.endMs } : null;
    if (this.#stretch === null) this.#unhold();
    else {
      // Keys go on from the stretch that is seen, however it was made.
      const { startMs, endMs } = this.#stretch;
      const ends = [this.#anchor, this.#moving];
      if (Math.min(...ends) !== startMs || Math.max(...ends) !== endMs) [this.#anchor, this.#moving] = [startMs, endMs];
    }
    // Who comes here by a link or from a line that was found sees it.
    if (other && here && !this.#scale.sees(here.ms)) {
      if (this.#stretch) this.#scale.frame(here.ms, here.endMs);
      else this.#scale.bring(here.ms);
      this.#scaled();
    }
    this.board.move({ cursor: this.#cursor, stretch: this.#stretch });
    this.#tellCursor();
  }

  #heard({ heard }) {
    const active = sounds(heard);
    this.board.mark(active ? heard.recording : null, heard?.playing ?? false);
    if (!active || heard.line !== 0) this.board.move({ head: null });
    else if (heard.paused || this.board.at.head === null) this.board.move({ head: heard.ms });
  }

  /** What sounds now. */
  time(ms) {
    if (this.#known.heard?.line !== 0) return;
    this.board.move({ head: ms });
    if (!this.#follows) return;
    // It turns over like a page: nothing glides.
    const x = this.#scale.x(ms) / this.#scale.width;
    if (x < 0 || x > 0.92) {
      this.#scale.bring(ms, 0.08);
      this.#scaled();
    }
  }

  #tellInstant() {
    if (!this.#inSight) return;
    this.instant.show(this.#known, new Map(this.#rows.map(({ id }, n) => [id, n])));
    this.#tellCursor();
  }

  #tellCursor() {
    const { glass } = this.board;
    const ms = this.#cursor ?? 0;
    glass.setAttribute("aria-valuenow", Math.round(ms));
    const stretch = this.#stretch ? `, stretch to ${position(this.#stretch.endMs)}` : "";
    const spoken = this.#known.outline ? `, ${spokenAt(this.#known.outline, ms, this.said)}` : "";
    glass.setAttribute("aria-valuetext", `${position(ms)}${stretch}${spoken}`);
  }

  #scaled() {
    this.board.dirty();
    this.tools.show({ scale: this.#scale, follows: this.#follows, problems: this.#problems.length });
  }

  // -- what is done ------------------------------------------------------------

  #hand() {
    return {
      land: (ms, recording, { extend }) => {
        if (extend && this.#cursor !== null) this.#extendTo(ms);
        else this.#land(ms, recording);
      },
      hear: (ms, recording) => this.#hearFrom(ms, recording),
      select: (from, to, done) => this.#select(from, to, done),
      undrag: () => this.#undrag(),
      step: (direction, { extend, far }) =>
        this.#go((this.#moving ?? this.#cursor ?? this.#scale.from) + direction * this.#scale.span * (far ? 0.9 : STEP), extend),
      jump: (direction, { extend }) => this.#go(this.#beside(direction), extend),
      edge: (direction, { extend }) => this.#go(direction < 0 ? this.#scale.start : this.#scale.end, extend),
      zoom: (factor, ms) => this.#zoom(factor, ms),
      pan: (ms) => {
        this.#scale.pan(ms);
        this.#scaled();
      },
      clear: () => this.#clear(),
    };
  }

  #tools() {
    return {
      whole: () => {
        this.#scale.fit();
        this.#scaled();
      },
      zoom: (factor) => this.#zoom(factor, null),
      words: () => {
        const at = this.#now();
        this.#scale.frame(at - WORDS_SPAN_MS / 2.4, at + WORDS_SPAN_MS / 2.4);
        this.#scaled();
      },
      here: () => {
        this.#scale.bring(this.#now());
        this.#scaled();
      },
      page: (direction) => {
        this.#scale.pan(direction * this.#scale.span * 0.8);
        this.#scaled();
      },
      panTo: (share) => {
        const { start, end, span } = this.#scale;
        this.#scale.pan(start + share * Math.max(end - start - span, 0) - this.#scale.from);
        this.#scaled();
      },
      follow: () => {
        this.#follows = !this.#follows;
        this.#scaled();
      },
      problem: (direction) => this.#toProblem(direction),
    };
  }

  /** Where one is: what sounds, else the cursor, else the middle of what is seen. */
  #now() {
    const { heard } = this.#known;
    if (sounds(heard) && heard.line === 0) return this.board.at.head ?? heard.startMs;
    return this.#cursor ?? this.#scale.from + this.#scale.span / 2;
  }

  #zoom(factor, ms) {
    const about = ms ?? this.#now();
    this.#scale.zoom(factor, ms === null && !this.#scale.sees(about) ? this.#scale.from + this.#scale.span / 2 : about);
    this.#scaled();
  }

  #frame(start, end) {
    this.#scale.frame(start, end);
    this.#scaled();
  }

  /** One press: the cursor lands; what sounds goes on from there, on the row pressed. */
  #land(ms, recording) {
    const at = Math.round(Math.min(Math.max(ms, this.#scale.start), this.#scale.end));
    this.#unhold();
    this.#desk.state.set({ place: { line: 0, ms: at } });
    const { heard } = this.#known;
    if (!heard?.playing || heard.line !== 0) return;
    if (recording && recording !== heard.recording && this.#runs(recording, at)) this.#hearFrom(at, recording);
    else this.#desk.player.seek(at);
  }

  #hearFrom(ms, recording) {
    const at = Math.round(ms ?? this.#cursor ?? this.#scale.from);
    if (ms !== null) this.#desk.state.set({ place: { line: 0, ms: at } });
    const on = recording && this.#runs(recording, at) ? recording : null;
    const whole = ms === null && this.#stretch;
    this.#desk.hear({ line: 0, startMs: at, endMs: whole ? this.#stretch.endMs : null, recording: on });
  }

  /** The play button of a row or of a source at the instant: from where one is. */
  #hearOn(recording) {
    const { heard } = this.#known;
    if (sounds(heard) && heard.line === 0) {
      if (heard.recording === recording) this.#desk.player.toggle();
      else if (this.#runs(recording, this.board.at.head ?? heard.ms)) {
        if (this.#desk.player.switchTo(recording) && heard.paused) this.#desk.player.resume();
      } else this.#desk.tell("This recording does not run at this instant.");
      return;
    }
    const row = this.#rows.find(({ id }) => id === recording);
    const at = this.#cursor ?? row?.startMs ?? 0;
    if (this.#runs(recording, at)) this.#desk.hear({ line: 0, startMs: at, recording });
    else this.#desk.tell("This recording does not run where you are: press on its row first.");
  }

  #runs(recording, ms) {
    return this.#known.timeline?.at(0, ms).some((running) => running.recording === recording) ?? false;
  }

  #select(from, to, done) {
    const clamp = (ms) => Math.round(Math.min(Math.max(ms, this.#scale.start), this.#scale.end));
    const [startMs, endMs] = [clamp(Math.min(from, to)), clamp(Math.max(from, to))];
    if (endMs <= startMs) {
      if (done) this.#undrag();
      return;
    }
    if (done) {
      this.#desk.state.set({ place: { line: 0, ms: startMs, endMs } });
      return;
    }
    this.#cursor = startMs;
    this.#stretch = { startMs, endMs };
    this.board.move({ cursor: startMs, stretch: this.#stretch });
    this.stretch.show(this.#known, this.#stretch);
  }

  /** A drag came to nothing: what was there before it is there again. */
  #undrag() {
    const { place } = this.#known;
    this.#cursor = place?.line === 0 ? place.ms : null;
    this.#placed(place);
    this.stretch.show(this.#known, this.#stretch);
  }

  /** Whether there was a stretch. */
  #clear() {
    const { place } = this.#known;
    const had = place?.line === 0 && Boolean(place.endMs);
    if (had) this.#desk.state.set({ place: { line: 0, ms: place.ms } });
    return had;
  }

  // -- by keys -----------------------------------------------------------------

  /** Moves the cursor at once, and tells the rest of the page once it rests. */
  #go(ms, extend) {
    const at = Math.round(Math.min(Math.max(ms, this.#scale.start), this.#scale.end));
    if (extend) {
      this.#extendTo(at);
      return;
    }
    this.#unhold();
    this.#cursor = at;
    this.#stretch = null;
    this.#bringCursor(at);
    this.board.move({ cursor: at, stretch: null });
    this.#tellCursor();
    this.#rest({ line: 0, ms: at });
  }

  #unhold() {
    [this.#anchor, this.#moving] = [null, null];
  }

  #extendTo(ms) {
    this.#anchor ??= this.#cursor ?? ms;
    const at = Math.round(Math.min(Math.max(ms, this.#scale.start), this.#scale.end));
    this.#moving = at;
    const [startMs, endMs] = [Math.min(this.#anchor, at), Math.max(this.#anchor, at)];
    this.#bringCursor(at);
    this.#cursor = startMs;
    this.#stretch = endMs > startMs ? { startMs, endMs } : null;
    this.board.move({ cursor: startMs, stretch: this.#stretch });
    this.#tellCursor();
    this.#rest(this.#stretch ? { line: 0, ms: startMs, endMs } : { line: 0, ms: startMs });
  }

  #rest(place) {
    clearTimeout(this.#resting);
    this.#resting = setTimeout(() => {
      this.#desk.state.set({ place });
      const { heard } = this.#known;
      if (heard?.playing && heard.line === 0 && !place.endMs) this.#desk.player.seek(place.ms);
    }, REST_MS);
  }

  #bringCursor(ms) {
    if (this.#scale.sees(ms)) return;
    this.#scale.bring(ms, ms < this.#scale.from ? 0.85 : 0.15);
    this.#scaled();
  }

  /** Where the next moment begins, or the one before. */
  #beside(direction) {
    const { outline } = this.#known;
    const at = this.#moving ?? this.#cursor ?? this.#scale.from;
    if (!outline?.start_ms.length) return at + direction * this.#scale.span * STEP;
    return beside(outline.start_ms, at, direction, this.#scale);
  }

  #toProblem(direction) {
    const problem = nextProblem(this.#problems, this.#cursor ?? (direction > 0 ? -Infinity : Infinity), direction);
    if (!problem) return this.#desk.tell(noProblem(direction));
    this.#desk.state.set({ place: { line: 0, ms: problem.startMs } });
    if (!this.#scale.sees(problem.endMs)) this.#frame(problem.startMs - 20_000, problem.endMs + 20_000);
    this.#desk.tell(`${position(problem.startMs)} to ${position(problem.endMs)}: ${problemTold(problem)}`);
  }
}
