// The recordings of the event: what they are and how far they are.

import { length } from "../written.js";
import { at, el, update } from "../dom.js";

export function showRecordings({ detail }, onFirst) {
  const items = detail ? [...detail.recordings, ...detail.intakes.filter(isUnopened)] : [];
  at("recordings").hidden = items.length === 0;
  update(at("recordings-list"), items, (item) =>
    isUnopened(item) ? intake(item) : row(item, onFirst),
  );
}

/** Of recordings and intakes only these have no length yet. */
const isUnopened = (item) => item.state === "waiting" && item.duration_ms === undefined;

function row(recording, onFirst) {
  const { source } = recording;
  const about = recording.error ?? recording.warnings.join("; ");
  const state = el("td", { class: `state ${recording.state}`, title: about || null }, recording.state);
  if (recording.state === "waiting") {
    state.append(
      " ",
      el(
        "button",
        {
          type: "button",
          class: "quiet",
          "data-key": `first/${recording.id}`,
          "aria-label": `Work on ${recording.file} first`,
          onclick: () => onFirst(recording.id),
        },
        "first",
      ),
    );
  }
  return el(
    "tr",
    {},
    el("th", { scope: "row" }, source.label, el("span", { class: "placement" }, source.placement)),
    el("td", { class: "file", title: recording.path }, recording.file),
    el("td", { title: recording.channels_why }, recording.channels),
    el("td", { class: "number" }, length(recording.duration_ms)),
    el("td", { class: "number" }, length(recording.speech_ms)),
    state,
  );
}

function intake(item) {
  return el(
    "tr",
    {},
    el(
      "th",
      { scope: "row" },
      item.source.label,
      el("span", { class: "placement" }, item.source.placement),
    ),
    el("td", { class: "file", title: item.path }, item.file),
    el("td", {}),
    el("td", {}),
    el("td", {}),
    el("td", { class: "state waiting" }, "to be opened"),
  );
}
