// The buttons above the board: how much of the event is seen, and what to go to.

import { el } from "../dom.js";
import { doubt, position } from "../written.js";

export class Tools {
  constructor(does) {
    const button = (text, label, act) =>
      el("button", { type: "button", class: "quiet", title: label, "aria-label": label === text ? null : label, onclick: act }, text);
    this.follow = el(
      "button",
      { type: "button", class: "quiet", id: "day-follow", "aria-pressed": "false", title: "What is seen moves with what sounds", onclick: does.follow },
      "Follow",
    );
    this.pan = el("input", { type: "range", id: "day-pan", class: "pan", min: 0, max: 1000, step: 1, value: 0, "aria-label": "What is seen of the event" });
    this.pan.addEventListener("input", () => does.panTo(Number(this.pan.value) / 1000));
    this.told = el("p", { class: "seen", id: "day-seen" });
    this.before = button("Problem before", "To the coverage problem before", () => does.problem(-1));
    this.next = button("Next problem", "To the next coverage problem", () => does.problem(1));
    this.host = el(
      "div",
      { class: "tools", role: "toolbar", "aria-label": "What is seen" },
      button("Whole event", "Whole event", does.whole),
      button("Wider", "Wider", () => does.zoom(2)),
      button("Closer", "Closer", () => does.zoom(0.5)),
      button("To words", "Close enough to see each word", does.words),
      button("Here", "To where one is", does.here),
      button("Earlier", "Earlier", () => does.page(-1)),
      button("Later", "Later", () => does.page(1)),
      this.follow,
      this.before,
      this.next,
      this.told,
      keysTold(),
    );
  }

  show({ scale, follows, problems }) {
    this.follow.setAttribute("aria-pressed", String(follows));
    this.before.disabled = problems === 0;
    this.next.disabled = problems === 0;
    const room = Math.max(scale.end - scale.start - scale.span, 0);
    this.pan.disabled = room === 0;
    const at = room === 0 ? 0 : Math.round((Math.min(Math.max(scale.from - scale.start, 0), room) / room) * 1000);
    if (document.activeElement !== this.pan) this.pan.value = at;
    const from = position(Math.max(scale.from, scale.start));
    const to = position(Math.min(scale.to, scale.end));
    const text = `${from} to ${to}`;
    this.pan.setAttribute("aria-valuetext", text);
    const told = `${text}, ${doubt(scale.perPx)} a pixel`;
    if (this.told.textContent !== told) this.told.textContent = told;
  }
}

/** What the keys do while the board has the focus. */
function keysTold() {
  const rows = [
    ["← →", "a step"],
    ["Ctrl ← →", "to what is said before or next"],
    ["Page ↑ ↓", "as much as is seen"],
    ["Home, End", "to the first or last sound"],
    ["Shift", "with any of these: a stretch"],
    ["↑ ↓", "closer, wider"],
    ["Enter", "play from here"],
    ["Esc", "no stretch"],
  ];
  return el(
    "details",
    { class: "help day-help" },
    el("summary", {}, "Keys"),
    el(
      "div",
      { class: "sheet" },
      el(
        "dl",
        { class: "keys", id: "day-keys" },
        ...rows.flatMap(([key, does]) => [el("dt", {}, el("kbd", {}, key)), el("dd", {}, does)]),
      ),
      el("p", { class: "about" }, "A wheel or two fingers: closer and wider. A drag over rows: a stretch; over the numbers, or with a finger: earlier and later. Two presses: play."),
    ),
  );
}
