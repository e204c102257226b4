// Where quotes stand in a cut, and what has become of a list. Pure.

import { count } from "../written.js";

/** Quotes with their places, and where each begins in the cut. */
export function laid(quotes) {
  let at = 0;
  return quotes.map((quote, n) => {
    const same = quote.place === n + 1 && quote.at_ms === at;
    const now = same ? quote : { ...quote, place: n + 1, at_ms: at };
    at += quote.length_ms;
    return now;
  });
}

export const lengthOf = (quotes) => quotes.reduce((ms, quote) => ms + quote.length_ms, 0);

/** With one of them at another place, from 1. */
export function moved(quotes, id, place) {
  const from = quotes.findIndex((quote) => quote.id === id);
  if (from < 0) return quotes;
  const rest = quotes.toSpliced(from, 1);
  return rest.toSpliced(place - 1, 0, quotes[from]);
}

/** With those that were changed as they are now. */
export function merged(quotes, changed) {
  const now = new Map(changed.map((quote) => [quote.id, quote]));
  return quotes.map((quote) => now.get(quote.id) ?? quote);
}

/** The words of a quote, short enough to be told of. */
export function short(quote, most = 40) {
  const text = quote?.text || quote?.text_now || "no words";
  return `“${text.length > most ? `${text.slice(0, most).trimEnd()}…` : text}”`;
}

/** How two states of a list differ, in words: what somebody else has done to it. */
export function differences(was, now) {
  const before = new Map(was.quotes.map((quote) => [quote.id, quote]));
  const after = new Map(now.quotes.map((quote) => [quote.id, quote]));
  const added = now.quotes.filter(({ id }) => !before.has(id));
  const gone = was.quotes.filter(({ id }) => !after.has(id));
  const kept = now.quotes.filter(({ id }) => before.has(id));
  const other = kept.filter((quote) => told(quote) !== told(before.get(quote.id)));
  const order = (quotes, there) => quotes.filter(({ id }) => there.has(id)).map(({ id }) => id).join(" ");
  const found = [];
  if (added.length > 0) found.push(`${named(added)} added`);
  if (gone.length > 0) found.push(`${named(gone)} taken out`);
  if (order(was.quotes, after) !== order(now.quotes, before)) found.push("another order");
  if (other.length > 0) found.push(`${named(other)} changed`);
  if (was.cut.name !== now.cut.name) found.push(`called ${now.cut.name}`);
  if (was.cut.note !== now.cut.note) found.push("another note of the list");
  return found.join("; ");
}

const named = (quotes) =>
  quotes.length === 1 ? short(quotes[0]) : count(quotes.length, "quote", "quotes");

/** What people set of a quote. */
const told = ({ in: begin, out, hearing, backups_wanted, note }) =>
  JSON.stringify([begin, out, hearing, backups_wanted, note]);

/** A nudge in words: +3 frames +40 ms. */
export function nudged({ ms, frames }) {
  const signed = (n) => (n > 0 ? `+${n}` : String(n).replace("-", "−"));
  const told = [];
  if (frames !== 0) told.push(`${signed(frames)} ${Math.abs(frames) === 1 ? "frame" : "frames"}`);
  if (ms !== 0) told.push(`${signed(ms)} ms`);
  return told.join(" ") || "as picked";
}

/** Frames a second of a rate as it is written: 25, 30000/1001, 29.97df. */
export function framesPerSecond(rate) {
  if (!rate) return null;
  const [over, under = "1"] = rate.replace(/df$/u, "").split("/");
  const fps = Number(over) / Number(under);
  // 23.976 and the like are short for thousands over 1,001.
  const exact = (Math.round(fps) * 1000) / 1001;
  if (!Number.isFinite(fps) || fps <= 0) return null;
  return under === "1" && Math.abs(fps - exact) < 0.005 ? exact : fps;
}
