// What is read of the event: everybody or one person, all or one part, all or only what
// wants a look.

import { el } from "../dom.js";
import { count } from "../written.js";

export class Filters {
  #on;
  #person = el("select", { id: "read-person" });
  #part = el("select", { id: "read-part" });
  #doubtful = el("input", { id: "read-doubtful", type: "checkbox" });
  #alone = el("input", { id: "read-alone", type: "checkbox" });
  #told = el("p", { class: "about told", role: "status" });
  #options = "";

  /** `on()` when another choice was made. */
  constructor(follow, on) {
    this.#on = on;
    const box = (input, label, title) => el("label", { class: "box", title }, input, ` ${label}`);
    this.node = el(
      "div",
      { class: "filters", role: "group", "aria-label": "What is read" },
      field("Person", this.#person),
      field("Part", this.#part),
      box(this.#doubtful, "only doubtful", "Moments whose words should not be trusted as they are"),
      box(this.#alone, "only without backup", "Moments that fewer than two sources have clean or usable"),
      follow,
      this.#told,
    );
    for (const input of [this.#person, this.#part, this.#doubtful, this.#alone]) {
      input.addEventListener("change", () => this.#on());
    }
  }

  /** What is chosen: `{person, part, doubtful, alone}`; `part` by its place in `parts`. */
  get choice() {
    const part = this.#part.value === "" ? null : Number(this.#part.value);
    return {
      person: this.#person.value || null,
      part,
      doubtful: this.#doubtful.checked,
      alone: this.#alone.checked,
    };
  }

  /** Whether moments are chosen by more than where they lie. */
  get picks() {
    const { person, doubtful, alone } = this.choice;
    return person !== null || doubtful || alone;
  }

  set person(id) {
    this.#person.value = id;
    this.#on();
  }

  none() {
    this.#person.value = "";
    this.#part.value = "";
    this.#doubtful.checked = false;
    this.#alone.checked = false;
  }

  show({ people, parts, outline }) {
    // Without the outline nobody knows which moments these are.
    for (const input of [this.#person, this.#doubtful, this.#alone]) input.disabled = !outline;
    const now = JSON.stringify([people.map(({ id, name }) => [id, name]), parts.map(({ name }) => name)]);
    if (now === this.#options) return;
    this.#options = now;
    fill(this.#person, "everybody", people.map(({ id, name }) => [id, name]));
    fill(this.#part, "the whole event", parts.map(({ name }, n) => [String(n), name]));
  }

  tell(total, waiting) {
    if (waiting) this.#told.textContent = "Looking…";
    else this.#told.textContent = total === 0 ? "" : count(total, "moment", "moments");
  }
}

const field = (label, input) =>
  el("div", { class: "field" }, el("label", { for: input.id }, label), input);

function fill(select, all, options) {
  const before = select.value;
  select.replaceChildren(
    el("option", { value: "" }, all),
    ...options.map(([value, text]) => el("option", { value }, text)),
  );
  select.value = options.some(([value]) => value === before) ? before : "";
}
