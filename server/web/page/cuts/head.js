// The list that is worked on: its name and note, how long it is, what was done last, and
// what somebody else did meanwhile.

import { el, replace } from "../dom.js";
import { count, length } from "../written.js";
import { twice } from "./lists.js";

export class Head {
  #desk;
  #work;
  #title = el("h2", { id: "cut-title", dir: "auto", tabindex: "-1" });
  #told = el("p", { class: "summary", id: "cut-length" });
  #news = el("p", { class: "summary", id: "cut-news", role: "status", "aria-live": "polite" });
  #note = el("p", { class: "note", dir: "auto", id: "cut-note" });
  #conflict = el("div", { class: "conflict", role: "alert", id: "cut-conflict", hidden: true });
  #form;
  #name = el("input", { id: "cut-name", autocomplete: "off", maxlength: 200, dir: "auto" });
  #words = el("textarea", { id: "cut-words", rows: 3, maxlength: 10000, dir: "auto" });
  #fold;
  #undo;
  #redo;
  #shown = null; // the list whose name and note stand in the form

  constructor(host, desk, work) {
    this.#desk = desk;
    this.#work = work;
    const button = (id, text, run) => el("button", { type: "button", class: "quiet", id, onclick: run }, text);
    this.#undo = button("cut-undo", "Undo", () => work.undo());
    this.#redo = button("cut-redo", "Do again", () => work.redo());
    this.#form = el(
      "form",
      { class: "about-cut", onsubmit: (event) => this.#keep(event) },
      el("div", { class: "field" }, el("label", { for: "cut-name" }, "Name"), this.#name),
      el("div", { class: "field" }, el("label", { for: "cut-words" }, "Note"), this.#words),
      el(
        "div",
        { class: "row" },
        el("button", { type: "submit", class: "quiet", id: "cut-keep" }, "Keep name and note"),
        this.#remover(),
      ),
    );
    this.#fold = el("details", {}, el("summary", {}, "Name, note, remove"), this.#form);
    host.append(
      el(
        "div",
        { class: "cut-head" },
        el("div", { class: "row" }, this.#title, this.#told, this.#undo, this.#redo, this.#fold),
        this.#note,
        this.#conflict,
        this.#news,
      ),
    );
  }

  show(known, changed) {
    const { cut, quotes, told, conflict, canRedo } = known;
    if (changed.has("cut")) this.#fill(cut);
    if (changed.has("quotes") || changed.has("cut")) {
      const long = length(this.#work.lengthMs);
      this.#told.textContent = `${count(quotes.length, "quote", "quotes")}, ${long} long`;
    }
    this.#redo.disabled = !canRedo;
    this.#undo.disabled = !cut || cut.version <= 1;
    if (changed.has("told")) {
      this.#news.textContent = told?.text ?? "";
      this.#news.classList.toggle("trouble", told?.trouble ?? false);
      this.#name.setAttribute("aria-invalid", String(told?.field === "name"));
    }
    if (changed.has("conflict")) this.#showConflict(conflict);
  }

  /** What is typed and not kept stays, but not for another list. */
  #fill(cut) {
    const other = this.#shown?.id !== cut?.id;
    const typed = (field, was) => !other && field.value.trim() !== (was ?? "").trim();
    if (!typed(this.#name, this.#shown?.name)) this.#name.value = cut?.name ?? "";
    if (!typed(this.#words, this.#shown?.note)) this.#words.value = cut?.note ?? "";
    if (other) this.#fold.open = false;
    this.#shown = cut;
    this.#title.textContent = cut?.name ?? "";
    this.#note.textContent = cut?.note ?? "";
    this.#note.hidden = !cut?.note;
  }

  #showConflict(conflict) {
    this.#conflict.hidden = !conflict;
    if (!conflict) {
      replace(this.#conflict, []);
      return;
    }
    const { text, edits } = conflict;
    replace(this.#conflict, [
      el("p", {}, text),
      el("p", {}, edits.length === 1 ? "Not done yet:" : "Not done yet, in this order:"),
      el("ul", {}, ...edits.map(({ did }) => el("li", { dir: "auto" }, did))),
      el(
        "div",
        { class: "row" },
        el(
          "button",
          { type: "button", id: "cut-again", "data-key": "again", onclick: () => this.#again() },
          "Do it on the list as it is now",
        ),
        el(
          "button",
          { type: "button", class: "quiet", "data-key": "let", onclick: () => this.#letGo() },
          "Leave it",
        ),
      ),
    ]);
  }

  async #again() {
    await this.#work.again();
    if (!this.#conflict.hidden) return;
    this.#undo.focus();
  }

  #letGo() {
    this.#work.letGo();
    this.#work.tell("The list stands as it is now; what was not done is left.");
    this.#title.focus();
  }

  #keep(event) {
    event.preventDefault();
    const { cut } = this.#work.known;
    const [name, note] = [this.#name.value, this.#words.value];
    const changes = { ...(name !== cut.name ? { name } : {}), ...(note !== cut.note ? { note } : {}) };
    const told = [];
    if ("name" in changes) told.push(`the list called ${name}`);
    if ("note" in changes) told.push(note ? `the note of the list: ${note}` : "no note of the list");
    if (told.length === 0) {
      this.#work.tell("Name and note are kept already.");
      return;
    }
    this.#work.edit({
      did: told.join("; "),
      says: "Name and note are kept.",
      send: (version) => this.#desk.server.changeCut(cut.id, version, changes),
    });
  }

  #remover() {
    return twice("Remove", "this list with all its versions", async () => {
      const { cut } = this.#work.known;
      if (!(await this.#desk.guarded(this.#desk.server.removeCut(cut.id).then(() => true)))) return;
      const cuts = this.#desk.state.known.cuts.filter(({ id }) => id !== cut.id);
      this.#desk.state.set({ cuts, cut: cuts[0]?.id ?? null });
      this.#desk.tell(`The cut list ${cut.name} was removed.`);
      document.getElementById("main").focus();
    });
  }
}
