// Another sample rate. Pure.
//
// A sinc under a Kaiser window (Kaiser and Schafer 1980), read from a table of 512
// steps between two samples with straight lines between the steps. Passband to 90 %
// of the lower of the two Nyquist frequencies.

/** Zero crossings of the sinc on each side. */
const CROSSINGS = 24;
/** Steps of the table between two crossings. */
const STEPS = 512;
/** Shape of the Kaiser window: some 80 dB down outside. */
const BETA = 8;
/** Where the passband ends, share of the lower Nyquist frequency. */
const CUTOFF = 0.94;

/** Samples on each side that a sample is made of, at the input's rate. */
export function reach(fromRate, toRate) {
  return Math.ceil(CROSSINGS / Math.min(1, toRate / fromRate)) + 1;
}

let table = null;

/**
 * `count` samples at `toRate`: the first at `at` (a position in `input`, in samples
 * with a fraction), the others each `fromRate / toRate` further. Outside the input
 * is silence. Clamped to full scale, since what lies between samples may be above.
 */
export function resample(input, fromRate, toRate, at, count) {
  table ??= kernel();
  const out = new Float32Array(count);
  const step = fromRate / toRate;
  const squeeze = Math.min(1, toRate / fromRate) * CUTOFF;
  const wide = CROSSINGS / squeeze;
  for (let n = 0; n < count; n += 1) {
    const centre = at + n * step;
    const first = Math.max(0, Math.ceil(centre - wide));
    const last = Math.min(input.length - 1, Math.floor(centre + wide));
    let sum = 0;
    for (let i = first; i <= last; i += 1) {
      const place = Math.abs(i - centre) * squeeze * STEPS;
      const whole = Math.floor(place);
      const low = table[whole];
      sum += input[i] * (low + (table[whole + 1] - low) * (place - whole));
    }
    out[n] = Math.max(-1, Math.min(1, sum * squeeze));
  }
  return out;
}

function kernel() {
  const length = CROSSINGS * STEPS;
  const values = new Float32Array(length + 2);
  const whole = bessel(BETA);
  for (let n = 0; n <= length; n += 1) {
    const x = (Math.PI * n) / STEPS;
    const sinc = n === 0 ? 1 : Math.sin(x) / x;
    values[n] = (sinc * bessel(BETA * Math.sqrt(1 - (n / length) ** 2))) / whole;
  }
  return values;
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
