// One recording that sounds from one instant of the context's clock on, without a
// break: its samples, in blocks laid end to end. All places are whole samples at the
// context's rate, of its clock (`frame`) and of the file (`sample`).

import { Stretch } from "./stretch.js";

/** Of the first block, so that it is soon made, and of the others, s. */
const FIRST_S = 0.06;
const BLOCK_S = 0.2;
/** Where one stretch follows another, s. What fades out is what comes after its end,
 * so that all of it is heard as it is. */
export const JOINT_S = 0.005;

export class Voice {
  #context;
  #reader;
  #gain;
  #nodes = [];
  #stretch;
  #match;
  /** Where it begins to fade out, and where it is silent; infinite until known. */
  #fadeFrom = Infinity;
  #silent = Infinity;

  /**
   * `spec`: `{recording, spot, from, to, speed, frame, fadeS, match}`: samples [from,
   * to) of the recording, from frame `frame` on, faded in over `fadeS`; `match` holds
   * the gains, or is null for samples as they are.
   */
  constructor(context, out, reader, spec) {
    this.#context = context;
    this.#reader = reader;
    this.recording = spec.recording;
    this.spot = spec.spot;
    this.from = spec.from;
    this.to = spec.to;
    this.speed = spec.speed;
    this.frame = spec.frame;
    this.next = spec.frame;
    this.ended = false;
    /** Whether all that was asked for has been laid down. */
    this.wholly = false;
    this.#match = spec.match;
    this.#stretch = spec.speed === 1 ? null : new Stretch(reader.rate, spec.speed, spec.from);
    this.#gain = context.createGain();
    this.#gain.connect(out);
    const start = spec.frame / reader.rate;
    this.#gain.gain.setValueAtTime(0, start);
    this.#gain.gain.linearRampToValueAtTime(1, start + spec.fadeS);
    this.fadedIn = spec.frame + Math.ceil(spec.fadeS * reader.rate);
  }

  /** The frame at which its last sample has sounded; infinite while nobody knows. */
  get endFrame() {
    const to = Math.min(this.to, this.#reader.end(this.recording));
    return this.frame + Math.max(0, Math.round((to - this.from) / this.speed));
  }

  /** The first frame at which another is to be heard in its place. */
  get until() {
    return Math.min(this.#fadeFrom, this.#silent);
  }

  /** The frame after which it is not heard. */
  get silent() {
    return this.#silent;
  }

  /** The sample that sounds at a frame. */
  sampleAt(frame) {
    return this.from + (frame - this.frame) * this.speed;
  }

  /** Its place in the file at a frame, ms. */
  fileMsAt(frame) {
    return (this.sampleAt(frame) / this.#reader.rate) * 1000;
  }

  /** The gain it has at a frame: `{gainDb, limited}`. */
  gainAt(frame) {
    const channels = this.#reader.channels(this.recording);
    const found = this.#match?.at(Math.max(0, this.fileMsAt(frame)), channels);
    return found ?? { gainDb: 0, limited: null };
  }

  /** Lays down one block: `block`, `missing` (not here yet), or `end`. */
  schedule() {
    if (this.ended) return "end";
    const end = this.endFrame;
    if (this.next >= end) {
      this.wholly = this.to <= this.#reader.end(this.recording);
      this.endAt(end, JOINT_S);
      return "end";
    }
    const length = this.next === this.frame ? FIRST_S : BLOCK_S;
    const rate = this.#reader.rate;
    const full = exactFrame(this.next + Math.round(length * rate), rate) - this.next;
    const frames = Math.min(full, end - this.next);
    return this.#lay(frames) ? "block" : "missing";
  }

  /** Fades it out from a frame on; it has sound until there, and for the fade. */
  endAt(frame, seconds) {
    if (frame > this.#fadeFrom) return;
    const rate = this.#reader.rate;
    const silent = frame + Math.ceil(seconds * rate);
    while (this.next < silent) {
      if (!this.#lay(Math.min(Math.round(BLOCK_S * rate), silent - this.next))) break;
    }
    const gain = this.#gain.gain;
    gain.cancelScheduledValues(frame / rate);
    gain.setValueAtTime(1, frame / rate);
    gain.linearRampToValueAtTime(0, silent / rate);
    for (const { node, start } of this.#nodes) {
      if (start >= silent) node.stop();
      else node.stop(silent / rate);
    }
    if (frame < this.endFrame) this.wholly = false;
    this.#fadeFrom = frame;
    this.#silent = silent;
    this.ended = true;
  }

  /** Ends where nothing more is laid down. */
  breakOff() {
    this.#fadeFrom = this.next;
    this.#silent = this.next;
    this.ended = true;
  }

  /** Takes back all of it, as if it had never been. */
  drop() {
    for (const { node } of this.#nodes) {
      node.stop();
      node.disconnect();
    }
    this.#nodes = [];
    this.#gain.disconnect();
    this.#fadeFrom = this.frame;
    this.#silent = this.frame;
    this.ended = true;
  }

  #lay(frames) {
    const samples = this.#render(frames);
    if (!samples) return false;
    const rate = this.#reader.rate;
    const buffer = this.#context.createBuffer(1, samples.length, rate);
    buffer.copyToChannel(samples, 0);
    const node = this.#context.createBufferSource();
    node.buffer = buffer;
    node.connect(this.#gain);
    node.start(this.next / rate);
    const laid = { node, start: this.next };
    this.#nodes.push(laid);
    node.addEventListener("ended", () => {
      node.disconnect();
      this.#nodes = this.#nodes.filter((other) => other !== laid);
    });
    this.next += samples.length;
    return true;
  }

  #made = null;

  #render(frames) {
    const { recording } = this;
    // What is made waits for its gain, since a stretch can't be made twice.
    this.#made ??= this.#stretch
      ? this.#stretch.next((from, to) => this.#reader.read(recording, from, to), frames)
      : this.#reader.read(recording, this.sampleAt(this.next), this.sampleAt(this.next) + frames);
    const samples = this.#made;
    if (!samples) return null;
    if (this.#match) {
      const stepMs = (this.speed * 1000) / this.#reader.rate;
      const channels = this.#reader.channels(recording);
      const fileMs = this.fileMsAt(this.next);
      if (!this.#match.apply(samples, fileMs, stepMs, channels)) return null;
    }
    this.#made = null;
    return samples;
  }
}

/**
 * The next frame, from one on, whose time in seconds leads the context back to just
 * that frame. Six in seven do; after another samples would be mixed with their
 * neighbours by some 10⁻¹⁴.
 */
export function exactFrame(frame, rate) {
  let exact = frame;
  while ((exact / rate) * rate !== exact) exact += 1;
  return exact;
}
