// What has no backup, and what no source has well, in order of time: moments of the
// outline, those that follow each other as one problem.

/** Moments no further apart are one problem, ms. */
const TOGETHER_MS = 2000;

/** `{startMs, endMs, good}`: 0 where no source has it well, 1 where only one has. */
export function problemsOf(outline) {
  const found = [];
  if (!outline) return found;
  for (let n = 0; n < outline.start_ms.length; n += 1) {
    const good = outline.good[n];
    if (good !== 0 && good !== 1) continue;
    const last = found.at(-1);
    if (last && last.good === good && outline.start_ms[n] - last.endMs <= TOGETHER_MS) {
      last.endMs = Math.max(last.endMs, outline.end_ms[n]);
    } else {
      found.push({ startMs: outline.start_ms[n], endMs: outline.end_ms[n], good });
    }
  }
  return found;
}

/** The problem after an instant, or before it; null where there is none. */
export function nextProblem(problems, ms, direction) {
  const after = ({ startMs }) => startMs > ms + 1;
  const before = ({ startMs }) => startMs < ms - 1;
  return (direction > 0 ? problems.find(after) : problems.findLast(before)) ?? null;
}

export const problemTold = ({ good }) =>
  good === 0 ? "No source has this clean or usable." : "Only one source has this clean or usable.";

export const noProblem = (direction) => `No coverage problem ${direction > 0 ? "after" : "before"} this.`;
