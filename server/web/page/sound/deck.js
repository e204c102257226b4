// Lays sound down on the clock of the audio context, ahead of what is heard.
//
// Samples of the recording that sounds are played one after the other as they are in
// its file, and the place on the line is worked out from them: clocks that drift
// apart never add up. Everything that changes what sounds (another source, another
// place, another speed, level matching) is one thing, a swap: from one frame on a new
// voice is faded in while the old one is faded out, both at the same instant of the
// line. What is to be heard it asks its guide, which is the player.

import { Gains } from "./gains.js";
import { Reader } from "./reader.js";
import { exactFrame, JOINT_S, Voice } from "./voice.js";

/** Sound laid down ahead, s; more where the page is hidden and its timers are slowed. */
const AHEAD_S = 1;
const AHEAD_HIDDEN_S = 4;
/** From now to what begins next, s: it must be laid down before. */
const LEAD_S = 0.02;
/** From one source to another at the same instant, s. Straight lines add up to one, so
 * that two copies of the same sound are never louder than one. */
export const FADE_S = 0.015;
/** Fetched so long before it is laid down, s. */
const FETCH_S = 3;
/** Sources whose sound is kept at hand, and requests for them at once. */
const AT_HAND = 8;
const REQUESTS = 3;
/** Samples that a beginning may be put off by to be exact, and more. */
const NEAR = 64;

const nothing = () => {};

/** A recording ends before the instant that is wanted. */
export class Over extends Error {}

export class Deck {
  #context;
  #out;
  #reader;
  #gains = new Gains();
  #guide;
  #voices = [];
  #pending = null;
  /** Until when something forgotten is heard. */
  #free = 0;
  speed = 1;
  match = false;

  /**
   * `guide`: `timeline`; `stretch(spot)` → `{startMs, endMs}`; `after(place, wholly)`
   * → what follows where a spot, or its recording, ended, or null; `wish(place)` → the
   * recording wanted there, or null; `began(want)`, `refused(want, error, silent)`,
   * `ended()`.
   */
  constructor(guide, { sampleRate, cacheBytes, tap }) {
    this.#guide = guide;
    this.#context = new AudioContext({ sampleRate, latencyHint: "interactive" });
    this.#out = this.#context.createGain();
    this.#out.connect(this.#context.destination);
    tap(this.#context, this.#out);
    const options = { onRefused: nothing, limitBytes: cacheBytes };
    this.#reader = new Reader(this.#context.sampleRate, options);
  }

  get rate() {
    return this.#context.sampleRate;
  }

  get chunks() {
    return this.#reader.chunks;
  }

  /** Lets the context run; a browser does so after a click or a key only. */
  wake() {
    this.#context.resume().catch(nothing);
  }

  /** Saves power while nothing sounds. */
  sleep() {
    this.#context.suspend().catch(nothing);
  }

  /** Where it is on its way to, if that is not where it is. */
  get goal() {
    const want = this.#pending?.want;
    return want && want.ms !== null ? want : null;
  }

  /** Whether sound is waited for and none is heard. */
  get waiting() {
    return this.#pending !== null && this.#silentAt(this.#now());
  }

  /** What is heard: `{spot, recording, ms, gain}`; null before anything was. */
  get heard() {
    return this.#placeAt(this.#heardFrame()) ?? this.#placeAt(this.#voices[0]?.frame ?? 0);
  }

  /** What sounds where something else could begin. */
  get coming() {
    return this.#placeAt(this.#soon());
  }

  /** The recording that was wanted last, whether it is heard yet or not. */
  get aim() {
    return this.#pending?.want.recording ?? this.coming?.recording ?? null;
  }

  #now() {
    return Math.ceil(this.#context.currentTime * this.rate);
  }

  /** The first frame at which something else can begin. */
  #soon() {
    const ready = Math.max(this.#now() + Math.ceil(LEAD_S * this.rate), this.#free);
    // Fades don't overlap, so that they add up to one.
    const begun = this.#voices.filter((voice) => voice.frame <= ready + NEAR);
    const free = begun.reduce((frame, voice) => Math.max(frame, voice.fadedIn + 1), ready);
    return exactFrame(free, this.rate);
  }

  #heardFrame() {
    const context = this.#context;
    const { contextTime = 0, performanceTime = 0 } = context.getOutputTimestamp?.() ?? {};
    let time = context.currentTime - (context.outputLatency || context.baseLatency || 0);
    const since = (performance.now() - performanceTime) / 1000;
    // A device that sleeps stamps no more.
    if (contextTime > 0 && performanceTime > 0 && since < 0.5) {
      time = Math.min(context.currentTime, contextTime + since);
    }
    return time * this.rate;
  }

