// How times and words are written for people.

import { el } from "./dom.js";

/** A position in a file: 1:02:03.45, without the hours where there are none. */
export function position(ms) {
  if (ms < 0) return `-${position(-ms)}`;
  const hundredths = Math.floor(ms / 10);
  const seconds = Math.floor(hundredths / 100);
  const fine = String(hundredths % 100).padStart(2, "0");
  return `${clock(seconds)}.${fine}`;
}

/** An instant for an address: seconds with at most three decimals. */
export function seconds(ms) {
  return String(Math.round(ms) / 1000);
}

/** How far something may be off: 0.8 ms, 320 ms, 3.0 s. */
export function doubt(ms) {
  if (ms < 9.95) return `${ms.toFixed(1)} ms`;
  return ms < 999.5 ? `${ms.toFixed(0)} ms` : brief(ms);
}

/** A whole length: 1:02:03. */
export function length(ms) {
  return clock(Math.round(ms / 1000));
}

/** A short length: 2.4 s. */
export function brief(ms) {
  return `${(ms / 1000).toFixed(1)} s`;
}

function clock(seconds) {
  const two = (n) => String(n).padStart(2, "0");
  const hours = Math.floor(seconds / 3600);
  const minutes = Math.floor(seconds / 60) % 60;
  const rest = two(seconds % 60);
  return hours > 0 ? `${hours}:${two(minutes)}:${rest}` : `${minutes}:${rest}`;
}

/** About how long something still takes, in words. */
export function about(ms) {
  const minutes = Math.round(ms / 60000);
  if (minutes < 1) return "less than a minute left";
  if (minutes < 90) return `about ${minutes} min left`;
  return `about ${Math.round(minutes / 60)} h left`;
}

export function count(n, one, many) {
  return `${n} ${n === 1 ? one : many}`;
}

/**
 * Cuts a text into runs, each matched or not. The server counts words: what
 * stands between white space and holds a letter or a digit.
 */
export function runs(text, matched) {
  const inside = (word) => matched.some((m) => word >= m.from && word < m.to);
  const found = [];
  let word = 0;
  for (const token of text.split(/\s+/u).filter(Boolean)) {
    const isWord = /[\p{L}\p{N}]/u.test(token);
    const hit = isWord && inside(word);
    const last = found.at(-1);
    if (last && last.hit === hit) last.text += ` ${token}`;
    else found.push({ text: token, hit });
    if (isWord) word += 1;
  }
  return found;
}

/** Says that words are not to be trusted, and why. */
export function doubtful(why) {
  return why ? el("span", { class: "doubtful", title: why }, ` doubtful: ${why}`) : null;
}
