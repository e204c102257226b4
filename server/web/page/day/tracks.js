// Every recording that is on the event clock as a row, and in words how its place was
// found. Made of what the server says; draws nothing.

import { doubt } from "../written.js";

/** Sources in the order that they are looked at: those who wear a microphone first. */
const ORDER = ["worn", "feed", "stand", "ambient", "camera"];

/** A place found by sound is taken as it is up to so much, ms: less than a film's frame. */
const SURE_MS = 20;

/** Rows: `{id, file, source, wearer, first, spans, startMs, endMs, how, unsureMs, said}`. */
export function rowsOf(clock, detail) {
  const lengths = new Map((detail?.recordings ?? []).map((r) => [r.id, r.duration_ms]));
  const wearers = new Map((detail?.sources ?? []).map((s) => [s.id, s.wearer?.name ?? null]));
  const rank = ({ source }) => {
    const n = ORDER.indexOf(source.placement);
    return n < 0 ? ORDER.length : n;
  };
  const placed = (clock?.recordings ?? []).filter(onClock);
  placed.sort((a, b) => rank(a) - rank(b) || 0);
  let before = null;
  return placed.map((told) => {
    const spans = spansOf(told, lengths.get(told.recording.id));
    const first = told.source.id !== before;
    before = told.source.id;
    return {
      id: told.recording.id,
      file: told.recording.file,
      source: told.source,
      wearer: wearers.get(told.source.id) ?? null,
      first,
      spans,
      startMs: spans[0].from,
      endMs: spans.at(-1).to,
      how: told.how,
      unsureMs: unsure(told),
      said: certainty(told),
    };
  });
}

export const onClock = ({ island, start_ms, pieces }) =>
  island === 0 && start_ms !== null && pieces.length > 0;

/** Those that are not on the event clock. */
export const apartOf = (clock) => (clock?.recordings ?? []).filter((told) => !onClock(told));

/**
 * Stretches in which a recording runs evenly: from and to on the event clock, where that
 * begins in the file, and how many ms of the file one of the clock is. The same as
 * `Placement` in core/clock/placement.rs.
 */
function spansOf({ pieces, end_ms }, lengthMs) {
  return pieces.map((piece, n) => {
    const speed = 1 + piece.rate_ppm / 1e6;
    const line = (fileMs) => piece.start_ms + (fileMs - piece.from_ms) / speed;
    const fileFrom = n === 0 ? 0 : piece.from_ms;
    const fileTo = pieces[n + 1]?.from_ms ?? lengthMs ?? null;
    const from = line(fileFrom);
    const to = fileTo === null ? (end_ms ?? from) : line(fileTo);
    return { from, to: Math.max(to, from), fileFrom, speed };
  });
}

/** How far either end may be off, ms, where that is worth a mark; 0 where it is sure. */
function unsure({ how, uncertainty_ms }) {
  if (uncertainty_ms === null) return Infinity;
  return how === "sound" && uncertainty_ms <= SURE_MS ? 0 : uncertainty_ms;
}

/** How its place was found (`sound`, `joined`, `stamp`, `by hand`), how far it may be off, how its clock runs. */
function certainty({ how, uncertainty_ms, rate_ppm }) {
  const off = uncertainty_ms === null ? "nobody knows how far off" : `± ${doubt(uncertainty_ms)}`;
  const way = `${how} ${off}`;
  return rate_ppm === null ? way : `${way}, ${drift(rate_ppm)}`;
}

/** How much faster a recorder's clock runs. */
export function drift(ppm) {
  const tenths = Math.round(ppm * 10) / 10 || 0;
  return `${tenths > 0 ? "+" : ""}${tenths.toFixed(1)} ppm`;
}

/** What to know where there are no rows. */
export function emptyTold({ clock, detail }) {
  if (!detail) return "Waiting for the server.";
  if (detail.recordings.length === 0) return "No recordings yet: they are added in Add.";
  if (clock && clock.solved_at === null) return "The recordings are being looked through; rows come once they are on one clock.";
  return "No recording is on the event clock.";
}
