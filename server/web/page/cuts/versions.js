// A list as it was: versions with a name, and those that were kept by themselves.

import { el, update } from "../dom.js";
import { count } from "../written.js";
import { twice } from "./lists.js";

const BEFORE = {
  add: "before quotes were put in",
  change: "before a quote was changed",
  drop: "before a quote was taken out",
  keep: "kept by name",
  move: "before the order was changed",
  name: "before its name or note was changed",
  nudge: "before a nudge",
  restore: "before an earlier version was put in its place",
};

export class Versions {
  #desk;
  #work;
  #fold;
  #list = el("ul", { class: "versions", "aria-label": "Versions of the list" });
  #none = el("p", { class: "about" }, "Nothing was done to this list yet.");
  #name = el("input", { id: "version-name", autocomplete: "off", maxlength: 200, dir: "auto" });
  #shown = null; // id and version of the list that they were read for

  constructor(host, desk, work) {
    this.#desk = desk;
    this.#work = work;
    const form = el(
      "form",
      { class: "row", onsubmit: (event) => this.#keep(event) },
      el("label", { for: "version-name" }, "Name of this version"),
      this.#name,
      el("button", { type: "submit", class: "quiet", id: "version-keep" }, "Keep it by this name"),
    );
    this.#fold = el("details", { id: "cut-versions" }, el("summary", {}, "Versions"), form, this.#none, this.#list);
    this.#fold.addEventListener("toggle", () => this.show());
    host.append(this.#fold);
  }

  /** Reads them where somebody looks. */
  async show() {
    const { cut } = this.#work.known;
    if (!this.#fold.open || !cut) return;
    const key = `${cut.id} ${cut.version}`;
    if (this.#shown === key) return;
    this.#shown = key;
    const versions = await this.#desk.guarded(this.#desk.server.cutVersions(cut.id));
    if (versions && this.#shown === key) this.#tell(versions, cut);
    else if (this.#shown === key) this.#shown = null;
  }

  #tell(versions, cut) {
    this.#none.hidden = versions.length > 0;
    const items = versions.map((one) => ({ ...one, stands: one.version === cut.version }));
    update(this.#list, items, (item) => this.#row(item));
  }

  #row({ version, name, before, at, quotes, stands }) {
    const when = new Date(at);
    const told = [when.toLocaleString(), count(quotes, "quote", "quotes"), stands ? "as it stands" : BEFORE[before]];
    const what = name ?? `version ${version}`;
    return el(
      "li",
      { class: name ? "named" : null },
      el("span", { class: "label", dir: "auto" }, name ?? `Version ${version}`),
      el("span", { class: "placement" }, told.filter(Boolean).join(" · ")),
      stands
        ? null
        : el(
            "button",
            { type: "button", class: "quiet", "data-key": `back/${version}`, "aria-label": `Go back to ${what}`, onclick: () => this.#back(version, what) },
            "Go back to it",
          ),
      name ? twice("Forget", what, () => this.#forget(version, what)) : null,
    );
  }

  async #back(version, what) {
    await this.#work.restore(version, `back to ${what}`);
    this.#fold.querySelector("summary").focus();
  }

  async #forget(version, what) {
    const { id } = this.#work.known;
    if (!(await this.#desk.guarded(this.#desk.server.forgetVersion(id, version).then(() => true)))) return;
    this.#work.tell(`${what} is forgotten.`);
    this.#shown = null;
    await this.show();
    this.#fold.querySelector("summary").focus();
  }

  async #keep(event) {
    event.preventDefault();
    const name = this.#name.value;
    const done = await this.#work.edit({
      did: `a version called ${name}`,
      says: `This version is kept as ${name}.`,
      send: async (version) => {
        await this.#desk.server.nameVersion(this.#work.known.id, version, name);
        return { cut: this.#work.known.cut };
      },
    });
    if (!done) {
      this.#name.focus();
      return;
    }
    this.#name.value = "";
    this.#shown = null;
    this.show();
  }
}
