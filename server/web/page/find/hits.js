// The lines that were found, each with the recordings that heard it.

import { brief, count, position, runs } from "../written.js";
import { mark } from "../day/clock.js";
import { at, el, replace } from "../dom.js";

/** A name for one hearing that stays the same when the list is shown anew. */
export const keyOf = (hit, hearing) => `${hit.moment}/${hearing.recording.id}/${hearing.start_ms}`;

export function showHits({ answer, playing }, onPlay) {
  const hits = answer?.hits ?? [];
  const guess = hits.findIndex((hit) => hit.guess);
  const lines = hits.map((hit) => line(hit, onPlay));
  if (guess >= 0) lines.splice(guess, 0, el("li", { class: "perhaps" }, "Perhaps"));
  replace(at("hits"), lines);
  at("more").hidden = !answer || (hits.length >= answer.total && !answer.more);
  showPlaying({ playing });
}

export function showSummary({ answer, asked, query, trouble, busy, status }) {
  let text = "";
  if (trouble) text = trouble;
  else if (!query.trim()) text = "";
  else if (!answer) text = busy ? "Looking…" : "";
  else if (answer.total === 0) {
    const open = status ? status.jobs.waiting + status.jobs.running : 0;
    const later = open > 0 ? "; words are still to come" : "";
    text = `Nothing heard like ${asked}${later}`;
  } else {
    const more = answer.more ? "more than " : "";
    text = `${more}${count(answer.total, "line", "lines")}`;
  }
  const summary = at("summary");
  summary.textContent = text;
  summary.classList.toggle("trouble", Boolean(trouble));
}

/** Marks the button of the spot that plays. */
export function showPlaying({ playing }) {
  for (const button of document.querySelectorAll("button.play")) {
    const plays = button.dataset.key === playing?.key;
    button.setAttribute("aria-pressed", String(plays));
    button.closest("li").classList.toggle("plays", plays);
  }
}

function line(hit, onPlay) {
  const words = runs(hit.text, hit.matched).flatMap((run, n) => {
    const piece = run.hit ? el("mark", {}, run.text) : run.text;
    return n === 0 ? [piece] : [" ", piece];
  });
  return el(
    "li",
    { class: "hit" },
    el("p", { class: "said" }, who(hit), ...words, mark(hit.doubt)),
    el(
      "ul",
      { class: "hearings", "aria-label": "Heard on" },
      ...hit.heard_on.map((hearing) => row(hit, hearing, onPlay)),
    ),
    about(hit),
  );
}

/** Who speaks, and who at the same time; how sure that is and why, when pointed at. */
function who({ person, also }) {
  if (!person) return null;
  const sure = `${Math.round(100 * person.certainty)} % sure: ${person.why}`;
  const names = [person, also].filter(Boolean).map(({ name }) => name);
  return el("span", { class: "who", title: sure }, names.join(" + "));
}

/** How it answers, where it is on the event clock, and who ran but did not hear it. */
function about({ match, start_ms, not_heard_on }) {
  const facts = [
    match === "exact" ? null : match,
    start_ms === null ? null : `at ${position(start_ms)} of the event`,
    not_heard_on.length === 0
      ? null
      : `not heard on ${not_heard_on.map(({ source }) => source.label).join(", ")}`,
  ].filter(Boolean);
  const why = not_heard_on.map(({ source, why }) => `${source.label}: ${why.join(", ")}`);
  return facts.length === 0
    ? null
    : el("p", { class: "about", title: why.join("; ") || null }, facts.join(" · "));
}

function row(hit, hearing, onPlay) {
  const { source, recording, start_ms, end_ms } = hearing;
  const where = position(start_ms);
  const spot = { key: keyOf(hit, hearing), line: hit.text, hearing };
  const name = `Play ${source.label} at ${where}, ${hearing.verdict}`;
  return el(
    "li",
    { class: "hearing" },
    el("button", {
      type: "button",
      class: "play",
      "data-key": spot.key,
      "aria-label": name,
      "aria-pressed": "false",
      onclick: () => onPlay(spot),
    }),
    el("span", { class: "label", title: source.label }, source.label),
    el("span", { class: "placement" }, source.placement),
    el("span", { class: "time", title: `${start_ms} to ${end_ms} ms of the file` }, where),
    el("span", { class: "time span" }, brief(end_ms - start_ms)),
    el("span", { class: "time code", title: "Time of day by this recorder" }, hearing.timecode ?? ""),
    el("span", { class: `verdict ${grade(hearing.verdict)}` }, hearing.verdict),
    el("span", { class: "why", title: hearing.why.join(", ") }, hearing.why.join(", ")),
    el("span", { class: "file", title: recording.file }, recording.file),
  );
}

/** How many of the three bars beside a verdict are lit. */
function grade(verdict) {
  return { clean: "three", usable: "two" }[verdict] ?? "one";
}
