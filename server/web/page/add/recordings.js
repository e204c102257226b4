// The recordings of the event: what they are and how far they are; and what is put right
// of their sources.

import { length } from "../written.js";
import { el, update } from "../dom.js";

const NUMBERS = new Set(["Length", "Speech"]);
const STATES = { waiting: "waits", working: "at work", ready: "ready", failed: "failed" };

export class Recordings {
  #desk;
  #host;
  #rows;

  constructor(host, desk) {
    this.#desk = desk;
    this.#rows = el("tbody", { id: "recordings-list" });
    const heads = ["Source", "File", "Channels", "Length", "Speech", "State"];
    this.#host = el(
      "section",
      { id: "recordings", "aria-labelledby": "recordings-title", hidden: true },
      el("h3", { id: "recordings-title" }, "Recordings"),
      el(
        "div",
        { class: "scroll", tabindex: "0", role: "group", "aria-label": "Recordings, as a table" },
        el("table", {}, el("thead", {}, el("tr", {}, ...heads.map((text) => el("th", { scope: "col", class: NUMBERS.has(text) ? "number" : null }, text)))), this.#rows),
      ),
    );
    host.append(this.#host);
  }

  show({ detail }) {
    const items = detail ? [...detail.recordings, ...detail.intakes.filter(isUnopened)] : [];
    this.#host.hidden = items.length === 0;
    update(this.#rows, items, (item) => (isUnopened(item) ? intake(item) : this.#row(item)));
  }

  #row(recording) {
    const { source } = recording;
    const about = recording.error ?? recording.warnings.join("; ");
    const state = el("td", { class: `state ${recording.state}` }, STATES[recording.state] ?? recording.state);
    if (about) state.append(el("span", { class: "placement" }, `: ${about}`));
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
            onclick: () => this.#desk.act(this.#desk.server.first(recording.id)),
          },
          "first",
        ),
      );
    }
    return el(
      "tr",
      {},
      el("th", { scope: "row" }, source.label, " ", el("span", { class: "placement" }, source.placement)),
      el("td", { class: "file", title: recording.path }, recording.file),
      el("td", { title: recording.channels_why }, recording.channels),
      el("td", { class: "number" }, length(recording.duration_ms)),
      el("td", { class: "number" }, length(recording.speech_ms)),
      state,
    );
  }
}

/** Of recordings and intakes only these have no length yet. */
const isUnopened = (item) => item.state === "waiting" && item.duration_ms === undefined;

function intake(item) {
  return el(
    "tr",
    {},
    el("th", { scope: "row" }, item.source.label, " ", el("span", { class: "placement" }, item.source.placement)),
    el("td", { class: "file", title: item.path }, item.file),
    el("td", {}),
    el("td", {}),
    el("td", {}),
    el("td", { class: "state waiting" }, "to be opened"),
  );
}
