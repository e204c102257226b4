// Where the recordings lie on the clock of the event, in words: a sentence, what was odd,
// and a table with the same facts as the rows of the board.

import { el, update } from "../dom.js";
import { count, doubt, length, position } from "../written.js";

/** What to know about a clock that is not solved. */
const STATES = {
  none: "Recordings are put on one clock as they are added.",
  waiting:
    "All recordings are put on one clock once their files are looked through. Words come after that.",
  working: "The recordings are being put on one clock. Words come after that.",
  cancelled: "Putting the recordings on one clock was stopped.",
};

export class Clock {
  #desk;

  constructor(desk) {
    this.#desk = desk;
    const button = (text, act) => el("button", { type: "button", class: "quiet", onclick: act }, text);
    this.text = el("p", { id: "clock-text", class: "summary", role: "status" });
    this.again = button("Try again", () => this.#solve());
    this.stop = button("Stop", () => this.#desk.act(this.#desk.server.cancel(this.#desk.state.known.clock.job)));
    this.warnings = el("ul", { id: "clock-warnings", class: "warnings", "aria-label": "What was odd" });
    this.rows = el("tbody", { id: "clock-list" });
    const head = ["Source", "File", "Starts at", "Drift", "Off by at most", "Found", "Agreement", ""];
    this.table = el(
      "details",
      { class: "fold", id: "clock-fold" },
      el("summary", {}, "Every recording in a table"),
      el(
        "div",
        { class: "scroll", tabindex: 0, role: "region", "aria-label": "Recordings on the clock" },
        el(
          "table",
          {},
          el("thead", {}, el("tr", {}, ...head.map((text) => el("th", { scope: "col" }, text || el("span", { class: "unseen" }, "What to do"))))),
          this.rows,
        ),
      ),
    );
    // Only an opened table is filled: it is as long as the event has files.
    this.table.addEventListener("toggle", () => this.#fill());
    this.host = el(
      "section",
      { class: "below", id: "clock", "aria-label": "The clock" },
      el("h3", {}, "The clock"),
      el("div", { class: "acts" }, this.text, this.again, this.stop),
      this.warnings,
      this.table,
    );
  }

  show({ clock }) {
    this.host.hidden = clock === null || clock.recordings.length === 0;
    if (this.host.hidden) return;
    this.text.textContent = sentence(clock);
    this.text.classList.toggle("trouble", clock.state === "failed");
    this.again.hidden = !["failed", "cancelled"].includes(clock.state);
    this.stop.hidden = clock.state !== "working";
    const warnings = new Set([...clock.warnings, ...clock.recordings.flatMap((r) => r.warnings)]);
    update(this.warnings, [...warnings], (warning) => el("li", {}, warning));
    this.warnings.hidden = warnings.size === 0;
    this.#fill();
  }

  #fill() {
    const { clock } = this.#desk.state.known;
    if (this.table.open && clock) update(this.rows, clock.recordings, (told) => this.#row(told));
  }

  #row({ source, recording, start_ms, rate_ppm, uncertainty_ms, how, agreement, island, fix }) {
    const apart = island > 0 && how !== "unplaced" ? `, apart ${island}` : "";
    const number = (text) => el("td", { class: "number" }, text);
    const free = fix
      ? el(
          "button",
          {
            type: "button",
            class: "quiet",
            "data-key": `free/${recording.id}`,
            "aria-label": `Let the place of ${recording.file} be found again`,
            onclick: () => this.#desk.act(this.#desk.server.freePlace(recording.id)),
          },
          "Find it again",
        )
      : null;
    return el(
      "tr",
      {},
      el("th", { scope: "row" }, source.label, " ", el("span", { class: "placement" }, source.placement)),
      el("td", { class: "file", title: recording.file }, recording.file),
      number(start_ms === null ? "–" : position(start_ms)),
      number(rate_ppm === null ? "–" : `${(Math.round(rate_ppm * 10) / 10 || 0).toFixed(1)} ppm`),
      number(uncertainty_ms === null ? "–" : doubt(uncertainty_ms)),
      el("td", {}, how + apart),
      number(agreement === null ? "–" : `${Math.round(agreement * 100)} %`),
      el("td", {}, free),
    );
  }

  #solve() {
    const { eventId } = this.#desk.state.known;
    this.#desk.act(this.#desk.server.solve(eventId));
  }
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
