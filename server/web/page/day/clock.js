// Where the recordings lie on the clock of the event: as a picture and, the same
// in words, as a table.

import { count, doubt, length, position } from "../written.js";
import { at, el, replace, update } from "../dom.js";

/** What to know about a clock that is not solved. */
const STATES = {
  none: "Recordings are put on one clock as they are added.",
  waiting:
    "All recordings are put on one clock once their files are looked through. Words come after that.",
  working: "The recordings are being put on one clock. Words come after that.",
  cancelled: "Putting the recordings on one clock was stopped.",
};

export function showClock({ clock, detail }, picture, onSolve, onStop) {
  const known = clock !== null && clock.recordings.length > 0;
  at("clock").hidden = !known;
  if (!known) return;
  const told = sentence(clock);
  at("clock-text").textContent = told;
  const offer = (text, onclick) =>
    at("clock-text").append(" ", el("button", { type: "button", class: "quiet", onclick }, text));
  if (["failed", "cancelled"].includes(clock.state)) offer("try again", onSolve);
  if (clock.state === "working") offer("stop", () => onStop(clock.job));
  at("clock-text").classList.toggle("trouble", clock.state === "failed");
  const warnings = new Set([...clock.warnings, ...clock.recordings.flatMap((r) => r.warnings)]);
  update(at("clock-warnings"), [...warnings], (warning) => el("li", {}, warning));
  update(at("clock-list"), clock.recordings, row);
  const image = at("clock-picture");
  image.hidden = clock.solved_at === null;
  if (image.hidden) return;
  // A picture is fetched again when what it shows has changed.
  const source = picture(clock.event.id, version(clock, detail));
  if (image.getAttribute("src") !== source) image.src = source;
  image.alt = `Each recording as a bar on the clock of the event. ${told} The table below has the same.`;
}

function sentence(clock) {
  if (clock.state === "failed") {
    return `The recordings could not be put on one clock: ${clock.error ?? "nobody knows why"}.`;
  }
  const placed = clock.recordings.filter((recording) => recording.start_ms !== null).length;
  const all = count(clock.recordings.length, "recording", "recordings");
  const solved = `${placed} of ${all} on the event clock, which is ${length(clock.length_ms)} long.`;
  if (clock.state === "solved") return solved;
  return clock.solved_at === null ? STATES[clock.state] : `${STATES[clock.state]} So far: ${solved}`;
}

function version({ solved_at, recordings }, detail) {
  const speech = (detail?.recordings ?? []).reduce((sum, { segments }) => sum + segments, 0);
  return `${solved_at}/${recordings.length}/${speech}`;
}

function row({ source, recording, start_ms, rate_ppm, uncertainty_ms, how, agreement, island }) {
  const apart = island > 0 && how !== "unplaced" ? `, apart ${island}` : "";
  const number = (text) => el("td", { class: "number" }, text);
  return el(
    "tr",
    {},
    el("th", { scope: "row" }, source.label, el("span", { class: "placement" }, source.placement)),
    el("td", { class: "file", title: recording.file }, recording.file),
    number(start_ms === null ? "–" : position(start_ms)),
    number(rate_ppm === null ? "–" : `${(Math.round(rate_ppm * 10) / 10 || 0).toFixed(1)} ppm`),
    number(uncertainty_ms === null ? "–" : doubt(uncertainty_ms)),
    el("td", {}, how + apart),
    number(agreement === null ? "–" : `${Math.round(agreement * 100)} %`),
  );
}
