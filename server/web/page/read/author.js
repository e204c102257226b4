// Who puts things right: a name that goes with each change. Kept in this browser.

import { el } from "../dom.js";

const KEPT = "sayback name";
const LONGEST = 80;

export class Author {
  #desk;
  #name = "";
  #fields = new Set();

  constructor(desk) {
    this.#desk = desk;
    try {
      this.#name = localStorage.getItem(KEPT) ?? "";
    } catch {
      // It is asked for once more.
    }
  }

  get name() {
    return this.#name.trim();
  }

  /** A field for the name. */
  field(id) {
    const input = el("input", { id, maxlength: LONGEST, autocomplete: "name", value: this.#name });
    input.addEventListener("input", () => this.#set(input.value));
    this.#fields.add(input);
    return el("div", { class: "field" }, el("label", { for: id }, "Your name, kept with what you change"), input);
  }

  /** The name; without one it is asked for, and null. */
  ask(field = null) {
    if (this.name) return this.name;
    this.#desk.tell("Say who you are first: the name goes with the change.", { trouble: true });
    const input = field?.querySelector("input") ?? [...this.#fields].find((one) => one.isConnected);
    input?.closest("details")?.setAttribute("open", "");
    input?.focus();
    return null;
  }

  #set(name) {
    this.#name = name;
    for (const field of this.#fields) {
      if (!field.isConnected) this.#fields.delete(field);
      else if (field.value !== name) field.value = name;
    }
    try {
      localStorage.setItem(KEPT, name);
    } catch {
      // It holds until the page is closed.
    }
  }
}
