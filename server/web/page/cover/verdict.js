// May the cards be wiped? What can be said, and what can't. Pure.

import { count } from "../written.js";

/** Coverage is about what was heard, never about the copies of the files. */
export const CAUTION =
  "This tells what was heard, not whether the files are safe: it does not check the copies. Wipe a card only once its files " +
  "are on two disks and have been compared with it.";

/** `{sentence, kind, caution, facts}`; kind is 'yes', 'no', 'wait' or 'none'. */
export function verdict(coverage) {
  if (!coverage) return { sentence: "Waiting for the server.", kind: "wait", caution: CAUTION, facts: [] };
  const { finished, failed, parts, elsewhere, off_clock: off } = coverage;
  const required = parts.filter((part) => part.required);
  const open = required.filter((part) => !part.backed_up);
  const facts = [];
  if (!finished) facts.push("Work is not finished: more may have a backup than is told here.");
  if (failed > 0) {
    facts.push(`${count(failed, "file", "files")} could not be opened or listened through, and count for nothing here: see Add.`);
  }
  if (off.length > 0) facts.push(`${count(off.length, "recording does", "recordings do")} not lie on the event clock, and count for nothing here.`);
  const told = (kind, sentence) => ({ kind, sentence, caution: CAUTION, facts });
  if (parts.length === 0 && elsewhere.moments === 0) {
    return told(finished ? "none" : "wait", finished ? "Nothing was heard in this event yet, so nothing can be said of the cards." : "Not yet: the recordings are still being listened through.");
  }
  if (!finished) return told("wait", "Do not wipe any card yet: the recordings are still being listened through.");
  if (required.length === 0) {
    return told("none", "No part of this event is marked as required, so whether the cards may be wiped can't be told: mark the parts that can't be repeated.");
  }
  if (open.length > 0) {
    const names = open.map(({ name }) => name).join(", ");
    return told("no", `No: ${count(open.length, "required part has", "required parts have")} no full backup (${names}). Keep every card.`);
  }
  return told("yes", "As far as was heard, yes: every required part is on two sources.");
}
