// Plays along a line, from whichever recording, without gaps: what views use. See
// DEVELOPERS.md, 'Listening on the page'. A line is a clock that recordings share
// (timeline.js). The sound itself is the deck's.

import { Timeline } from "../timeline.js";
import { Deck, Over } from "./deck.js";
import { about, Plan } from "./plan.js";

/** What film recorders run at, Hz: the samples of such files are played untouched. */
const RATE = 48_000;
/** Where the gain changes, it changes within, s. */
const GAIN_S = 0.02;
const TICK_MS = 50;
/** The context runs on so long after the last sound, ms. */
const AWAKE_MS = 10_000;

const nothing = () => {};
const stillness = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

export class Player {
  #on;
  #settings;
  #deck = null;
  #timeline = new Timeline();
  #plan = null;
  /** `stopped`, `playing` or `paused`. */
  #mode = "stopped";
  /** Where it rests, and where it goes on from. */
  #rest = null;
  #speed = 1;
  #loop = false;
  #match = false;
  #timer = null;
  #asleep = null;
  #framing = false;
  #told = "";
  #toldSpot = null;
  /** Beginnings in a row that had no sound left. */
  #overs = 0;

  /**
   * `onChange(state)`; `onTime(lineMs)` for each picture while it plays; `onTrouble(text)`;
   * `best(line, ms)` names the recording that hears that instant best, or null.
   * `sampleRate` in Hz; `cacheBytes` bounds the sound kept; `tap(context, node)` is
   * given the node through which everything goes.
   */
  constructor({
    onChange = nothing,
    onTime = nothing,
    onTrouble = nothing,
    best = () => null,
    sampleRate = RATE,
    cacheBytes = undefined,
    tap = nothing,
  } = {}) {
    this.#on = { change: onChange, time: onTime, trouble: onTrouble, best };
    this.#settings = { sampleRate, cacheBytes, tap };
  }

  /** Where recordings lie. What sounds goes on. */
  setTimeline(timeline) {
    this.#timeline = timeline;
    this.#tell();
  }

  /**
   * Plays from `startMs` of a line (0 is the event clock) to `endMs`, or on and on,
   * from a recording or, where that is null, from whoever hears it best.
   */
  play({ loop = false, ...spot }) {
    this.#loop = loop;
    this.#open(new Plan(this.#timeline, [spot]), 0);
  }

  /**
   * Plays spots back to back, each `{recording, line, startMs, endMs}` or `{recording,
   * fileStartMs, fileEndMs}`, with `key` and `title`. `onSpot(number, spot)` when one
   * begins to be heard.
   */
  playList(spots, { onSpot = nothing, loop = false, from = 0 } = {}) {
    if (spots.length === 0) return;
    this.#loop = loop;
    this.#open(new Plan(this.#timeline, spots, { list: true, onSpot }), from);
  }

  nextSpot() {
    this.#leap(1);
  }

  previousSpot() {
    this.#leap(-1);
  }

