// The cut lists of the event: choose, make, rename, note, remove.

import { el, replace } from "../dom.js";
import { count } from "../written.js";

export class Lists {
  #desk;
  #work;
  #list = el("ul", { class: "lists", "aria-label": "Cut lists of the event" });
  #name = el("input", { id: "cut-new-name", autocomplete: "off", maxlength: 200 });
  #told = el("p", { class: "summary", role: "status", "aria-live": "polite", id: "cut-new-told" });
  #fold;

  constructor(host, desk, work) {
    this.#desk = desk;
    this.#work = work;
    this.#name.setAttribute("aria-describedby", "cut-new-told");
    const form = el(
      "form",
      { class: "new", onsubmit: (event) => this.#make(event) },
      el("div", { class: "field" }, el("label", { for: "cut-new-name" }, "Name of the new list"), this.#name),
      el("button", { type: "submit", id: "cut-make" }, "Make it"),
      this.#told,
    );
    this.#fold = el("details", { class: "make" }, el("summary", {}, "New list"), form);
    this.#fold.addEventListener("toggle", () => this.#propose());
    host.append(el("div", { class: "cut-lists" }, this.#list, this.#fold));
  }

  show({ cuts, cut, detail }) {
    replace(
      this.#list,
      cuts.map(({ id, name, quotes }) =>
        el(
          "li",
          {},
          el(
            "button",
            {
              type: "button",
              class: "quiet name",
              "data-key": `cut/${id}`,
              "aria-pressed": String(id === cut),
              dir: "auto",
              onclick: () => this.#desk.state.set({ cut: id }),
            },
            name,
          ),
          el("span", { class: "placement" }, count(quotes, "quote", "quotes")),
        ),
      ),
    );
    // Where there is none the form waits, once that is known.
    if (detail && cuts.length === 0) this.#fold.open = true;
    else if (!this.#fold.contains(document.activeElement)) this.#fold.open = false;
  }

  /** A name that is not taken, to be typed over. */
  #propose() {
    if (!this.#fold.open || this.#name.value) return;
    const names = new Set(this.#desk.state.known.cuts.map(({ name }) => name));
    let n = 1;
    while (names.has(`Cut ${n}`)) n += 1;
    this.#name.value = `Cut ${n}`;
  }

  async #make(event) {
    event.preventDefault();
    const { eventId } = this.#desk.state.known;
    if (!eventId) {
      this.#told.textContent = "Make an event first, in Add.";
      return;
    }
    try {
      const made = await this.#desk.server.makeCut(eventId, { name: this.#name.value });
      this.#name.value = "";
      this.#told.textContent = "";
      this.#fold.open = false;
      this.#desk.state.set({ cuts: [...this.#desk.state.known.cuts, made], cut: made.id });
      this.#list.querySelector('[aria-pressed="true"]')?.focus();
    } catch (error) {
      this.#told.textContent = error.message;
      this.#name.setAttribute("aria-invalid", String(error.field === "name" || error.status === 409));
      this.#name.focus();
    }
  }
}

/** Does something by a second press; the first only asks, and looking away takes it back. */
export function twice(name, what, run) {
  let asked = false;
  const show = (now) => {
    asked = now;
    button.textContent = now ? `press again to ${name.toLowerCase()}` : name;
    button.setAttribute("aria-label", `${now ? `Press again to ${name.toLowerCase()}` : name} ${what}`);
    button.classList.toggle("sure", now);
  };
  const button = el("button", {
    type: "button",
    class: "quiet",
    onclick: (event) => {
      // The second half of a double click is no second thought.
      if (event.detail > 1) return;
      if (asked) {
        show(false);
        run();
      } else {
        // Not every browser gives a pressed button the focus, which it is to lose.
        button.focus();
        show(true);
      }
    },
    onblur: () => show(false),
    onkeydown: (event) => event.key === "Escape" && show(false),
  });
  show(false);
  return button;
}
