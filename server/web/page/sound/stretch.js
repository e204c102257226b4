// Faster or slower at the same pitch: waveform similarity overlap-add (W. Verhelst
// and M. Roelands, 'An overlap-add technique based on waveform similarity (WSOLA) for
// high quality time-scale modification of speech', ICASSP 1993). Pure.
//
// Sound is laid down in frames that overlap by half. Each is taken near the place that
// the speed asks for, from where it goes on most like the frame before it would have.

/** Half a frame, s: how far one frame is laid from the next. */
const HOP_S = 0.015;
/** How far a frame may be taken from its place, s: a period of the lowest voices. */
const SEARCH_S = 0.01;
/** Likeness is first looked for in every so many-th sample. */
const COARSE = 4;

export class Stretch {
  #speed;
  #start;
  #hop;
  #search;
  #fade;
  #made = 0;
  #before = null;
  #left = new Float32Array(0);

  /** From sample `start` on, `speed` times as fast; `rate` in Hz. */
  constructor(rate, speed, start) {
    this.#speed = speed;
    this.#start = start;
    this.#hop = Math.round(rate * HOP_S);
    this.#search = Math.round(rate * SEARCH_S);
    this.#fade = new Float32Array(this.#hop);
    for (let n = 0; n < this.#hop; n += 1) {
      this.#fade[n] = Math.sin((Math.PI * (n + 0.5)) / (2 * this.#hop)) ** 2;
    }
  }

  /**
   * The next `count` samples. `read(from, to)` gives samples of the sound (zeros
   * outside it), or null where they are not here yet: then this is null too, and
   * may be asked again. However it is asked for, the sound is the same.
   */
  next(read, count) {
    const parts = [this.#left];
    let have = this.#left.length;
    while (have < count) {
      const frame = this.#frame(read);
      if (!frame) {
        this.#left = joined(parts, have);
        return null;
      }
      parts.push(frame);
      have += frame.length;
    }
    const all = joined(parts, have);
    this.#left = all.slice(count);
    return all.subarray(0, count);
  }

  /** Half a frame of new sound. */
  #frame(read) {
    const hop = this.#hop;
    const place = this.#start + Math.round(this.#made * hop * this.#speed);
    const goesOn = this.#before === null ? place : this.#before + hop;
    const from = Math.min(place - this.#search, goesOn);
    const to = Math.max(place + this.#search, goesOn) + hop;
    const sound = read(from, to);
    if (!sound) return null;
    const like = sound.subarray(goesOn - from, goesOn - from + hop);
    // The first frame is the sound itself.
    const taken =
      this.#before === null ? place : from + this.#alike(sound, like, place - this.#search - from);
    const fresh = sound.subarray(taken - from, taken - from + hop);
    const out = new Float32Array(hop);
    for (let n = 0; n < hop; n += 1) {
      out[n] = like[n] + (fresh[n] - like[n]) * this.#fade[n];
    }
    this.#before = taken;
    this.#made += 1;
    return out;
  }

  /** Where in `sound`, from `first` on, it is most like `like`. */
  #alike(sound, like, first) {
    const last = first + 2 * this.#search;
    const thin = every(like, 0, like.length);
    const wide = every(sound, first, last + like.length);
    let best = { at: 0, score: -Infinity };
    for (let at = 0; at + thin.length <= wide.length; at += 1) {
      const score = likeness(wide, at, thin);
      if (score > best.score) best = { at, score };
    }
    const middle = first + best.at * COARSE;
    best = { at: middle, score: -Infinity };
    const to = Math.min(last, middle + COARSE);
    for (let at = Math.max(first, middle - COARSE); at <= to; at += 1) {
      const score = likeness(sound, at, like);
      if (score > best.score) best = { at, score };
    }
    return best.at;
  }
}

/** How alike two stretches are: their product, by how loud the first is. */
function likeness(sound, at, like) {
  let product = 0;
  let power = 1e-9;
  for (let n = 0; n < like.length; n += 1) {
    const sample = sound[at + n];
    product += sample * like[n];
    power += sample * sample;
  }
  return product / Math.sqrt(power);
}

/** Means of every `COARSE` samples. */
function every(sound, from, to) {
  const out = new Float32Array(Math.floor((to - from) / COARSE));
  for (let n = 0; n < out.length; n += 1) {
    let sum = 0;
    for (let i = 0; i < COARSE; i += 1) sum += sound[from + n * COARSE + i];
    out[n] = sum;
  }
  return out;
}

function joined(parts, length) {
  const out = new Float32Array(length);
  let at = 0;
  for (const part of parts) {
    out.set(part, at);
    at += part.length;
  }
  return out;
}
