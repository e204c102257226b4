// The waves of recordings, as far as they were asked for: a coarse one of each at once, and
// tiles of finer levels while they are looked at. Kept within a bound; those that nobody
// looks at any more are forgotten, the longest unseen first.

/** Length of a bin by level, ms; each is four of the level before. */
export const BIN_MS = [10, 40, 160, 640, 2560, 10240];
export const TILE_BINS = 4096;
export const BIN_BYTES = 3;

/** Tiles in memory, bytes. */
const KEPT_BYTES = 64e6;
/** Requests at a time: what a browser opens to one server. */
const AT_ONCE = 6;
/** Bins of the coarse waves of all recordings together, and the least of one. */
const COARSE_BINS = 200_000;
const COARSE_LEAST = 512;
const COARSE_MOST = 16_384;

/** The coarsest level whose bins are no longer than `ms`; the finest where all are. */
export function levelFor(ms) {
  const n = BIN_MS.findLastIndex((bin) => bin <= ms);
  return Math.max(n, 0);
}

export class Peaks {
  #server;
  #arrived;
  #coarse = new Map(); // recording -> {level, first: 0, body}
  #tiles = new Map(); // key -> {level, first, body}, the one not seen for longest first
  #bytes = 0;
  #none = new Set(); // keys of tiles that there are not
  #asked = new Map(); // key -> AbortController
  #waiting = [];
  #version = 0;

  /** Calls `arrived(recording)` when there is more to draw; null for all of them. */
  constructor(server, arrived) {
    this.#server = server;
    this.#arrived = arrived;
  }

  /** Bytes of tiles in memory. */
  get bytes() {
    return this.#bytes;
  }

  /** Whether a recording has a wave at all. */
  has(recording) {
    return this.#coarse.has(recording);
  }

  /** Another event, or its recordings have changed. */
  async read(eventId, recordings) {
    const version = (this.#version += 1);
    if (recordings === 0) return this.forget();
    const share = Math.floor(COARSE_BINS / recordings);
    const most = Math.min(Math.max(share, COARSE_LEAST), COARSE_MOST);
    const answer = await this.#server.eventPeaks(eventId, most);
    if (version !== this.#version) return undefined;
    const known = new Map(
      answer.recordings.map(({ recording, level, body }) => [
        recording,
        { level, first: 0, body: bytesOf(body) },
      ]),
    );
    for (const [recording, { body }] of this.#coarse) {
      if (known.get(recording)?.body.length !== body.length) this.#drop(recording);
    }
    this.#coarse = known;
    this.#none.clear();
    this.#arrived(null);
    return undefined;
  }

  forget() {
    this.#version += 1;
    for (const asked of this.#asked.values()) asked.abort();
    this.#asked.clear();
    this.#waiting = [];
    this.#coarse.clear();
    this.#tiles.clear();
    this.#none.clear();
    this.#bytes = 0;
  }

  /** The finest that there is of a tile, this level or coarser: `{level, first, body}`. */
  find(recording, level, tile) {
    const coarse = this.#coarse.get(recording);
    if (!coarse) return null;
    for (let l = level; l < BIN_MS.length; l += 1) {
      if (l >= coarse.level) return coarse;
      const key = keyOf(recording, l, tile >> (2 * (l - level)));
      const kept = this.#tiles.get(key);
      if (kept) {
        this.#tiles.delete(key);
        this.#tiles.set(key, kept);
        return kept;
      }
    }
    return coarse;
  }

  /** The peak about a position of a file, dBFS as whole; null where it is not known. */
  levelAt(recording, fileMs) {
    const found = this.find(recording, 0, Math.max(Math.floor(fileMs / (BIN_MS[0] * TILE_BINS)), 0));
    if (!found) return null;
    const bin = Math.floor(fileMs / BIN_MS[found.level]) - found.first;
    const byte = (k) => Math.abs((found.body[bin * BIN_BYTES + k] << 24) >> 24);
    const peak = bin >= 0 && (bin + 1) * BIN_BYTES <= found.body.length ? Math.max(byte(0), byte(1)) : 0;
    // A byte is the root of a sample.
    return peak === 0 ? null : Math.round(40 * Math.log10(peak / 127));
  }

  /**
   * What is looked at now, the most wanted first: `[recording, level, tile]`. What was
   * asked for and is not among these is given up.
   */
  want(tiles) {
    const wanted = new Map();
    for (const [recording, level, tile] of tiles) {
      const coarse = this.#coarse.get(recording);
      if (!coarse || level >= coarse.level || tile < 0) continue;
      if (tile * TILE_BINS * BIN_MS[level] >= lengthOf(coarse)) continue;
      const key = keyOf(recording, level, tile);
      if (!this.#tiles.has(key) && !this.#none.has(key)) wanted.set(key, [recording, level, tile]);
    }
    for (const [key, asked] of this.#asked) {
      if (wanted.has(key)) continue;
      asked.abort();
      this.#asked.delete(key);
    }
    this.#waiting = [...wanted].filter(([key]) => !this.#asked.has(key));
    this.#askMore();
  }

  #askMore() {
    while (this.#asked.size < AT_ONCE && this.#waiting.length > 0) {
      const [key, what] = this.#waiting.shift();
      this.#ask(key, what);
    }
  }

  async #ask(key, [recording, level, tile]) {
    const stop = new AbortController();
    this.#asked.set(key, stop);
    try {
      const body = await this.#server.peakTile(recording, level, tile, { signal: stop.signal });
      if (body === null) this.#none.add(key);
      else if (this.#asked.get(key) === stop) this.#keep(key, { level, first: tile * TILE_BINS, body });
    } catch (error) {
      // A coarser wave stands where a tile is not to be had; it is asked for anew once the
      // recordings of the event have changed.
      if (error.name !== "AbortError") this.#none.add(key);
    }
    if (this.#asked.get(key) !== stop) return;
    this.#asked.delete(key);
    this.#arrived(recording);
    this.#askMore();
  }

  #keep(key, tile) {
    this.#tiles.set(key, tile);
    this.#bytes += tile.body.length;
    for (const [oldest, { body }] of this.#tiles) {
      if (this.#bytes <= KEPT_BYTES) break;
      this.#tiles.delete(oldest);
      this.#bytes -= body.length;
    }
  }

  #drop(recording) {
    for (const [key, { body }] of this.#tiles) {
      if (!key.startsWith(`${recording}/`)) continue;
      this.#tiles.delete(key);
      this.#bytes -= body.length;
    }
  }
}

const keyOf = (recording, level, tile) => `${recording}/${level}/${tile}`;
const lengthOf = ({ level, body }) => (body.length / BIN_BYTES) * BIN_MS[level];

function bytesOf(base64) {
  const text = atob(base64);
  const bytes = new Uint8Array(text.length);
  for (let n = 0; n < text.length; n += 1) bytes[n] = text.charCodeAt(n);
  return bytes;
}
