// When a moment and its words are said, put right in ms of the file they were heard in.

import { el, replace } from "../dom.js";

const STEP_MS = 10;

export class Times {
  #desk;
  #change;
  #body = el("div", {});
  #row = null;
  #n = 0;
  #shown = "";

  /** `change(how)` makes a change and looks at what became of it. */
  constructor(desk, change) {
    this.#desk = desk;
    this.#change = change;
    this.node = el("details", { class: "times", hidden: true }, el("summary", {}, "Times"), this.#body);
    this.node.addEventListener("toggle", () => this.#draw());
  }

  /** `n`: the word that is chosen. */
  show(row, n) {
    this.#row = row;
    this.#n = n;
    this.node.hidden = !row?.detail;
    const { id, version } = row?.moment ?? {};
    const shown = JSON.stringify([id, version, n, row?.detail?.words[n], row?.detail?.words_from]);
    // What is typed stays while others look at the event.
    if (shown === this.#shown) return;
    this.#shown = shown;
    this.#draw();
  }

  #draw() {
    if (!this.node.open || !this.#row?.detail) return;
    const { moment, detail } = this.#row;
    const from = detail.words_from;
    const own = moment.hearings.find(({ recording }) => recording.id === from?.id);
    const word = detail.words[this.#n];
    replace(this.#body, [
      el("p", { class: "about" }, from ? `ms in ${from.file}` : "No words, so no times to change here."),
      own ? this.#pair("moment", "The moment", own, (start_ms, end_ms) => ({ start_ms, end_ms })) : null,
      word
        ? this.#pair("word", `“${word.text}”`, word, (start_ms, end_ms) => ({ words: [{ word: this.#n, start_ms, end_ms }] }))
        : null,
    ].filter(Boolean));
  }

  #pair(key, name, { start_ms, end_ms }, asked) {
    const number = (which, value) => {
      const id = `${key}-${which}`;
      const input = el("input", { id, type: "number", step: STEP_MS, value, "data-key": id });
      return el("div", { class: "field" }, el("label", { for: id }, which), input);
    };
    const [start, end] = [number("start", start_ms), number("end", end_ms)];
    const ms = (box) => Math.round(box.querySelector("input").valueAsNumber);
    const { moment } = this.#row;
    const recording = this.#row.detail.words_from?.id;
    return el(
      "fieldset",
      {},
      el("legend", { dir: "auto" }, name),
      start,
      end,
      el(
        "div",
        { class: "doing" },
        el("button", { type: "button", class: "quiet", "data-key": `${key}-hear`, onclick: () => this.#desk.hearFile(recording, ms(start), ms(end), { title: name }) }, "Play"),
        el(
          "button",
          {
            type: "button",
            class: "quiet",
            "data-key": `${key}-keep`,
            onclick: () => this.#change((told) => this.#desk.server.setTimes(moment.id, { ...told, ...asked(ms(start), ms(end)) })),
          },
          "Keep these times",
        ),
      ),
    );
  }
}
