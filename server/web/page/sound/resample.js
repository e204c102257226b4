// Another sample rate. Pure.
//
// A sinc under a Kaiser window (Kaiser and Schafer 1980). Where two whole rates meet,
// an output sample lies at one of a few places between two input samples; what each
// place is made of is worked out once.

/** Zero crossings of the sinc on each side. */
const CROSSINGS = 24;
/** Shape of the Kaiser window: some 80 dB down outside. */
const BETA = 8;
/** The middle of the slope, share of the lower Nyquist frequency. */
const CUTOFF = 0.94;
/** Pairs of rates remembered. */
const REMEMBERED = 4;

const known = new Map();

/** Samples on each side that a sample is made of, at the input's rate. */
export function reach(fromRate, toRate) {
  return Math.ceil(CROSSINGS / (CUTOFF * Math.min(1, toRate / fromRate))) + 1;
}

/**
 * `count` samples at `toRate`: the first is where `input[at]` is, the others each
 * `fromRate / toRate` further; rates and `at` are whole numbers. Outside the input is
 * silence. Clamped to full scale, since what lies between samples may be above.
 */
export function resample(input, fromRate, toRate, at, count) {
  const { places, taps, half, factors } = table(fromRate, toRate);
  const [up, down] = reduced(toRate, fromRate);
  const out = new Float32Array(count);
  let base = at;
  let place = 0;
  for (let n = 0; n < count; n += 1) {
    const first = base - half + 1;
    const row = place * taps;
    const from = Math.max(0, -first);
    const to = Math.min(taps, input.length - first);
    let sum = 0;
    for (let k = from; k < to; k += 1) sum += input[first + k] * factors[row + k];
    out[n] = Math.max(-1, Math.min(1, sum));
    place += down;
    base += Math.floor(place / up);
    place %= places;
  }
  return out;
}

/** What an output sample at each place is made of. */
function table(fromRate, toRate) {
  const key = `${fromRate} ${toRate}`;
  const kept = known.get(key);
  if (kept) return kept;
  const [places] = reduced(toRate, fromRate);
  const half = reach(fromRate, toRate);
  const taps = 2 * half;
  const squeeze = Math.min(1, toRate / fromRate) * CUTOFF;
  const factors = new Float32Array(places * taps);
  for (let place = 0; place < places; place += 1) {
    for (let k = 0; k < taps; k += 1) {
      const distance = k - half + 1 - place / places;
      factors[place * taps + k] = squeeze * kernel(distance * squeeze);
    }
  }
  const made = { places, taps, half, factors };
  if (known.size >= REMEMBERED) known.delete(known.keys().next().value);
  known.set(key, made);
  return made;
}

/** The windowed sinc at a distance, in zero crossings. */
function kernel(distance) {
  const along = distance / CROSSINGS;
  if (Math.abs(along) >= 1) return 0;
  const x = Math.PI * distance;
  const sinc = x === 0 ? 1 : Math.sin(x) / x;
  return (sinc * bessel(BETA * Math.sqrt(1 - along * along))) / bessel(BETA);
}

/** The modified Bessel function of the first kind, order 0, by its series. */
function bessel(x) {
  let sum = 1;
  let term = 1;
  for (let k = 1; term > sum * 1e-12; k += 1) {
    term *= (x / (2 * k)) ** 2;
    sum += term;
  }
  return sum;
}

function reduced(a, b) {
  let [x, y] = [a, b];
  while (y > 0) [x, y] = [y, x % y];
  return [a / x, b / x];
}
