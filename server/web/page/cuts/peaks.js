// The wave of a stretch of a recording, from tiles of bins that the server keeps.

/** Length of a bin of the finest level, ms; each level's are four times as long. */
const BIN_MS = 10;
const FACTOR = 4;
const LEVELS = 6;
const TILE_BINS = 4096;
/** Tiles that are kept at hand, 12 kB each. */
const KEPT = 64;

export class Peaks {
  #desk;
  #tiles = new Map(); // key -> promise of the bytes

  constructor(desk) {
    this.#desk = desk;
  }

  /**
   * Bins of a stretch, no more than `most`: `{startMs, binMs, low, high, speech}`, samples
   * from -1 to 1; null where the recording was not looked through yet.
   */
  async stretch(recording, fromMs, toMs, most) {
    const level = levelFor(toMs - fromMs, most);
    const binMs = BIN_MS * FACTOR ** level;
    const first = Math.max(Math.floor(fromMs / binMs), 0);
    const last = Math.max(Math.ceil(toMs / binMs), first + 1);
    const numbers = [];
    for (let tile = Math.floor(first / TILE_BINS); tile * TILE_BINS < last; tile += 1) numbers.push(tile);
    let tiles;
    try {
      tiles = await Promise.all(numbers.map((tile) => this.#tile(recording, level, tile)));
    } catch {
      return null;
    }
    if (tiles.every((tile) => tile === null)) return null;
    const found = { startMs: first * binMs, binMs, low: [], high: [], speech: [] };
    for (let bin = first; bin < last; bin += 1) {
      const tile = tiles[Math.floor(bin / TILE_BINS) - numbers[0]];
      const at = (bin % TILE_BINS) * 3;
      const there = tile && at + 2 < tile.length;
      found.low.push(there ? sample(tile[at]) : 0);
      found.high.push(there ? sample(tile[at + 1]) : 0);
      found.speech.push(there ? tile[at + 2] / 255 : 0);
    }
    return found;
  }

  #tile(recording, level, tile) {
    const key = `${recording}/${level}/${tile}`;
    const there = this.#tiles.get(key);
    if (there) return there;
    const asked = this.#desk.server.peakTile(recording, level, tile);
    this.#tiles.set(key, asked);
    // What was refused may be there later.
    asked.catch(() => this.#tiles.delete(key));
    if (this.#tiles.size > KEPT) this.#tiles.delete(this.#tiles.keys().next().value);
    return asked;
  }
}

/** The finest level that has no more bins than are wanted. */
function levelFor(ms, most) {
  let level = 0;
  while (level < LEVELS - 1 && ms / (BIN_MS * FACTOR ** level) > most) level += 1;
  return level;
}

/** A byte is round(127 · sign(v) · √|v|) of a sample v. Drawn by its root, so that quiet
 * speech is seen. */
function sample(byte) {
  return (byte > 127 ? byte - 256 : byte) / 127;
}
