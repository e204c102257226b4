// Which words of a text are not in another? The longest list of words both have stays
// plain; the rest is marked.

import { el } from "../dom.js";
import { wordsOf } from "./spoken.js";

/** More words than this are compared from both ends only. */
const MOST = 600;

/** The words of `to`, those that `from` has not in that place marked. */
export function differences(from, to) {
  const [old, now] = [wordsOf(from), wordsOf(to)];
  const kept = old.length > MOST || now.length > MOST ? atEnds(old, now) : common(old, now);
  return now.flatMap((word, n) => [n === 0 ? "" : " ", kept[n] ? word : el("mark", {}, word)]);
}

/** Which words of `now` are part of the longest common list. */
function common(old, now) {
  const width = now.length + 1;
  const table = new Uint16Array((old.length + 1) * width);
  for (let a = old.length - 1; a >= 0; a -= 1) {
    for (let b = now.length - 1; b >= 0; b -= 1) {
      const at = a * width + b;
      table[at] =
        old[a] === now[b] ? table[at + width + 1] + 1 : Math.max(table[at + width], table[at + 1]);
    }
  }
  const kept = new Array(now.length).fill(false);
  let [a, b] = [0, 0];
  while (a < old.length && b < now.length) {
    const at = a * width + b;
    if (old[a] === now[b]) {
      kept[b] = true;
      a += 1;
      b += 1;
    } else if (table[at + width] >= table[at + 1]) a += 1;
    else b += 1;
  }
  return kept;
}

function atEnds(old, now) {
  const most = Math.min(old.length, now.length);
  let head = 0;
  while (head < most && old[head] === now[head]) head += 1;
  let tail = 0;
  while (tail < most - head && old.at(-1 - tail) === now.at(-1 - tail)) tail += 1;
  return now.map((_, n) => n < head || n >= now.length - tail);
}
