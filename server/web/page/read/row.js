// One moment as a paragraph: who speaks where that changes, and its words.

import { el, replace } from "../dom.js";
import { length, position } from "../written.js";
import { isUncertain, markOf, speakerOf, spokenTimes, sureOf, wordsOf } from "./spoken.js";

export class Row {
  #head = el("div", { class: "head" });
  #play;
  #edit;
  #body;
  #doubt = el("p", { class: "why-doubt", hidden: true });
  #shown = {};
  #text = null; // what the words on the page were made of
  #detail = null;

  constructor(moment) {
    this.id = moment.id;
    this.moment = moment;
    /** When its words are said: what `spokenTimes` tells; null until they are known. */
    this.times = null;
    this.words = el("p", { class: "words", dir: "auto" });
    this.#play = el("button", { type: "button", class: "play", tabindex: "-1", "aria-pressed": "false" });
    this.#edit = el("button", { type: "button", class: "quiet edit", tabindex: "-1" }, "Edit");
    this.#body = el("div", { class: "body" }, this.#play, this.words, this.#edit);
    this.editing = false;
    this.node = el(
      "article",
      { class: "utterance", "data-id": moment.id },
      this.#head,
      this.#body,
      this.#doubt,
    );
    this.node.row = this;
  }

  /**
   * `setting`: `{opens, turn, at, total, colour}`: the heading it begins a part with, or
   * null; whether another one speaks than before; its place; the colour of who speaks.
   */
  show(moment, setting) {
    this.moment = moment;
    const { person, also, start_ms, doubt, text, language } = moment;
    if (this.#news("head", { setting, person, also, start_ms })) this.#showHead(setting);
    if (this.#news("words", { text, language, version: moment.version })) this.#showText();
    if (this.#news("doubt", { doubt })) {
      this.#doubt.hidden = !doubt;
      this.#doubt.textContent = doubt ? `Doubtful: ${doubt}` : "";
    }
    const name = `${speakerOf(moment)}${start_ms === null ? "" : ` at ${position(start_ms)}`}`;
    this.node.setAttribute("aria-label", name);
    this.node.setAttribute("aria-posinset", setting.at + 1);
    this.node.setAttribute("aria-setsize", setting.total);
    this.#play.setAttribute("aria-label", `Play ${name}`);
    this.#edit.setAttribute("aria-label", `Edit ${name}`);
    this.node.style.setProperty("--who", setting.colour);
  }

  /** Takes in the words with their times and how sure they are. */
  showWords(detail, timeline) {
    if (detail.version < this.moment.version) return;
    this.times = spokenTimes(detail, timeline);
    if (this.#detail === detail) return;
    this.#detail = detail;
    const text = detail.words.map((word) => word.text).join(" ");
    if (text !== this.#text) this.#fill(detail.words.map((word) => word.text), text);
    for (const [n, node] of this.wordNodes.entries()) {
      const mark = markOf(detail.words, n);
      node.className = mark ? `word ${mark.kind}` : "word";
      if (mark) node.title = mark.told;
      else node.removeAttribute("title");
    }
  }

  /** Its words with all that is known of them; null until that is known. */
  get detail() {
    return this.#detail;
  }

  get wordNodes() {
    return [...this.words.querySelectorAll(".word")];
  }

  /** Whether its buttons can be reached by Tab. */
  set current(is) {
    this.node.classList.toggle("current", is);
    for (const button of this.node.querySelectorAll(".play, .edit, .confirm")) {
      button.tabIndex = is ? 0 : -1;
    }
  }

  set plays(is) {
    this.#play.setAttribute("aria-pressed", String(is));
  }

  /** Puts a form in the place of the words; null takes it away. */
  edit(form) {
    this.node.querySelector(".editing")?.remove();
    this.editing = form !== null;
    this.#body.hidden = this.editing;
    if (form) this.#body.after(form);
  }

  /** Marks the word that sounds; -1 for none. */
  sound(n) {
    const now = this.wordNodes[n] ?? null;
    if (now === this.#shown.sounding) return now;
    this.#shown.sounding?.classList.remove("sounds");
    now?.classList.add("sounds");
    this.#shown.sounding = now;
    return now;
  }

  /** Marks the words of [from, to) as picked. */
  pick(from, to) {
    for (const [n, node] of this.wordNodes.entries()) {
      node.classList.toggle("picked", n >= from && n < to);
    }
  }

  #news(name, value) {
    const now = JSON.stringify(value);
    if (this.#shown[name] === now) return false;
    this.#shown[name] = now;
    return true;
  }

  #showHead({ opens, turn }) {
    const { moment } = this;
    const parts = [];
    if (opens) parts.push(heading(opens));
    if (turn) parts.push(this.#turn(moment));
    replace(this.#head, parts);
  }

  #turn(moment) {
    const uncertain = isUncertain(moment);
    const reachable = this.node.classList.contains("current") ? "0" : "-1";
    return el(
      "p",
      { class: moment.person ? "turn" : "turn nobody" },
      el("span", { class: "name", dir: "auto", title: sureOf(moment) }, speakerOf(moment)),
      moment.start_ms === null ? null : el("span", { class: "time" }, position(moment.start_ms)),
      uncertain ? el("span", { class: "sure" }, sureOf(moment)) : null,
      uncertain
        ? el(
            "button",
            {
              type: "button",
              class: "quiet confirm",
              tabindex: reachable,
              "data-key": `confirm/${moment.id}`,
              "aria-label": `It is ${moment.person.name} who speaks`,
            },
            "That is right",
          )
        : null,
    );
  }

  #showText() {
    const { text, language } = this.moment;
    this.#detail = null;
    this.times = null;
    if (language) this.words.lang = language;
    else this.words.removeAttribute("lang");
    const words = wordsOf(text ?? "");
    if (words.join(" ") !== this.#text) this.#fill(words, words.join(" "));
  }

  #fill(words, text) {
    this.#text = text;
    this.#shown.sounding = null;
    const focused = this.wordNodes.indexOf(document.activeElement);
    const hadFocus = this.words.contains(document.activeElement);
    const nodes = words.flatMap((word, n) => {
      const node = el("span", { class: "word", tabindex: "-1" }, word);
      return n === 0 ? [node] : [" ", node];
    });
    if (nodes.length === 0) {
      const told = this.moment.text === null ? "not written down yet" : "no words";
      nodes.push(el("span", { class: "nothing", tabindex: "-1" }, told));
    }
    this.words.replaceChildren(...nodes);
    if (hadFocus) this.stop(Math.max(focused, 0)).focus({ preventScroll: true });
  }

  /** Where the focus rests: a word, or what stands there without words. */
  stop(n) {
    const stops = this.stops;
    return stops[Math.min(n, stops.length - 1)];
  }

  get stops() {
    return [...this.words.children];
  }
}

function heading({ name, start_ms = null, end_ms = null }) {
  const times = start_ms === null ? null : `${length(start_ms)} to ${length(end_ms)}`;
  return el(
    "h2",
    { class: "part" },
    el("span", { dir: "auto" }, name),
    times ? el("span", { class: "time" }, times) : null,
  );
}
