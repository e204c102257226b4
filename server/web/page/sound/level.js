// How much louder or quieter a stretch is played so that sources match. Pure.

/** Programme loudness that EBU R 128 names, LUFS. A louder target would meet the
 * ceiling more often, and what meets the ceiling doesn't match. */
export const TARGET_LUFS = -23;
/** Maximum permitted true peak level of EBU R 128, dBTP. */
export const CEILING_DBTP = -1;
/** Never made louder by more, dB: beyond it noise comes up (common practice, no source). */
export const MOST_BOOST_DB = 12;
/** Every change of gain takes so long, ms. */
export const RAMP_MS = 20;

/**
 * The gain of a stretch, of its `levels` as the server tells them and of the number
 * of channels that were mixed into the one that sounds: `{gainDb, limited}`.
 *
 * `limited` is `boost` or `peak` where that kept the gain lower than the target asks
 * for, else null. Silence, and what nobody measured, is played as it is.
 */
export function matchGain(levels, channels = 1) {
  const loudness = levels?.integrated_lufs ?? null;
  if (loudness === null || !Number.isFinite(loudness)) return { gainDb: 0, limited: null };
  // Channels that are alike add up in the measure and not in their mean.
  const heard = loudness - 10 * Math.log10(Math.max(1, channels));
  const wanted = TARGET_LUFS - heard;
  const peak = levels.true_peak_dbtp ?? null;
  const below = peak === null ? 0 : CEILING_DBTP - peak;
  const gainDb = Math.min(wanted, MOST_BOOST_DB, below);
  if (gainDb === wanted) return { gainDb, limited: null };
  return { gainDb, limited: below < MOST_BOOST_DB ? "peak" : "boost" };
}

/** The factor of a gain. */
export const factor = (gainDb) => (gainDb === 0 ? 1 : 10 ** (gainDb / 20));
