// What was chosen, to be looked over before anything is sent: one row a recorder, guessed
// and put right.

import { el } from "../dom.js";
import { count } from "../written.js";
import { amount } from "./bytes.js";

export const PLACEMENTS = [
  ["worn", "worn by a person"],
  ["feed", "feed of the desk"],
  ["stand", "on a stand"],
  ["ambient", "in the room"],
  ["camera", "in a camera"],
];

export class Table {
  #host;
  #rows;
  #told;
  #onSend;
  #groups = [];
  #passed = [];

  constructor(host, onSend) {
    this.#onSend = onSend;
    this.#rows = el("tbody", { id: "guesses" });
    this.#told = el("p", { class: "about" });
    const heads = ["Files", "Source", "Where it was", "Who wears it", "Why this is guessed", ""];
    this.#host = el(
      "section",
      { class: "look-over", id: "look-over", "aria-labelledby": "look-over-title", hidden: true },
      el("h3", { id: "look-over-title", tabindex: "-1" }, "Look over before it is sent"),
      el("p", { class: "about" }, "These are guesses by names alone. Files of one source are one recorder: give two rows the same name to make them one."),
      el(
        "div",
        { class: "scroll", tabindex: "0", role: "group", "aria-label": "What was chosen, as a table" },
        el("table", {}, el("thead", {}, el("tr", {}, ...heads.map((text) => (text ? el("th", { scope: "col" }, text) : el("td", {}))))), this.#rows),
      ),
      el(
        "div",
        { class: "acts" },
        el("button", { type: "button", id: "send", onclick: () => this.#send() }, "Add these"),
        el("button", { type: "button", class: "quiet", onclick: () => this.clear() }, "drop all of it"),
        this.#told,
      ),
    );
    host.append(this.#host);
  }

  get groups() {
    return this.#groups;
  }

  /** The files that are waiting to be looked over. */
  get files() {
    return this.#groups.flatMap(({ files }) => files);
  }

  /** Shows groups as `guess` makes them; `passed` are names of files that are no recordings. */
  show(groups, passed = []) {
    this.#groups = groups;
    this.#passed = passed;
    this.#host.hidden = groups.length === 0;
    this.#rows.replaceChildren(...groups.map((group, n) => this.#row(group, n)));
    this.#tell();
  }

  clear() {
    this.show([]);
  }

  focus() {
    this.#host.querySelector("h3").focus();
  }

  #tell() {
    const files = this.files;
    const bytes = files.reduce((sum, { size }) => sum + (size ?? 0), 0);
    const facts = [count(files.length, "file", "files"), bytes > 0 ? amount(bytes) : null];
    const passed = this.#passed.length;
    if (passed > 0) facts.push(`${count(passed, "file is", "files are")} passed over: no recording by the ending (${some(this.#passed)})`);
    this.#told.textContent = facts.filter(Boolean).join(" · ");
  }

  #row(group, n) {
    const names = group.files.map(({ path }) => path);
    const who = el("input", {
      "aria-label": `Who wears ${group.label}`,
      value: group.person,
      autocomplete: "off",
      disabled: group.placement !== "worn",
      oninput: (event) => Object.assign(group, { person: event.target.value, touched: true }),
    });
    const where = el(
      "select",
      {
        "aria-label": `Where ${group.label} was`,
        onchange: (event) => {
          Object.assign(group, { placement: event.target.value, touched: true });
          who.disabled = group.placement !== "worn";
        },
      },
      ...PLACEMENTS.map(([value, text]) => el("option", { value }, text)),
    );
    where.value = group.placement;
    const source = el("input", {
      "aria-label": `Name of the source of ${names[0]}`,
      value: group.label,
      autocomplete: "off",
      required: true,
      oninput: (event) => Object.assign(group, { label: event.target.value, touched: true }),
    });
    return el(
      "tr",
      { "data-group": String(n) },
      el("th", { scope: "row" }, filesOf(names)),
      el("td", {}, source),
      el("td", {}, where),
      el("td", {}, who),
      el("td", { class: "why" }, el("span", { class: "tag" }, "guess"), ` ${group.why.join("; ")}`),
      el(
        "td",
        {},
        el(
          "button",
          { type: "button", class: "quiet", "aria-label": `Leave ${names[0]} out`, onclick: () => this.#leaveOut(group) },
          "leave out",
        ),
      ),
    );
  }

  #leaveOut(group) {
    this.show(this.#groups.filter((one) => one !== group), this.#passed);
    if (this.#groups.length > 0) this.focus();
  }

  #send() {
    const nameless = this.#groups.findIndex(({ label }) => label.trim() === "");
    if (nameless >= 0) {
      const field = this.#rows.children[nameless].querySelector("input");
      field.setAttribute("aria-invalid", "true");
      field.focus();
      this.#told.textContent = "Every source needs a name.";
      return;
    }
    this.#onSend(this.#groups);
  }
}

function filesOf(names) {
  if (names.length === 1) return names[0];
  return el(
    "details",
    {},
    el("summary", {}, `${names[0]} and ${names.length - 1} more`),
    el("ul", {}, ...names.slice(0, 500).map((name) => el("li", {}, name))),
  );
}

const some = (names) => `${names.slice(0, 3).join(", ")}${names.length > 3 ? ", …" : ""}`;
