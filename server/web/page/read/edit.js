// A moment being put right: its words in a field, its sound at hand. Where somebody was
// quicker, both texts stand side by side and nothing typed is lost.

import { el } from "../dom.js";
import { differences } from "./differ.js";
import { placeOf, wordsOf } from "./spoken.js";

export class Edit {
  #row;
  #desk;
  #author;
  #drafts;
  #on;
  #version;
  #met = 0; // the version of others that is shown beside mine
  #was;
  #field;
  #saying = el("p", { class: "saying", role: "status" });
  #theirs = el("div", { class: "theirs", hidden: true });
  #name = null;
  #saving = false;

  /** `on.saved(moments)`, `on.closed(row)`, `on.changed()` when what is kept changes. */
  constructor(row, { desk, author, drafts, on }) {
    this.#row = row;
    this.#desk = desk;
    this.#author = author;
    this.#drafts = drafts;
    this.#on = on;
    const { moment } = row;
    const draft = drafts.get(row.id);
    this.#was = draft?.was ?? moment.text ?? "";
    this.#version = draft?.version ?? moment.version;
    this.#field = el("textarea", {
      class: "field-words",
      id: `edit-${row.id}`,
      dir: "auto",
      rows: Math.min(2 + Math.floor((moment.text ?? "").length / 60), 14),
      spellcheck: "true",
      lang: moment.language,
    });
    this.#field.value = draft?.text ?? this.#was;
    this.node = this.#make();
    this.#field.addEventListener("input", () => this.#keep());
    this.node.addEventListener("keydown", (event) => this.#pressed(event));
  }

  focus() {
    this.#field.focus();
    this.#field.setSelectionRange(this.#field.value.length, this.#field.value.length);
  }

  /** The moment became another while one types: said now, not only when saving. */
  async refresh({ id, text, version }) {
    if (version <= Math.max(this.#version, this.#met) || this.#saving) return;
    if (this.#field.value === this.#was) {
      // Nothing was typed yet: it begins with what stands.
      [this.#was, this.#version, this.#field.value] = [text ?? "", version, text ?? ""];
      return;
    }
    this.#met = version;
    const answer = await this.#desk.guarded(this.#desk.server.changes(id, { limit: 1 }));
    if (this.#met !== version || this.#saving || !this.node.isConnected) return;
    const last = answer?.changes[0];
    const { by = null, at = null } = last?.version === version ? last : {};
    this.#conflict({ text, version, by, at });
  }

  #make() {
    const button = (name, text, onclick) =>
      el("button", { type: "button", class: name === "save" ? "save" : `quiet ${name}`, onclick }, text);
    this.#name = this.#author.name ? null : this.#author.field(`edit-by-${this.#row.id}`);
    return el(
      "form",
      { class: "editing", novalidate: true, onsubmit: (event) => this.#submit(event) },
      el("label", { for: `edit-${this.#row.id}` }, "Words of this moment"),
      this.#field,
      this.#theirs,
      this.#name,
      el(
        "div",
        { class: "doing" },
        button("save", "Save", () => this.save()),
        button("hear", "Play this stretch", () => this.hear(false)),
        button("hear-on", "Over and over", () => this.hear(true)),
        button("give-up", "Give up", () => this.giveUp()),
        el("span", { class: "about" }, "Enter saves, Esc gives up, Alt + Enter plays"),
      ),
      this.#saying,
    );
  }

  #submit(event) {
    event.preventDefault();
    this.save();
  }

  #pressed(event) {
    if (event.isComposing) return;
    if (event.key === "Escape") {
      event.preventDefault();
      event.stopPropagation();
      this.giveUp();
    } else if (event.key === "Enter" && event.target === this.#field) {
      event.preventDefault();
      if (event.altKey) this.hear(false);
      else this.save();
    }
  }

  #keep() {
    const { start_ms } = this.#row.moment;
    const { eventId } = this.#desk.state.known;
    const text = this.#field.value;
    if (text === this.#was) this.#drafts.drop(this.#row.id);
    else this.#drafts.keep(this.#row.id, { text, version: this.#version, was: this.#was, startMs: start_ms, eventId });
    this.#on.changed();
  }

  hear(loop) {
    const spot = placeOf(this.#row.moment, this.#desk.state.known.timeline);
    if (!spot) return;
    const { heard } = this.#desk.state.known;
    const key = `read/${this.#row.id}`;
    // Playing once more is wanted here, not stopping.
    if (heard?.playing && heard.key === key && loop && !heard.loop) this.#desk.player.setLoop(true);
    else this.#desk.player.play({ ...spot, loop, key, title: this.#field.value });
  }

  giveUp() {
    if (this.#saving) return;
    this.#drafts.drop(this.#row.id);
    this.#on.closed(this.#row);
  }

  async save() {
    if (this.#saving) return;
    const by = this.#author.ask(this.#name);
    if (!by) {
      this.#saying.textContent = "Your name is missing.";
      return;
    }
    this.#saving = true;
    this.#field.readOnly = true;
    this.#say("Saving…");
    try {
      const text = wordsOf(this.#field.value).join(" ");
      const change = { version: this.#version, by, text };
      const { moments } = await this.#desk.server.writeWords(this.#row.id, change);
      this.#drafts.drop(this.#row.id);
      this.#saving = false;
      this.#on.saved(moments);
      this.#on.closed(this.#row);
    } catch (error) {
      this.#saving = false;
      this.#field.readOnly = false;
      const theirs = error.status === 409 ? error.problem.theirs : null;
      if (theirs) {
        this.#conflict(theirs);
        this.#theirs.querySelector("button")?.focus();
      }
      else this.#say(`${error.message} Nothing was written; what you typed is still here.`, true);
    }
  }

  #say(text, trouble = false) {
    this.#saying.textContent = text;
    this.#saying.classList.toggle("trouble", trouble);
  }

  /** Both texts beside each other; mine stays in its field. */
  #conflict(theirs) {
    const { text, version, by, at, now_in: nowIn = null } = theirs;
    this.#keep();
    const whom = by ? `by ${by}` : "by a speech model or somebody else";
    const when = at ? ` at ${new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}` : "";
    const gone = version === null || version === undefined;
    this.#met = gone ? Infinity : version;
    this.#theirs.hidden = false;
    this.#theirs.replaceChildren(
      el("p", { class: "conflict-told" }, el("strong", {}, "Somebody was quicker. "), "This moment was changed while you wrote; nothing of yours is lost."),
      el(
        "div",
        { class: "both" },
        el("section", { "aria-label": "Your text" }, el("p", { class: "about" }, "Yours, as in the field above"), this.#own(text)),
        el(
          "section",
          { "aria-label": "What stands now" },
          el("p", { class: "about" }, gone ? `No moment of its own any more, ${whom}${when}` : `What stands now, ${whom}${when}`),
          el("p", { class: "stands", dir: "auto" }, ...differences(this.#field.value, text ?? "")),
        ),
      ),
      gone ? this.#lost(nowIn) : this.#choice(text ?? "", version),
    );
    this.#say(gone ? "Not saved." : "Not saved: choose which text is to stand.", true);
  }

  #own(theirs) {
    return el("p", { class: "mine", dir: "auto" }, ...differences(theirs ?? "", this.#field.value));
  }

  #choice(text, version) {
    const button = (name, told, onclick) =>
      el("button", { type: "button", class: `quiet ${name}`, onclick }, told);
    return el(
      "div",
      { class: "doing" },
      button("take-theirs", "Keep what stands now", () => {
        this.giveUp();
        this.#on.changed();
      }),
      button("take-mine", "Save mine over it", () => {
        this.#against(text, version);
        this.save();
      }),
      button("go-on", "Go on from mine", () => {
        this.#against(text, version);
        this.#theirs.hidden = true;
        this.#say("What you save now takes the place of what stands.");
        this.focus();
      }),
    );
  }

  /** From now on it is a change of what stands. */
  #against(text, version) {
    this.#was = text;
    this.#version = version;
    this.#keep();
  }

  #lost(nowIn) {
    const told = nowIn?.length > 0 ? "Its words are part of another moment now." : "Its place was found anew.";
    return el(
      "p",
      { class: "about" },
      `${told} What you typed is kept under “Not saved” until you drop it; copy it from there.`,
    );
  }
}
