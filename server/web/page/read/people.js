// Everybody of the event: how long they speak, what they wear; named, joined, added here.

import { el, update } from "../dom.js";
import { count, length, position } from "../written.js";
import { colourOf } from "./list.js";

export class People {
  #desk;
  #author;
  #on;
  #list = el("ul", { class: "people", "aria-label": "People of the event" });
  #none = el("p", { class: "about" }, "Nobody is known yet: who speaks is found when the words are written down.");
  #opened = null; // the person whose form is open

  /** `on.next(person)` to the next thing they say, `on.only(person)` to read nobody else. */
  constructor(desk, author, on) {
    this.#desk = desk;
    this.#author = author;
    this.#on = on;
    this.node = el("div", {}, this.#none, this.#list, this.#adder(), author.field("read-author"));
  }

  show(known) {
    const { people, outline, detail } = known;
    this.#none.hidden = people.length > 0;
    const names = people.map(({ id, name }) => ({ id, name }));
    const sources = (detail?.sources ?? []).map(({ id, label }) => ({ id, label }));
    const items = people.map((person) => {
      const open = person.id === this.#opened;
      // A form that is open stays as it is while others speak on.
      if (open) return { open, id: person.id };
      return { ...person, colour: colourOf(person, outline, people) };
    });
    update(this.#list, items, (item) => {
      const person = people.find(({ id }) => id === item.id);
      const colour = colourOf(person, outline, people);
      return item.open ? this.#form(person, names, sources, colour) : this.#row(person, colour);
    });
  }

  #open(id) {
    const before = this.#opened;
    this.#opened = id;
    this.show(this.#desk.state.known);
    const back = id ?? before;
    const key = id ? `name/${back}` : `open/${back}`;
    this.#list.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus();
  }

  #row(person, colour) {
    const { id, name, role, unnamed, moments, spoken_ms, wears, perhaps } = person;
    const button = (key, text, onclick, label = null) =>
      el("button", { type: "button", class: "quiet", "data-key": `${key}/${id}`, onclick, "aria-label": label }, text);
    const facts = [
      role,
      `${length(spoken_ms)} in ${count(moments, "moment", "moments")}`,
      ...wears.map(({ label, from_ms }) => `wears ${label}${from_ms === null ? "" : ` from ${position(from_ms)}`}`),
    ].filter(Boolean);
    const row = el(
      "li",
      { class: unnamed ? "person unnamed" : "person", "data-id": id },
      el(
        "p",
        { class: "turn" },
          el("span", { class: "name", dir: "auto" }, name),
        unnamed ? el("span", { class: "tag" }, "no name yet") : null,
      ),
      el("p", { class: "about" }, facts.join(" · ")),
      perhaps
        ? el("p", { class: "about" }, `Perhaps ${perhaps.name} of ${perhaps.event}, voices ${Math.round(100 * perhaps.alike)} % alike`)
        : null,
      el(
        "p",
        { class: "doing" },
        button("open", unnamed ? "Give a name" : "Change", () => this.#open(id), unnamed ? `Give ${name} a name` : `Change ${name}`),
        button("next", "Next", () => this.#on.next(id), `To what ${name} says next`),
        button("only", "Only them", () => this.#on.only(id), `Read only ${name}`),
      ),
    );
    row.style.setProperty("--who", colour);
    return row;
  }

  #form(person, people, sources, colour) {
    const { id, unnamed } = person;
    const name = el("input", { id: `person-name-${id}`, "data-key": `name/${id}`, maxlength: 80, autocomplete: "off" });
    name.value = unnamed ? "" : person.name;
    const role = el("input", { id: `person-role-${id}`, maxlength: 80, autocomplete: "off" });
    role.value = person.role ?? "";
    const others = people.filter((one) => one.id !== id);
    const into = el(
      "select",
      { id: `person-into-${id}` },
      el("option", { value: "" }, "choose who"),
      ...others.map((one) => el("option", { value: one.id }, one.name)),
    );
    const worn = el(
      "select",
      { id: `person-wears-${id}` },
      el("option", { value: "" }, "choose a source"),
      ...sources.map((one) => el("option", { value: one.id }, one.label)),
    );
    const act = (text, key, onclick) => el("button", { type: "button", class: "quiet", "data-key": `${key}/${id}`, onclick }, text);
    const row = el(
      "li",
      { class: "person open", "data-id": id },
      el("p", { class: "turn" }, el("span", { class: "name", dir: "auto" }, person.name)),
      el(
        "form",
        { novalidate: true, onsubmit: (event) => this.#save(event, person, name, role) },
        field("Name", name),
        field("Part in the day", role),
        el("p", { class: "doing" }, el("button", { type: "submit" }, "Keep"), act("Close", "close", () => this.#open(null))),
      ),
      others.length > 0
        ? el("div", { class: "pair" }, field("The same person as", into), act("Make them one", "merge", () => this.#merge(person, into.value)))
        : null,
      sources.length > 0
        ? el("div", { class: "pair" }, field("Wears, from the start", worn), act("They wear it", "wear", () => this.#wear(person, worn.value)))
        : null,
    );
    row.style.setProperty("--who", colour);
    row.addEventListener("keydown", (event) => {
      if (event.key !== "Escape") return;
      event.stopPropagation();
      this.#open(null);
    });
    return row;
  }

  async #save(event, person, name, role) {
    event.preventDefault();
    const change = {};
    const typed = name.value.trim();
    if (typed && (person.unnamed || typed !== person.name)) change.name = typed;
    if (role.value.trim() !== (person.role ?? "")) change.role = role.value.trim();
    if (Object.keys(change).length === 0) return this.#open(null);
    if (await this.#desk.act(this.#desk.server.changePerson(person.id, change))) {
      this.#desk.tell(change.name ? `${person.name} is ${change.name} now.` : "Kept.");
      this.#open(null);
    }
  }

  async #merge(person, into) {
    if (!into) return;
    const by = this.#author.ask();
    if (!by) return;
    if (await this.#desk.act(this.#desk.server.mergePeople(person.id, { into, by }))) this.#open(null);
  }

  async #wear(person, source) {
    if (!source) return;
    const { server } = this.#desk;
    // Who has it later on, where people swap, stays.
    const change = server.wearers(source).then(({ wearers: now }) => {
      const later = now.filter(({ from_ms }) => from_ms !== null && from_ms !== undefined);
      return server.setWearers(source, [{ person: person.id, from_ms: null }, ...later]);
    });
    if (await this.#desk.act(change)) this.#open(null);
  }

  #adder() {
    const name = el("input", { id: "person-new", maxlength: 80, autocomplete: "off" });
    const add = async (event) => {
      event.preventDefault();
      const typed = name.value.trim();
      if (!typed) return name.focus();
      const { eventId } = this.#desk.state.known;
      if (await this.#desk.act(this.#desk.server.addPerson(eventId, typed))) name.value = "";
    };
    return el(
      "form",
      { class: "pair", novalidate: true, onsubmit: add },
      field("Somebody else", name),
      el("button", { type: "submit", class: "quiet" }, "Add"),
    );
  }
}

export const field = (label, input) =>
  el("div", { class: "field" }, el("label", { for: input.id }, label), input);
