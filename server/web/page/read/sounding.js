// The word that sounds is marked, and the list goes along with it.

import { placeOf, wordAt } from "./spoken.js";

/** A moment that is not loaded is gone to at most so often, ms. */
const PATIENCE_MS = 800;

export class Sounding {
  #list;
  #desk;
  #marked = new Set();
  #follows = true;
  #onFollow;
  #near = null;
  #went = 0;
  #going = false;

  /** `onFollow(follows)` when following is turned on or off. */
  constructor(list, desk, onFollow) {
    this.#list = list;
    this.#desk = desk;
    this.#onFollow = onFollow;
  }

  get follows() {
    return this.#follows;
  }

  follow(on) {
    if (this.#follows === on) return;
    this.#follows = on;
    this.#near = null;
    this.#onFollow(on);
  }

  /** The reader looks elsewhere while it plays. */
  wander() {
    if (this.#desk.state.known.heard?.playing) this.follow(false);
  }

  /** What is heard is at `ms` of its line. */
  time(ms) {
    const { heard, timeline } = this.#desk.state.known;
    if (!heard) return;
    const marked = new Set();
    let near = null;
    for (const row of this.#list.rows) {
      const place = row.times ? { ...span(row.times) } : placeOf(row.moment, timeline);
      if (!place || place.line !== heard.line || ms < place.startMs || ms >= place.endMs) continue;
      const n = row.times ? wordAt(row.times.words, ms) : -1;
      const word = row.sound(n);
      marked.add(row);
      near = { row, node: word ?? row.node, word: word !== null };
    }
    this.#forget(marked);
    this.#marked = marked;
    if (this.#follows && !heard.paused) this.#goAlong(near, ms, heard.line);
  }

  /** Nothing sounds. */
  hush() {
    this.#forget(new Set());
    this.#marked.clear();
    this.#near = null;
  }

  #forget(stay) {
    for (const row of this.#marked) if (!stay.has(row)) row.sound(-1);
  }

  #goAlong(near, ms, line) {
    // Who writes is not taken elsewhere.
    if (document.activeElement?.closest(".editing")) return;
    if (near) {
      // Once a word, not once a picture.
      if (near.node !== this.#near) this.#list.center(near.node);
      this.#near = near.node;
      return;
    }
    if (line === 0) this.#fetch(ms);
  }

  /** Goes to what sounds where it is not loaded; between two moments nothing is to be done. */
  async #fetch(ms) {
    if (this.#going || performance.now() - this.#went < PATIENCE_MS) return;
    if (this.#list.rowAt(ms) !== null) return;
    this.#went = performance.now();
    this.#going = true;
    try {
      await this.#list.goTo(ms);
    } finally {
      this.#going = false;
    }
  }
}

const span = ({ line, words }) => ({
  line,
  startMs: words[0].startMs,
  endMs: Math.max(...words.map(({ endMs }) => endMs)),
});