  #placeAt(frame) {
    const voice = this.#voices.findLast((one) => one.frame <= frame);
    if (!voice) return null;
    const at = Math.max(voice.frame, Math.min(frame, voice.until, voice.next));
    const ms = this.#guide.timeline.toLine(voice.recording, voice.fileMsAt(at));
    return { spot: voice.spot, recording: voice.recording, ms, gain: voice.gainAt(at) };
  }

  #silentAt(frame) {
    return this.#voices.every((voice) => voice.silent <= frame);
  }

  /**
   * Begins `want`: `{spot, recording, ms}`; where `ms` is null at the instant that
   * sounds by then, until when the old one goes on.
   */
  swap(want) {
    const pending = { want };
    this.#pending = pending;
    this.#settle(pending).then(
      () => this.#guide.began(want),
      (error) => {
        if (this.#pending !== pending) return;
        this.#pending = null;
        const silent = want.ms !== null || this.#silentAt(this.#soon());
        this.#guide.refused(want, error, silent);
      },
    );
  }

  /** As it runs up to its first `await` at once, what is at hand begins at once. */
  async #settle(pending) {
    const { want } = pending;
    for (let tried = 0; this.#pending === pending; tried += 1) {
      if (this.#begin(want)) {
        this.#pending = null;
        return;
      }
      if (tried === 0 && want.ms !== null) this.#cut(this.#soon(), FADE_S);
      // Too late by a little, or something is missing.
      if (tried > 0) await new Promise((resolve) => setTimeout(resolve, 5));
      await this.#running();
      if (this.#pending !== pending) break;
      const at = this.#target(want, this.#soon());
      await this.#reader.prepare(want.recording, at.sample);
      if (this.match) await this.#stretches(want.recording, at.spot).ready(Math.max(0, at.fileMs));
    }
    throw new Error("something else was wanted");
  }

  async #running() {
    const context = this.#context;
    if (context.state === "running") return;
    const slow = new Promise((resolve) => setTimeout(resolve, 2000));
    await Promise.race([context.resume(), slow]);
    if (context.state !== "running") {
      throw new Error("The browser lets sound begin only after a click or a key.");
    }
  }

  /** Where `want` is when it begins at a frame. */
  #target(want, frame) {
    const place = want.ms === null ? this.#placeAt(frame) : null;
    const { spot, ms } = place ?? want;
    const fileMs = this.#guide.timeline.toFile(want.recording, ms ?? 0);
    return { spot, fileMs, sample: this.#sample(fileMs) };
  }

  #sample(fileMs) {
    return Math.round((fileMs * this.rate) / 1000);
  }

  #stretches(recording, index) {
    const { startMs, endMs } = this.#guide.stretch(index);
    const file = (ms) => Math.max(0, this.#guide.timeline.toFile(recording, ms));
    return this.#gains.stretches(recording, file(startMs), endMs === null ? null : file(endMs));
  }

  #begin(want) {
    if (this.#context.state !== "running") return false;
    const frame = this.#soon();
    const { spot, sample } = this.#target(want, frame);
    const fadeS = want.fadeS ?? FADE_S;
    const fadeInS = this.#silentAt(frame) ? JOINT_S : fadeS;
    const voice = this.#voice(want.recording, spot, sample, frame, fadeInS);
    if (!voice) return false;
    this.#cut(frame, fadeS);
    this.#voices.push(voice);
    return true;
  }

  /** A voice whose first block is laid down; null while that is not here. */
  #voice(recording, index, sample, frame, fadeS) {
    if (!this.#reader.ready(recording, sample)) return null;
    const { endMs } = this.#guide.stretch(index);
    const to = endMs === null ? Infinity : this.#sample(this.#guide.timeline.toFile(recording, endMs));
    const match = this.match ? this.#stretches(recording, index) : null;
    const spec = { recording, spot: index, from: sample, to, speed: this.speed, frame, fadeS, match };
    const voice = new Voice(this.#context, this.#out, this.#reader, spec);
    const said = voice.schedule();
    if (said === "block" && this.#now() < frame) return voice;
    voice.drop();
    if (said === "end") throw new Over("the recording has ended by then");
    return null;
  }

  /** Fades out what sounds at a frame, and takes back what would begin later. */
  #cut(frame, fadeS) {
    for (const voice of this.#voices) {
      if (voice.frame >= frame) voice.drop();
      else voice.endAt(frame, fadeS);
    }
    this.#voices = this.#voices.filter((voice) => voice.frame < frame);
  }

  /** Ends what sounds, soon and without a click. */
  hush() {
    this.#pending = null;
    this.#cut(this.#soon(), FADE_S);
  }

  /** Ends what sounds and knows nothing of it any more, but for when it is silent. */
  forget() {
    this.#pending = null;
    this.#cut(this.#soon(), JOINT_S);
    this.#free = Math.max(this.#free, ...this.#voices.map((voice) => voice.silent));
    this.#voices = [];
  }

  /** Takes back what was laid down to follow an end, so that something else may. */
  unfollow() {
    const soon = this.#soon();
    const last = this.#voices.findLast((voice) => voice.frame <= soon);
    if (!last?.wholly) return;
    const later = this.#voices.filter((voice) => voice.frame > soon);
    for (const voice of later) voice.drop();
    this.#voices = this.#voices.filter((voice) => voice.frame <= soon);
  }

  /** Lays down what is due. To be called often. */
  pump() {
    const now = this.#now();
    this.#voices = this.#voices.filter((voice, n) => {
      return n === this.#voices.length - 1 || voice.silent + this.rate > now;
    });
    const ahead = document.hidden ? AHEAD_HIDDEN_S : AHEAD_S;
    while (this.#further(now, now + ahead * this.rate)) {}
  }

  /** One more block; false when nothing more can be laid down. */
  #further(now, until) {
    const tail = this.#voices.at(-1);
    if (!tail || this.goal) return false;
    if (!tail.ended) {
      if (tail.next >= until) return false;
      if (this.#follow(tail)) return true;
      const said = tail.schedule();
      if (said === "missing") this.#dry(tail, now);
      return said !== "missing";
    }
    if (tail.until >= until) return false;
    const place = this.#placeAt(tail.until);
    const next = this.#guide.after(place, tail.wholly);
    if (next === null) {
      if (this.#heardFrame() >= tail.silent) this.#guide.ended();
      return false;
    }
    return this.#join(next, tail, now);
  }

  /** What comes after an end, to the sample; false where it is not here. */
  #join(next, tail, now) {
    const { sample } = this.#target(next, tail.until);
    let voice = null;
    try {
      voice = this.#voice(next.recording, next.spot, sample, tail.until, JOINT_S);
    } catch {
      // The swap meets the same, and tells.
    }
    if (voice) {
      this.#voices.push(voice);
      this.#guide.began(next);
      return true;
    }
    this.#reader.ahead(next.recording, sample);
    if (tail.until <= now + LEAD_S * this.rate) this.swap(next);
    return false;
  }

  /** Goes over to the recording the guide wishes for, where it is at hand. */
  #follow(tail) {
    if (this.#pending || tail.next <= tail.fadedIn) return false;
    const place = this.#placeAt(tail.next);
    const wanted = this.#guide.wish(place);
    if (wanted === null || wanted === tail.recording) return false;
    const want = { ...place, recording: wanted };
    const { sample } = this.#target(want, tail.next);
    const frame = tail.next;
    if (!this.#reader.ready(wanted, sample)) {
      this.#reader.prepare(wanted, sample).catch((error) => this.#guide.refused(want, error, false));
      return false;
    }
    let voice = null;
    try {
      voice = this.#voice(wanted, tail.spot, sample, frame, FADE_S);
    } catch {
      // It has ended: what sounds goes on.
    }
    if (!voice) return false;
    tail.endAt(frame, FADE_S);
    this.#voices.push(voice);
    return true;
  }

  /** What should be laid down is not here, and soon there is nothing left. */
  #dry(tail, now) {
    if (tail.next > now + LEAD_S * this.rate || this.#pending) return;
    const { spot, recording, ms } = this.#placeAt(tail.next);
    tail.breakOff();
    this.swap({ spot, recording, ms });
  }

  /**
   * Fetches what may be wanted soon: more of what sounds, then the `others`
   * (`{recording, ms, spot}`), so that going over to them takes no time.
   */
  fetchAhead(others) {
    const tail = this.#voices.at(-1);
    if (tail) this.#reader.ahead(tail.recording, tail.sampleAt(tail.next) + FETCH_S * this.rate);
    for (const { recording, ms, spot } of others.slice(0, AT_HAND)) {
      const fileMs = this.#guide.timeline.toFile(recording, ms);
      for (const more of [0, 1]) {
        if (this.#reader.chunks.asking >= REQUESTS) return;
        this.#reader.ahead(recording, this.#sample(fileMs) + more * this.rate);
      }
      // Asking is enough.
      if (this.match) this.#stretches(recording, spot).at(Math.max(0, fileMs), 1);
    }
  }
}
