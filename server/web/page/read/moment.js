// All that is known of the chosen moment, and what can be done to it but writing its words.

import { el, replace } from "../dom.js";
import { brief, position } from "../written.js";
import { isUncertain, markOf, speakerOf, sureOf } from "./spoken.js";
import { Times } from "./times.js";
import { History } from "./history.js";

export class MomentPanel {
  #desk;
  #author;
  #list;
  #on;
  #facts = el("div", { class: "facts" });
  #word = el("p", { id: "read-word", class: "about" });
  #who = el("div", { class: "who-told" });
  #shape = el("div", { class: "doing" });
  #times;
  #history;
  #row = null;
  #n = 0;
  #shown = "";

  /** `on.fixed(moments)` when the moment became these. */
  constructor(list, { desk, author, on }) {
    this.#list = list;
    this.#desk = desk;
    this.#author = author;
    this.#on = on;
    const change = (how) => this.#change(how);
    this.#times = new Times(desk, change);
    this.#history = new History(desk, change);
    this.node = el(
      "div",
      { class: "moment-panel" },
      this.#word,
      this.#facts,
      this.#who,
      this.#shape,
      this.#times.node,
      this.#history.node,
    );
    this.#empty();
  }

  /** Shows a row and one word of it. */
  show(row, n) {
    this.#row = row;
    this.#n = n;
    this.refresh();
  }

  /** Looks again at what is shown. */
  refresh() {
    const row = this.#row && this.#list.row(this.#row.id);
    if (!row) return this.#empty();
    this.#row = row;
    this.#showWord();
    const { people } = this.#desk.state.known;
    const names = people.map(({ id, name }) => [id, name]);
    const now = JSON.stringify([row.moment, row.detail?.heard, this.#n, names, this.#next()?.version]);
    if (now === this.#shown) return;
    this.#shown = now;
    replace(this.#facts, facts(row.moment, row.detail));
    this.#showWho(people);
    this.#showShape();
    this.#times.show(row, this.#n);
    this.#history.show(row.moment);
  }

  #empty() {
    this.#shown = "";
    this.#row = null;
    this.#word.textContent = "Choose a word or a moment to see what is known of it.";
    for (const part of [this.#facts, this.#who, this.#shape]) part.replaceChildren();
    this.#times.show(null, 0);
    this.#history.show(null);
  }

  #showWord() {
    const word = this.#row.detail?.words[this.#n];
    if (!word) {
      this.#word.textContent = this.#row.moment.text === null ? "Not written down yet." : "";
      return;
    }
    const mark = markOf(this.#row.detail.words, this.#n);
    const told = mark?.told ?? `${Math.round(100 * word.confidence)} % sure`;
    this.#word.textContent = `“${word.text}”: ${told}, ${brief(word.end_ms - word.start_ms)} long`;
  }

  // -- who speaks -----------------------------------------------------------------

  #showWho(people) {
    const { moment } = this.#row;
    const select = el(
      "select",
      { id: "moment-person", "data-key": "moment-person" },
      el("option", { value: "" }, moment.person ? "nobody told (find by voice)" : "not known"),
      ...people.map(({ id, name }) => el("option", { value: id }, name)),
    );
    select.value = moment.person?.id ?? "";
    select.addEventListener("change", () => this.tell(this.#row, select.value || null));
    replace(this.#who, [
      el("div", { class: "field" }, el("label", { for: "moment-person" }, "Who speaks"), select),
      el("p", { class: isUncertain(moment) ? "about uncertain" : "about" }, sureOf(moment)),
      isUncertain(moment)
        ? el("button", { type: "button", class: "quiet", "data-key": "moment-sure", onclick: () => this.tell(this.#row, moment.person.id) }, `Yes, ${moment.person.name}`)
        : null,
    ].filter(Boolean));
  }

  /** Says who speaks in a row's moment; null takes back what was said. */
  async tell(row, person) {
    const by = this.#author.ask();
    if (!by) {
      this.#shown = "";
      return this.refresh();
    }
    const told = await this.#desk.guarded(this.#desk.server.tellSpeaker(row.id, { person, by }));
    this.#desk.refreshSoon();
    if (told) this.#on.fixed([{ ...row.moment, person: told.person, also: told.also }]);
    else this.#shown = "";
    this.refresh();
  }

  // -- its shape -------------------------------------------------------------------

  #next() {
    const rows = this.#list.rows;
    const next = rows[rows.indexOf(this.#row) + 1]?.moment;
    return next && next.island === this.#row.moment.island && next.start_ms !== null ? next : null;
  }

  #showShape() {
    const { moment, detail } = this.#row;
    const next = this.#next();
    const word = detail?.words[this.#n];
    const button = (key, text, onclick) =>
      el("button", { type: "button", class: "quiet", "data-key": key, onclick }, text);
    const { server } = this.#desk;
    replace(this.#shape, [
      word && this.#n > 0
        ? button("moment-split", `Split before “${word.text}”`, () =>
            this.#change((asked) => server.split(moment.id, { ...asked, at_word: this.#n })),
          )
        : null,
      next
        ? button("moment-join", "Join with the next", () =>
            this.#change((asked) => server.join(moment.id, { ...asked, with: next.id, with_version: next.version })),
          )
        : null,
    ].filter(Boolean));
  }

  /** Makes a change: `how({version, by})` asks the server for it. */
  async #change(how) {
    const row = this.#row;
    const by = this.#author.ask();
    if (!row || !by) return;
    try {
      const { moments } = await how({ version: row.moment.version, by });
      this.#desk.tell(null);
      this.#on.fixed(moments);
    } catch (error) {
      const quicker = error.status === 409 ? " Look at it as it is now and try again." : "";
      this.#desk.tell(`${error.message}${quicker}`, { trouble: true });
    }
    this.#desk.refreshSoon();
    this.#on.again();
  }
}

function facts(moment, detail) {
  const { hearings, why, doubt, words_from: from, start_ms, end_ms, language } = moment;
  const when = start_ms === null ? "not on the event clock" : `${position(start_ms)} to ${position(end_ms)}, ${brief(end_ms - start_ms)}`;
  const told = [
    ["When", when],
    ["Who", speakerOf(moment)],
    doubt ? ["Doubtful", doubt] : null,
    from ? ["Words from", `${from.file}${why ? `: ${why}` : ""}`] : null,
    language ? ["Language", language] : null,
  ].filter(Boolean);
  const others = (detail?.heard ?? []).filter(({ text }) => text);
  return [
    el("dl", {}, ...told.flatMap(([name, value]) => [el("dt", {}, name), el("dd", { dir: "auto" }, value)])),
    hearings.length > 0
      ? el(
          "ul",
          { class: "copies", "aria-label": "Who has it" },
          ...hearings.map(({ source, heard, verdict, why: reasons }) =>
            el("li", { title: reasons.join(", ") }, el("span", { class: `verdict ${grade(verdict)}` }, source.label), el("span", { class: "about" }, heard ? verdict : "not heard")),
          ),
        )
      : null,
    others.length > 0
      ? el(
          "details",
          { class: "models" },
          el("summary", {}, "What models heard"),
          ...others.map(({ recording, model, text }) =>
            el("div", {}, el("p", { class: "about" }, `${recording.file}, ${model}`), el("p", { class: "stands", dir: "auto" }, text)),
          ),
        )
      : null,
  ].filter(Boolean);
}

const grade = (verdict) => ({ clean: "three", usable: "two" })[verdict] ?? "one";
