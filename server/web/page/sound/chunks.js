// Pieces of recordings, fetched once and kept for a while: four seconds each, one
// channel, at the rate that sounds. The only module here that asks the server.

import { slice } from "../transport.js";
import { reach, resample } from "./resample.js";
import { readWav } from "./wav.js";

/** Length of a chunk, ms. */
export const CHUNK_MS = 4000;
/** Fetched beyond each end so that a chunk of another rate meets the next, ms. */
const MARGIN_MS = 20;
/** What is kept, bytes: some 87 chunks at 48 kHz, six minutes. */
const LIMIT_BYTES = 64 << 20;
/** A chunk that was refused is not asked for again sooner, ms. */
const REST_MS = 5000;

export class Chunks {
  #rate;
  #limit;
  #ask;
  #kept = new Map();
  #bytes = 0;
  #coming = new Map();
  #refused = new Map();

  /** `rate`: samples a second of all chunks; `limitBytes`: what is kept at most. */
  constructor(rate, { limitBytes = LIMIT_BYTES, ask = (url) => fetch(url) } = {}) {
    this.#rate = rate;
    this.#limit = limitBytes;
    this.#ask = ask;
  }

  /** Bytes of samples kept, and the most that ever are. */
  get bytes() {
    return this.#bytes;
  }

  get limitBytes() {
    return this.#limit;
  }

  /** Samples in a whole chunk. */
  get length() {
    return (this.#rate * CHUNK_MS) / 1000;
  }

  /** Requests that are under way. */
  get asking() {
    return this.#coming.size;
  }

  /** A chunk that is here, or null: `{samples, channels, last}`. */
  peek(recording, number) {
    const key = `${recording} ${number}`;
    const chunk = this.#kept.get(key);
    if (!chunk) return null;
    // The last in a map is the last used.
    this.#kept.delete(key);
    this.#kept.set(key, chunk);
    return chunk;
  }

  /** Whether a chunk is here or under way. */
  has(recording, number) {
    const key = `${recording} ${number}`;
    return this.#kept.has(key) || this.#coming.has(key);
  }

  /** A chunk, fetched if it is not here; an `Error` in the server's words if refused. */
  get(recording, number) {
    const kept = this.peek(recording, number);
    if (kept) return Promise.resolve(kept);
    const key = `${recording} ${number}`;
    const coming = this.#coming.get(key);
    if (coming) return coming;
    const refused = this.#refused.get(key);
    if (refused && performance.now() - refused.at < REST_MS) return Promise.reject(refused.error);
    this.#refused.delete(key);
    const asked = this.#fetch(recording, number).then(
      (chunk) => {
        this.#coming.delete(key);
        this.#keep(key, chunk);
        return chunk;
      },
      (error) => {
        this.#coming.delete(key);
        this.#refused.set(key, { at: performance.now(), error });
        throw error;
      },
    );
    this.#coming.set(key, asked);
    return asked;
  }

  /** Forgets refusals, so that a person who tries again is answered anew. */
  tryAgain() {
    this.#refused.clear();
  }

  async #fetch(recording, number) {
    const startMs = number * CHUNK_MS;
    const fromMs = Math.max(0, startMs - MARGIN_MS);
    const url = slice(recording, fromMs, startMs + CHUNK_MS + MARGIN_MS);
    let response;
    try {
      response = await this.#ask(url);
    } catch {
      throw new Error("The server does not answer.");
    }
    if (!response.ok) {
      const problem = await response.json().catch(() => ({}));
      // A file may end just where the chunk before did.
      if (response.status === 422 && problem.field === "start_ms" && number > 0) return this.#none();
      throw new Error(problem.detail || problem.title || "The server refused.");
    }
    const bytes = await response.arrayBuffer().catch(() => {
      throw new Error("The server broke off.");
    });
    return cut(readWav(bytes), fromMs, startMs, this.#rate, this.length);
  }

  #none() {
    return { samples: new Float32Array(0), channels: 1, last: true };
  }

  #keep(key, chunk) {
    this.#kept.set(key, chunk);
    this.#bytes += chunk.samples.byteLength;
    for (const [oldest, old] of this.#kept) {
      if (this.#bytes <= this.#limit || oldest === key) break;
      this.#kept.delete(oldest);
      this.#bytes -= old.samples.byteLength;
    }
  }
}

/** The chunk that begins at `startMs`, of sound that begins at `fromMs`. */
async function cut({ rate, channels, samples }, fromMs, startMs, toRate, length) {
  // The margin holds what the first and last samples are made of.
  if (reach(rate, toRate) > (rate * MARGIN_MS) / 1000) {
    throw new Error(`sound of ${rate} samples a second can't be played here`);
  }
  // The server rounds the start of a slice down to a sample; that of a chunk is whole.
  const at = (startMs * rate) / 1000 - Math.floor((fromMs * rate) / 1000);
  const here = Math.max(0, Math.floor(((samples.length - at) * toRate) / rate));
  const count = Math.min(length, here);
  const last = count < length;
  if (rate === toRate) return { samples: samples.slice(at, at + count), channels, last };
  const made = new Float32Array(count);
  // By seconds, so that keys and pictures come in between.
  for (let done = 0, from = at; done < count; done += toRate, from += rate) {
    await new Promise((resolve) => setTimeout(resolve));
    made.set(resample(samples, rate, toRate, from, Math.min(toRate, count - done)), done);
  }
  return { samples: made, channels, last };
}
