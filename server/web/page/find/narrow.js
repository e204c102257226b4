// What lines must be like, beside their words.

import { el, replace } from "../dom.js";

const PLACEMENTS = ["worn", "feed", "stand", "ambient", "camera"];

/** Each choice: parameter, label, and its options as [value, text]. */
const FIXED = {
  placement: ["Placed", [["", "anyhow"], ...PLACEMENTS.map((name) => [name, name])]],
  backup: ["Backup", [["", "with or without"], ["true", "two sources have it"], ["false", "without one"]]],
  confidence: ["Sure of the words", [["", "however"], ["0.5", "at least 50 %"], ["0.8", "at least 80 %"]]],
  sort: ["Order", [["", "the likeliest first"], ["clock", "by the clock"]]],
};

export class Narrow {
  #changed;
  #narrow = {};
  #fields = new Map(); // parameter -> {select, options, count}
  #counted = null;
  #clear;
  host;

  /** `changed(narrow)` is called with what is asked for from now on. */
  constructor(changed) {
    this.#changed = changed;
    const pick = (name, label, options) => {
      const select = el("select", { id: `narrow-${name}`, onchange: () => this.#set(name, select.value) });
      this.#fields.set(name, { select, options, shown: null });
      return el("div", { class: "field" }, el("label", { for: select.id }, label), select);
    };
    const tick = (name, text) => {
      const box = el("input", { type: "checkbox", id: `narrow-${name}`, onchange: () => this.#set(name, box.checked) });
      this.#fields.set(name, { box });
      return el("label", { class: "tick" }, box, ` ${text}`);
    };
    this.#clear = el("button", { type: "button", class: "quiet", onclick: () => changed({}) }, "All lines");
    this.host = el(
      "form",
      { class: "narrow", "aria-label": "Narrow down" },
      pick("person", "Person", []),
      pick("part", "Part", []),
      pick("source", "Source", []),
      pick("placement", ...FIXED.placement),
      tick("best", "it is the best hearing"),
      pick("backup", ...FIXED.backup),
      pick("confidence", ...FIXED.confidence),
      pick("sort", ...FIXED.sort),
      tick("meaning", "also what means the like"),
      tick("shelf", "in every event"),
      this.#clear,
    );
    this.host.addEventListener("submit", (event) => event.preventDefault());
  }

  show({ people, parts, detail, narrow }) {
    this.#narrow = narrow;
    const named = (items) => items.map(({ id, name }) => [id, name]);
    this.#fields.get("person").options = [["", "everybody"], ...named(people)];
    this.#fields.get("part").options = [["", "the whole event"], ...parts.map(({ name }) => [name, name])];
    const sources = (detail?.sources ?? []).map(({ id, label }) => [id, label]);
    this.#fields.get("source").options = [["", "any"], ...sources];
    this.#clear.disabled = Object.keys(narrow).length === 0;
    this.#draw();
  }

  /** How many lines there are of each kind. */
  count(facets) {
    this.#counted = facets;
    this.#draw();
  }

  #set(name, value) {
    const { [name]: _, ...rest } = this.#narrow;
    this.#changed(value === "" || value === false ? rest : { ...rest, [name]: value });
  }

  #draw() {
    const counts = {
      person: this.#counted?.people,
      part: this.#counted?.parts,
      source: this.#counted?.sources,
      placement: this.#counted?.placements,
    };
    for (const [name, field] of this.#fields) {
      if (field.box) {
        field.box.checked = this.#narrow[name] ?? false;
        continue;
      }
      const items = field.options.map(([value, text]) => {
        const found = counts[name]?.find(({ id, name: called }) => id === value || called === value);
        return [value, value && found ? `${text} (${found.hits})` : text];
      });
      const shown = JSON.stringify(items);
      if (shown !== field.shown) {
        field.shown = shown;
        replace(field.select, items.map(([value, text]) => el("option", { value }, text)));
      }
      field.select.value = this.#narrow[name] ?? "";
    }
  }
}