  /** Pauses or goes on; what has ended begins anew. */
  toggle() {
    if (this.#mode === "playing") this.pause();
    else if (this.#mode === "paused") this.resume();
    else if (this.#plan) this.#open(this.#plan, 0);
  }

  pause() {
    if (this.#mode !== "playing") return;
    const { goal, coming, aim } = this.#deck;
    this.#rest = goal ?? (coming ? { ...coming, recording: aim } : this.#rest);
    this.#deck.hush();
    this.#quiet("paused");
  }

  resume() {
    if (this.#mode !== "paused" || !this.#rest) return;
    this.#wake();
    this.#mode = "playing";
    this.#deck.swap({ ...this.#rest });
    this.#tell();
  }

  stop() {
    if (this.#mode === "stopped") return;
    this.#rest = this.#here();
    this.#deck?.hush();
    this.#quiet("stopped");
  }

  /** Goes to an instant of the line; one outside a stretch leaves the stretch. */
  seek(ms) {
    const here = this.#here();
    if (this.#mode === "stopped" || !here) return;
    const spot = this.#plan.spots[here.spot];
    const outside = ms < spot.startMs || (spot.endMs !== null && ms >= spot.endMs);
    let to = ms;
    if (outside && this.#plan.list) to = Math.max(spot.startMs, Math.min(ms, spot.endMs - 1));
    else if (outside) Object.assign(spot, { startMs: ms, endMs: null });
    this.#enter(here.spot, to);
  }

  /** Hears the same instant from another recording; false where that has it not. */
  switchTo(recording) {
    const here = this.#here();
    if (this.#mode === "stopped" || !here) return false;
    if (this.#timeline.runs(recording, here.ms) === null) {
      const { file } = this.#timeline.recording(recording);
      this.#on.trouble(`${file || "That recording"} does not run at this instant.`);
      return false;
    }
    this.#plan.bad.delete(recording);
    this.#deck.chunks.tryAgain();
    if (this.#mode === "paused") {
      this.#pick(here.spot, recording);
      this.#rest = { ...here, recording };
      this.#tell();
      return true;
    }
    const { spot, ms } = this.#deck.goal ?? { spot: here.spot, ms: null };
    this.#deck.swap({ spot, ms, recording, picked: true });
    this.#tell();
    return true;
  }

  /** The source after, or before, in the order of the timeline. */
  nextSource() {
    this.#step(1);
  }

  previousSource() {
    this.#step(-1);
  }

  /** Follows the best hearing again, from moment to moment. */
  follow() {
    if (!this.#plan || this.#plan.list) return;
    this.#plan.spots[0].recording = null;
    this.#plan.follows = true;
    this.#tell();
  }

  /** 0.5 to 2 times as fast, at the same pitch. */
  setSpeed(speed) {
    const wanted = Math.min(2, Math.max(0.5, Number(speed) || 1));
    if (wanted === this.#speed) return;
    this.#speed = wanted;
    this.#again(undefined);
  }

  /** Whether a stretch, or a list, begins again when it ends. */
  setLoop(loop) {
    if (Boolean(loop) === this.#loop) return;
    this.#loop = Boolean(loop);
    if (this.#mode === "playing") {
      this.#deck.unfollow();
      this.#deck.pump();
    }
    this.#tell();
  }

  /** Whether sources are made equally loud. */
  setMatch(match) {
    if (Boolean(match) === this.#match) return;
    this.#match = Boolean(match);
    this.#again(GAIN_S);
  }

  /** What is heard now: times in ms of `line`, gain in dB. */
  get state() {
    const here = this.#here();
    const spot = about(this.#plan?.spots[here?.spot ?? 0]);
    const sources = here ? this.#timeline.at(spot.line, here.ms) : [];
    const { gainDb, limited } = here?.gain ?? { gainDb: 0, limited: null };
    const playing = this.#mode === "playing";
    return {
      ...spot,
      key: this.#mode === "stopped" ? null : spot.key,
      playing,
      paused: this.#mode === "paused",
      waiting: playing && this.#deck.waiting,
      ms: here?.ms ?? 0,
      recording: here?.recording ?? null,
      sources: sources.map(({ recording, source, file }) => ({ recording, source, file })),
      speed: this.#speed,
      loop: this.#loop,
      match: this.#match,
      gainDb,
      limited,
      follows: this.#plan?.follows ?? false,
      spot: here?.spot ?? 0,
      spots: this.#plan?.spots.length ?? 0,
    };
  }

  /** Bytes of sound kept, and the most that ever are. */
  get memory() {
    const { bytes, limitBytes } = this.#deck?.chunks ?? { bytes: 0, limitBytes: 0 };
    return { bytes, limitBytes };
  }

  /** `{spot, recording, ms}` of what a person hears, or would hear. */
  #here() {
    if (this.#mode !== "playing") return this.#rest;
    return this.#deck.goal ?? this.#deck.heard ?? this.#rest;
  }

  #wake() {
    this.#deck ??= new Deck(this.#guide(), this.#settings);
    this.#deck.speed = this.#speed;
    this.#deck.match = this.#match;
    this.#deck.wake();
    clearTimeout(this.#asleep);
    this.#timer ??= setInterval(() => this.#tick(), TICK_MS);
    if (!this.#framing && !stillness()) {
      this.#framing = true;
      requestAnimationFrame(() => this.#frame());
    }
  }

  #quiet(mode) {
    this.#mode = mode;
    clearInterval(this.#timer);
    this.#timer = null;
    clearTimeout(this.#asleep);
    this.#asleep = setTimeout(() => this.#deck.sleep(), AWAKE_MS);
    this.#tell();
  }

  #open(plan, from) {
    plan.bad.clear();
    this.#plan = plan;
    this.#rest = null;
    this.#toldSpot = null;
    this.#mode = "playing";
    this.#wake();
    this.#deck.forget();
    this.#deck.chunks.tryAgain();
    this.#enter(Math.min(from, plan.spots.length - 1));
    this.#tell();
  }

  #leap(by) {
    const here = this.#here();
    if (this.#mode === "stopped" || !here) return;
    const to = here.spot + by;
    if (to >= 0 && to < this.#plan.spots.length) this.#enter(to);
  }

  #step(by) {
    const { sources, playing, recording: heard } = this.state;
    if (sources.length === 0) return;
    // Two quick steps are two, though the first is not heard yet.
    const recording = playing ? this.#deck.aim : heard;
    const at = sources.findIndex((source) => source.recording === recording);
    const from = at < 0 && by < 0 ? 0 : at;
    const next = sources[(from + by + sources.length) % sources.length];
    if (next.recording !== recording) this.switchTo(next.recording);
  }

  #pick(index, recording) {
    this.#plan.spots[index].recording = recording;
    this.#plan.follows = false;
  }

  #choose(index, ms, options) {
    return this.#plan.choose(this.#timeline, this.#on.best, index, ms, options);
  }

  /** Goes to a spot, to its start or to an instant in it. */
  #enter(index, ms = this.#plan.spots[index].startMs) {
    const to = this.#choose(index, ms);
    if (!to) {
      this.#on.trouble("Nothing was recorded at this instant.");
      this.#leave(index);
    } else if (this.#mode === "playing") {
      this.#deck.swap(to);
      this.#tell();
    } else {
      this.#rest = to;
      this.#tell();
      this.#on.time(to.ms);
    }
  }

  /** Goes on after a spot that can't be heard. */
  #leave(index) {
    const next = this.#plan.list ? this.#plan.after(index, false) : null;
    if (next === null) this.stop();
    else this.#enter(next);
  }

  /** What sounds, from here on by what was set. */
  #again(fadeS) {
    if (this.#deck) {
      this.#deck.speed = this.#speed;
      this.#deck.match = this.#match;
    }
    const here = this.#mode === "playing" && !this.#deck.goal ? this.#deck.coming : null;
    if (here) this.#deck.swap({ spot: here.spot, recording: here.recording, ms: null, fadeS });
    this.#tell();
  }

  /** What the deck asks while it plays. */
  #guide() {
    const player = this;
    return {
      get timeline() {
        return player.#timeline;
      },
      stretch: (index) => player.#plan.spots[index],
      after: (place, wholly) => player.#after(place, wholly),
      wish: (place) => player.#wish(place),
      began: (want) => player.#began(want),
      refused: (want, error, silent) => player.#refused(want, error, silent),
      ended: () => player.stop(),
    };
  }

  #after({ spot, recording, ms }, wholly) {
    // The file ended before what was asked for did.
    if (!wholly) {
      const other = this.#choose(spot, ms, { without: recording });
      if (other) return other;
    }
    const next = this.#plan.after(spot, this.#loop);
    return next === null ? null : this.#choose(next, this.#plan.spots[next].startMs);
  }

  #wish({ spot, ms }) {
    if (!this.#plan.follows) return null;
    const wanted = this.#on.best(this.#plan.spots[spot].line, ms);
    if (!wanted || this.#plan.bad.has(wanted)) return null;
    return this.#timeline.runs(wanted, ms) === null ? null : wanted;
  }

  #began({ spot, recording, picked = false }) {
    this.#overs = 0;
    if (picked) this.#pick(spot, recording);
    this.#tell();
  }

  /** Tells once that a recording can't be heard, and goes on with others. */
  #refused({ spot, recording, ms }, error, silent) {
    if (error instanceof Over) {
      if (silent && ms !== null && this.#mode === "playing") this.#pass({ spot, recording, ms });
      return;
    }
    if (!this.#plan.bad.has(recording)) {
      this.#plan.bad.add(recording);
      this.#on.trouble(error.message);
    }
    if (this.#mode !== "playing") return;
    if (!silent) this.#tell();
    else if (this.#plan.follows && ms !== null && this.#choose(spot, ms)) this.#enter(spot, ms);
    else this.#leave(spot);
  }

  /** Goes on from an instant at which its recording has ended. */
  #pass(place) {
    this.#overs += 1;
    const next = this.#overs <= this.#plan.spots.length ? this.#after(place, false) : null;
    if (next) this.#deck.swap(next);
    else this.stop();
  }

  #tick() {
    if (this.#mode !== "playing") return;
    this.#deck.pump();
    if (this.#mode !== "playing") return;
    this.#fetchAhead();
    this.#tell();
    if (stillness() || document.hidden) this.#tellTime();
  }

  /** The other sources that run now, and what a list plays next. */
  #fetchAhead() {
    const here = this.#here();
    if (!here) return;
    const next = this.#plan.after(here.spot, this.#loop);
    const coming = next === null ? null : this.#choose(next, this.#plan.spots[next].startMs);
    const running = this.#timeline.at(this.#plan.spots[here.spot].line, here.ms);
    const others = running
      .filter(({ recording }) => recording !== here.recording && !this.#plan.bad.has(recording))
      .map(({ recording }) => ({ recording, ms: here.ms, spot: here.spot }));
    this.#deck.fetchAhead(coming ? [coming, ...others] : others);
  }

  #frame() {
    this.#framing = this.#mode === "playing";
    if (!this.#framing) return;
    this.#tellTime();
    requestAnimationFrame(() => this.#frame());
  }

  #tellTime() {
    const here = this.#here();
    if (here) this.#on.time(here.ms);
  }

  /** Tells what has changed beside the time. */
  #tell() {
    const { state } = this;
    const { ms, ...rest } = state;
    const said = JSON.stringify(rest);
    if (said !== this.#told) {
      this.#told = said;
      this.#on.change(state);
    }
    if (!state.playing || state.waiting || !this.#plan.list || this.#toldSpot === state.spot) return;
    this.#toldSpot = state.spot;
    this.#plan.onSpot(state.spot, this.#plan.spots[state.spot]);
  }
}
