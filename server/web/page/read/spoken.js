// When is each word said, how sure is it, and who says it? Pure.

/** Words less sure than this are marked. Moments are doubted as a whole when their mean is
 * below it (`SURE` in core/moments/words.rs). */
export const SURE = 0.5;
/** Words less sure than this are guesses (`GUESS` there). */
export const GUESS = 0.3;
/** Who speaks is marked as uncertain below this: what is above was right in 99 of 100. */
export const CERTAIN = 0.9;

/** Where a moment lies: `{line, startMs, endMs}`; null where nothing has it. */
export function placeOf(moment, timeline) {
  if (moment.start_ms !== null) return { line: 0, startMs: moment.start_ms, endMs: moment.end_ms };
  const [best] = moment.hearings;
  if (!best) return null;
  const id = best.recording.id;
  const on = (ms) => timeline?.toLine(id, ms) ?? ms;
  return { line: lineOf(id, timeline), startMs: on(best.start_ms), endMs: on(best.end_ms) };
}

const lineOf = (recording, timeline) => timeline?.lineOf(recording) ?? `file:${recording}`;

/**
 * When the words of a moment are said, on the line of the recording they were heard in:
 * `{line, recording, words: [{startMs, endMs}]}`; null without words.
 */
export function spokenTimes(detail, timeline) {
  const recording = detail.words_from?.id;
  if (!recording || detail.words.length === 0) return null;
  const on = (ms) => timeline?.toLine(recording, ms) ?? ms;
  const words = detail.words.map((word) => ({ startMs: on(word.start_ms), endMs: on(word.end_ms) }));
  return { line: lineOf(recording, timeline), recording, words };
}

/** The word that sounds at an instant; -1 for none. */
export function wordAt(words, ms) {
  return words.findIndex(({ startMs, endMs }) => ms >= startMs && ms < endMs);
}

/** What is to be known of a word: `{kind, told}`; null for one that is plainly heard. */
export function markOf(words, n) {
  const word = words[n];
  if (word.heard !== null) {
    let first = n;
    while (first > 0 && words[first].heard === "") first -= 1;
    return { kind: "name", told: `a name of the glossary; heard was “${words[first].heard}”` };
  }
  if (word.by_hand) return { kind: "hand", told: "written by hand" };
  const percent = `${Math.round(100 * word.confidence)} %`;
  if (word.confidence < GUESS) return { kind: "guess", told: `a guess, ${percent} sure` };
  if (word.confidence < SURE) return { kind: "unsure", told: `not sure, ${percent}` };
  return null;
}

/** Who speaks, in words. */
export function speakerOf({ person, also }) {
  if (!person) return "Unknown speaker";
  return also ? `${person.name} + ${also.name}` : person.name;
}

/** How sure it is who speaks, and why. */
export function sureOf({ person }) {
  if (!person) return "nobody knows who speaks";
  const percent = `${Math.round(100 * person.certainty)} % sure`;
  return person.why ? `${percent}, because: ${person.why}` : percent;
}

export const isUncertain = ({ person }) => person !== null && person.certainty < CERTAIN;

/** The words of a text, as the server parts them. */
export const wordsOf = (text) => text.split(/\s+/u).filter(Boolean);

/** The part a moment begins in, by its place in `parts`; -1 outside of all. */
export function partAt(parts, moment) {
  const { start_ms } = moment;
  if (start_ms === null) return -1;
  return parts.findLastIndex((part) => part.start_ms <= start_ms && part.end_ms > start_ms);
}
