// Recordings as if each were one long row of samples, at the rate that sounds. What
// is not here is fetched and is `null` until then.

import { Chunks } from "./chunks.js";

export class Reader {
  #chunks;
  #ends = new Map();
  #channels = new Map();
  #onRefused;

  /** `onRefused(recording, error)` when a chunk that was read for is not given. */
  constructor(rate, { onRefused, ...options }) {
    this.rate = rate;
    this.#chunks = new Chunks(rate, options);
    this.#onRefused = onRefused;
  }

  get chunks() {
    return this.#chunks;
  }

  /** Samples [from, to) of a recording, silence outside it; null if not all are here. */
  read(recording, from, to) {
    const length = this.#chunks.length;
    const out = new Float32Array(to - from);
    const end = Math.min(to, this.end(recording));
    let whole = true;
    for (let at = Math.max(0, from); at < end; ) {
      const number = Math.floor(at / length);
      const chunk = this.#peek(recording, number);
      const next = Math.min((number + 1) * length, end);
      if (chunk) {
        const first = at - number * length;
        out.set(chunk.samples.subarray(first, first + next - at), at - from);
      } else {
        whole = false;
        this.fetch(recording, number);
      }
      at = next;
    }
    return whole ? out : null;
  }

  /** How many samples a recording has; infinite while nobody knows. */
  end(recording) {
    return this.#ends.get(recording) ?? Infinity;
  }

  /** How many channels of the file are mixed into what is heard. */
  channels(recording) {
    return this.#channels.get(recording) ?? 1;
  }

  /** Whether a second from a sample on is here. */
  ready(recording, sample, seconds = 0.25) {
    const first = Math.max(0, sample);
    const end = Math.min(this.end(recording), first + seconds * this.rate);
    for (let at = first; at < end; at += this.#chunks.length) {
      if (!this.#peek(recording, this.#number(at))) return false;
    }
    return end <= first || this.#peek(recording, this.#number(end - 1)) !== null;
  }

  /** Fetches what is needed to begin at a sample; an `Error` if it is refused. */
  async prepare(recording, sample, seconds = 0.25) {
    const first = this.#number(Math.max(0, sample));
    const last = this.#number(Math.max(0, sample + seconds * this.rate));
    for (let number = first; number <= last; number += 1) {
      if (number * this.#chunks.length >= this.end(recording)) return;
      this.#note(recording, number, await this.#chunks.get(recording, number));
    }
  }

  /** Asks for a chunk in the background. */
  fetch(recording, number) {
    this.#chunks.get(recording, number).then(
      (chunk) => this.#note(recording, number, chunk),
      (error) => this.#onRefused(recording, error),
    );
  }

  /** Asks ahead for the chunk at a sample; true if it had to be asked for. */
  ahead(recording, sample) {
    const number = this.#number(Math.max(0, sample));
    if (number * this.#chunks.length >= this.end(recording)) return false;
    if (this.#chunks.has(recording, number)) return false;
    // Nobody waits for it: a refusal is told when somebody does.
    this.#chunks.get(recording, number).then(
      (chunk) => this.#note(recording, number, chunk),
      () => {},
    );
    return true;
  }

  #peek(recording, number) {
    const chunk = this.#chunks.peek(recording, number);
    if (chunk) this.#note(recording, number, chunk);
    return chunk;
  }

  #note(recording, number, { samples, channels, last }) {
    if (samples.length > 0) this.#channels.set(recording, channels);
    if (!last) return;
    const end = number * this.#chunks.length + samples.length;
    this.#ends.set(recording, Math.min(end, this.end(recording)));
  }

  #number(sample) {
    return Math.floor(sample / this.#chunks.length);
  }
}
