// The lines that were found, each with the recordings that heard it.

import { el, replace } from "../dom.js";
import { brief, count, doubtful, position, runs } from "../written.js";

/** A name for one hearing that stays the same when the list is shown anew. */
const keyOf = (hit, hearing) => `${hit.moment}/${hearing.recording.id}/${hearing.start_ms}`;

export function showHits(list, hits, acts) {
  const guess = hits.findIndex((hit) => hit.guess);
  const lines = hits.map((hit) => line(hit, acts));
  if (guess >= 0) lines.splice(guess, 0, el("li", { class: "perhaps" }, "Perhaps"));
  replace(list, lines);
}

export function summary({ answer, asked, busy, known: { events, detail, status } }) {
  if (events?.length === 0) return "No event yet: make one under Add.";
  if (detail && detail.recordings.length === 0) return "No recordings yet: bring them in under Add.";
  if (busy && !answer) return "Looking…";
  if (!answer) return "";
  if (answer.total === 0) {
    const open = status ? status.jobs.waiting + status.jobs.running : 0;
    const later = open > 0 ? "; words are still to come" : "";
    return asked.q.trim() ? `Nothing heard like ${asked.q.trim()}${later}` : `Nothing like that${later}`;
  }
  return `${answer.more ? "more than " : ""}${count(answer.total, "line", "lines")}`;
}

/** Marks the button of the spot that plays. */
export function showPlaying(host, heard) {
  for (const button of host.querySelectorAll("button.play")) {
    const plays = Boolean(heard?.key) && button.dataset.key === heard.key;
    button.setAttribute("aria-pressed", String(plays));
    button.closest("li").classList.toggle("plays", plays);
  }
}

function line(hit, acts) {
  const words = runs(hit.text, hit.matched).flatMap((run, n) => {
    const piece = run.hit ? el("mark", {}, run.text) : run.text;
    return n === 0 ? [piece] : [" ", piece];
  });
  return el(
    "li",
    { class: "hit" },
    el("p", { class: "said", dir: "auto" }, who(hit), ...words, doubtful(hit.doubt)),
    el(
      "ul",
      { class: "hearings", "aria-label": "Heard on" },
      ...hit.heard_on.map((hearing) => row(hit, hearing, acts)),
    ),
    el("div", { class: "foot" }, about(hit, acts), ...doing(hit, acts)),
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
function about({ event, part, match, start_ms, not_heard_on }, { shelf }) {
  const facts = [
    shelf ? event.title : null,
    part,
    match === "exact" ? null : match,
    start_ms === null ? "not on the event clock" : `at ${position(start_ms)} of the event`,
    not_heard_on.length === 0
      ? null
      : `not heard on ${not_heard_on.map(({ source }) => source.label).join(", ")}`,
  ].filter(Boolean);
  const why = not_heard_on.map(({ source, why }) => `${source.label}: ${why.join(", ")}`);
  return el("p", { class: "about", title: why.join("; ") || null }, facts.join(" · "));
}

function doing(hit, { collect, link, go, play, here }) {
  const [best] = hit.heard_on;
  const button = (name, text, label, onclick) =>
    el(
      "button",
      { type: "button", class: "quiet", "data-key": `${name}/${hit.moment}`, "aria-label": label, onclick },
      text,
    );
  const where = hit.start_ms === null ? "" : ` at ${position(hit.start_ms)}`;
  return [
    best &&
      button("on", "Play on", `Play on from here${where}`, () =>
        play({ key: null, title: hit.text, hearing: best, on: true, at: here(hit) ? hit.start_ms : null }),
      ),
    here(hit) && button("collect", "Collect", `Collect the matched words${where} into the cut list`, () => collect(hit)),
    button("link", "Copy link", `Copy a link to this line${where}`, () => link(hit)),
    button("read", "Read", `Read what is said around it${where}`, () => go("read", hit)),
    button("day", "Day", `See every source${where}`, () => go("day", hit)),
  ].filter(Boolean);
}

function row(hit, hearing, { play }) {
  const { source, recording, start_ms, end_ms } = hearing;
  const where = position(start_ms);
  const spot = { key: keyOf(hit, hearing), title: hit.text, hearing };
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
      onclick: () => play(spot),
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
export function grade(verdict) {
  return { clean: "three", usable: "two" }[verdict] ?? "one";
}
