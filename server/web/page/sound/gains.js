// The gain of every instant of a recording when sources are to match: by stretches,
// each of which has one gain, with ramps between.

import { levels } from "../transport.js";
import { RAMP_MS, factor, matchGain } from "./level.js";

/** Without an end, each so many ms of a file have a gain of their own. */
export const WINDOW_MS = 20_000;
/** Their loudness is that of so much more on each side, so that a pause is no
 * stretch of its own; their peak is their own. */
const AROUND_MS = 40_000;
/** A stretch up to this long has one gain, ms. */
const ONE_GAIN_MS = 120_000;
/** The peak is asked for so much wider, ms: what is stretched or cross-faded may
 * come from beside. */
const BESIDE_MS = 100;
/** Stretches remembered. */
const LIMIT = 2000;

const AS_IT_IS = { gainDb: 0, limited: null };

export class Gains {
  #ask;
  #kept = new Map();

  constructor(ask = levels) {
    this.#ask = ask;
  }

  /** The stretches of a play from `startMs` to `endMs` (null: open) of a file. */
  stretches(recording, startMs, endMs) {
    const one = endMs !== null && endMs - startMs <= ONE_GAIN_MS;
    return new Stretches(this, recording, one ? { startMs, endMs } : null);
  }

  /** The gain of a stretch, or null while it is not known; asks for it. */
  peek(recording, startMs, endMs, around) {
    const found = this.#entry(recording, startMs, endMs, around);
    return found.gain;
  }

  /** The gain of a stretch: of one that can't be told, none. */
  get(recording, startMs, endMs, around) {
    return this.#entry(recording, startMs, endMs, around).coming;
  }

  #entry(recording, startMs, endMs, around) {
    const key = `${recording} ${startMs} ${endMs}`;
    const kept = this.#kept.get(key);
    if (kept) return kept;
    const entry = { gain: null, coming: null };
    entry.coming = this.#measured(recording, startMs, endMs, around).then((gain) => {
      entry.gain = gain ?? AS_IT_IS;
      // What was not measured yet may be soon.
      if (gain === null) setTimeout(() => this.#kept.delete(key), 30_000);
      return entry.gain;
    });
    this.#kept.set(key, entry);
    if (this.#kept.size > LIMIT) this.#kept.delete(this.#kept.keys().next().value);
    return entry;
  }

  /** The levels of a stretch with the peak of what is beside; null if not told. */
  async #measured(recording, startMs, endMs, around) {
    const of = (beside) =>
      this.#ask(recording, Math.max(0, Math.floor(startMs - beside)), Math.ceil(endMs + beside));
    try {
      const [loud, peak] = await Promise.all([of(around), of(BESIDE_MS)]);
      return { ...loud, true_peak_dbtp: peak.true_peak_dbtp };
    } catch {
      return null;
    }
  }
}

/** Which gain which instant of a file has. */
class Stretches {
  #gains;
  #recording;
  #only;

  constructor(gains, recording, only) {
    this.#gains = gains;
    this.#recording = recording;
    this.#only = only;
  }

  /** Resolves when the gain of an instant of the file is known. */
  ready(ms) {
    return this.#gains.get(...this.#asked(this.#number(ms)));
  }

  /** `{gainDb, limited}` at an instant, or null while it is not known. */
  at(ms, channels) {
    const found = this.#levels(this.#number(ms));
    return found && matchGain(found === AS_IT_IS ? null : found, channels);
  }

  /**
   * Multiplies samples that lie from `fromMs` on, each `stepMs` further in the file;
   * false while their gain is not known.
   */
  apply(samples, fromMs, stepMs, channels) {
    const toMs = fromMs + samples.length * stepMs;
    const gainOf = (number) => {
      const found = this.#levels(number);
      return found && factor(matchGain(found === AS_IT_IS ? null : found, channels).gainDb);
    };
    const first = this.#number(fromMs - RAMP_MS);
    const last = this.#number(toMs + RAMP_MS);
    const known = new Map();
    for (let number = first; number <= last; number += 1) {
      const gain = gainOf(number);
      if (gain === null) return false;
      known.set(number, gain);
    }
    for (let n = 0; n < samples.length; n += 1) {
      samples[n] *= this.#factorAt(fromMs + n * stepMs, known);
    }
    return true;
  }

  /** A ramp lies on the louder side of a border, so that neither ceiling is passed. */
  #factorAt(ms, known) {
    const number = this.#number(ms);
    const here = known.get(number);
    if (this.#only) return here;
    const into = ms - number * WINDOW_MS;
    const left = WINDOW_MS - into;
    const before = known.get(number - 1);
    const after = known.get(number + 1);
    if (into < RAMP_MS && before < here) return before + ((here - before) * into) / RAMP_MS;
    if (left < RAMP_MS && after < here) return after + ((here - after) * left) / RAMP_MS;
    return here;
  }

  #number(ms) {
    return this.#only ? 0 : Math.max(0, Math.floor(ms / WINDOW_MS));
  }

  #levels(number) {
    return this.#gains.peek(...this.#asked(number));
  }

  #asked(number) {
    const { startMs, endMs } = this.#only ?? {
      startMs: number * WINDOW_MS,
      endMs: (number + 1) * WINDOW_MS,
    };
    return [this.#recording, startMs, endMs, this.#only ? 0 : AROUND_MS];
  }
}
