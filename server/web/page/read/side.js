// Beside the transcript: the parts, the chosen moment, the people, and texts not saved.

import { el, update } from "../dom.js";
import { length, position } from "../written.js";

/** Below this width it stands under the transcript, folded. */
const NARROW = "(max-width: 60rem)";

export class Side {
  #on;
  #parts = el("ol", { class: "parts", "aria-label": "Parts" });
  #drafts = el("ul", { class: "drafts", "aria-label": "Texts not saved" });
  #draftFold;
  #partFold;

  /** `on.go(ms)`, `on.draft(id, draft)`, `on.drop(id)`. */
  constructor(moment, people, on) {
    this.#on = on;
    const open = !matchMedia(NARROW).matches;
    const fold = (id, title, ...content) =>
      el("details", { id, class: "fold", open }, el("summary", {}, el("h2", {}, title)), ...content);
    this.#draftFold = fold("read-drafts", "Not saved", this.#drafts);
    this.#draftFold.hidden = true;
    this.#partFold = fold("read-parts", "Parts", this.#parts);
    this.node = el(
      "aside",
      { class: "side", "aria-label": "Beside the transcript" },
      this.#draftFold,
      fold("read-moment", "This moment", moment),
      fold("read-people", "People", people),
      this.#partFold,
    );
  }

  showParts(parts) {
    this.#partFold.hidden = parts.length === 0;
    update(this.#parts, parts, ({ name, start_ms, end_ms }) =>
      el(
        "li",
        {},
        el("button", { type: "button", class: "quiet name", "data-key": `part/${start_ms}`, onclick: () => this.#on.go(start_ms) }, el("span", { dir: "auto" }, name)),
        el("span", { class: "time" }, `${length(start_ms)} to ${length(end_ms)}`),
      ),
    );
  }

  showDrafts(drafts) {
    this.#draftFold.hidden = drafts.length === 0;
    update(this.#drafts, drafts, ([id, draft]) =>
      el(
        "li",
        {},
        el("p", { class: "stands", dir: "auto" }, draft.text),
        el(
          "p",
          { class: "doing" },
          draft.startMs === null ? null : el("span", { class: "time" }, position(draft.startMs)),
          el("button", { type: "button", class: "quiet", "data-key": `draft/${id}`, onclick: () => this.#on.draft(id, draft) }, "Go there"),
          el("button", { type: "button", class: "quiet", "data-key": `drop/${id}`, onclick: () => this.#on.drop(id) }, "Drop it"),
        ),
      ),
    );
  }
}

/** What the marks under words mean, and the keys inside the transcript. */
export function legend() {
  const mark = (kind, text, told) => [el("dt", {}, el("span", { class: `word ${kind}` }, text)), el("dd", {}, told)];
  const key = (name, told) => [el("dt", {}, el("kbd", {}, name)), el("dd", {}, told)];
  return el(
    "details",
    { class: "help marks" },
    el("summary", {}, "Marks and keys"),
    el(
      "div",
      { class: "sheet" },
      el(
        "dl",
        { class: "keys" },
        ...mark("unsure", "word", "less than 50 % sure"),
        ...mark("guess", "word", "a guess, less than 30 % sure"),
        ...mark("name", "word", "a name put in from the glossary"),
        ...mark("hand", "word", "written by hand"),
        ...key("← →", "word before, next word"),
        ...key("↑ ↓", "moment before, next moment"),
        ...key("Enter", "play from this word"),
        ...key("F2", "put its words right"),
        ...key("Shift ← →", "pick words, with ↑ ↓ moments"),
        ...key("Esc", "let go of what is picked"),
        ...key("Ctrl Home", "the beginning; Ctrl End the end"),
      ),
    ),
  );
}
