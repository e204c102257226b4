// Written texts of the event beside what was said of them.

import { el } from "../dom.js";
import { showScripts } from "./list.js";
import { showPasses } from "./passes.js";
import { Scripts } from "./texts.js";

export class TextsView {
  #desk;
  #scripts;
  #eventId = null;

  constructor(host, desk) {
    this.#desk = desk;
    host.append(...frame());
    this.#scripts = new Scripts(desk);
    this.#scripts.read(() => this.#showTexts());
    this.#scripts.listen();
  }

  show(known, changed) {
    if (known.eventId !== this.#eventId) {
      this.#eventId = known.eventId;
      this.#scripts.forget();
    }
    if (["eventId", "detail", "outline", "parts"].some((name) => changed.has(name))) this.#scripts.refresh();
    if (changed.has("heard")) this.#showPlaying(known);
  }

  #showTexts() {
    const known = this.#scripts.known;
    showScripts(known, this.#scripts);
    showPasses(known, {
      play: (spot) => this.#play(spot),
      mark: (pass, name) => this.#scripts.mark(pass, name),
      captions: this.#desk.server.captions,
    });
    this.#showPlaying(this.#desk.state.known);
  }

  #play({ key, line, hearing }) {
    const { recording, start_ms, end_ms } = hearing;
    this.#desk.hearFile(recording.id, start_ms, end_ms, { key, title: line });
  }

  #showPlaying({ heard }) {
    for (const button of document.querySelectorAll("#passes button.play")) {
      const plays = Boolean(heard?.key) && button.dataset.key === heard.key;
      button.setAttribute("aria-pressed", String(plays));
      button.closest("li").classList.toggle("plays", plays);
    }
  }
}

function frame() {
  const about =
    "A letter, vows or a reading as it was written: every time it was read, and what was changed, left out or added.";
  return [
    el("p", { class: "about" }, about),
    el("ul", { id: "scripts-list", class: "texts", "aria-label": "Written texts of the event" }),
    el("details", { id: "script-add" }, el("summary", {}, "Add a text"), form()),
    el("p", { id: "scripts-news", class: "summary", role: "status", "aria-live": "polite" }),
    el(
      "section",
      { id: "script", "aria-labelledby": "script-title", hidden: true },
      el("h2", { id: "script-title", tabindex: "-1" }),
      el("p", { id: "script-told", class: "summary", role: "status", "aria-live": "polite" }),
      el("div", { id: "passes" }),
    ),
  ];
}

function form() {
  const field = (id, label, input) =>
    el("div", { class: "field" }, el("label", { for: id }, label), input);
  const told = { "aria-describedby": "scripts-news" };
  return el(
    "form",
    { id: "script-new", novalidate: true },
    field("script-name", "Title", el("input", { id: "script-name", name: "title", autocomplete: "off", ...told })),
    field(
      "script-words",
      "The text as it was written: type or paste it, or drop a .txt file here",
      el("textarea", { id: "script-words", name: "text", rows: 7, ...told }),
    ),
    field(
      "script-file",
      "Or choose a .txt file",
      el("input", { id: "script-file", type: "file", accept: ".txt,text/plain" }),
    ),
    el("button", { id: "script-keep", type: "submit" }, "Find where it was read"),
  );
}
