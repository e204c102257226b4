// What is said, as far as it is looked at: moments a few minutes at a time, and single
// ones with their words. What has changed is asked for again, and shown as it was until
// then.

const CHUNK_MS = 120_000;
const MOST_CHUNKS = 60;
const MOST_DETAILS = 300;
const LIMIT = 1000;

export class Said {
  #server;
  #arrived;
  #event = null;
  #version = 0;
  #chunks = new Map(); // number -> {version, value, asked}
  #details = new Map(); // id of a moment -> the same

  constructor(server, arrived) {
    this.#server = server;
    this.#arrived = arrived;
  }

  /** Another event: nothing is known of it. */
  choose(eventId) {
    this.#event = eventId;
    this.#version += 1;
    this.#chunks.clear();
    this.#details.clear();
  }

  /** Words, people or times have changed. */
  renew() {
    this.#version += 1;
  }

  /** The moments of a stretch that are known by now; the others are asked for. */
  between(from, to) {
    const found = new Map();
    const last = Math.floor(to / CHUNK_MS);
    for (let n = Math.floor(from / CHUNK_MS); n <= last; n += 1) {
      const begin = n * CHUNK_MS;
      const ask = () =>
        this.#server
          .moments(this.#event, { fromMs: begin, toMs: begin + CHUNK_MS, limit: LIMIT })
          .then(({ moments }) => moments);
      for (const moment of this.#get(this.#chunks, n, MOST_CHUNKS, ask) ?? []) {
        if (moment.start_ms < to && moment.end_ms > from) found.set(moment.id, moment);
      }
    }
    return [...found.values()];
  }

  /** A moment with its words; null until it has come. */
  detail(id) {
    return this.#get(this.#details, id, MOST_DETAILS, () => this.#server.moment(id));
  }

  #get(kept, key, most, ask) {
    const entry = kept.get(key) ?? { version: 0, value: null, asked: 0 };
    kept.delete(key);
    kept.set(key, entry);
    if (kept.size > most) kept.delete(kept.keys().next().value);
    if (entry.version !== this.#version && entry.asked !== this.#version) {
      this.#fetch(entry, ask);
    }
    return entry.value;
  }

  async #fetch(entry, ask) {
    const version = this.#version;
    entry.asked = version;
    try {
      const value = await ask();
      if (entry.asked !== version) return;
      entry.value = value;
      entry.version = version;
      this.#arrived();
    } catch {
      // What cannot be had now is asked for when something has changed.
    }
  }
}

/** The moments of an outline that sound at an instant, by their place in it. */
export function momentsAt(outline, ms) {
  const found = [];
  if (!outline) return found;
  for (let n = lastBefore(outline.start_ms, ms); n >= 0; n -= 1) {
    if (outline.end_ms[n] > ms) found.unshift(n);
    // Nobody speaks on for so long without a pause that it would begin before.
    if (outline.start_ms[n] < ms - LONGEST_MS) break;
  }
  return found;
}

const LONGEST_MS = 120_000;

/** The last of sorted numbers that is `at` or less, by its place; -1 for none. */
export function lastBefore(sorted, at) {
  let from = 0;
  let to = sorted.length;
  while (from < to) {
    const middle = (from + to) >> 1;
    if (sorted[middle] <= at) from = middle + 1;
    else to = middle;
  }
  return from - 1;
}

/** The first of `sorted` after an instant, or the last before it; else the edge of `scale`. */
export function beside(sorted, at, direction, scale) {
  const n = lastBefore(sorted, direction > 0 ? at : at - 1) + (direction > 0 ? 1 : 0);
  return sorted[n] ?? (direction > 0 ? scale.end : scale.start);
}
