// Searches under a name.

import { el, update } from "../dom.js";

export class Kept {
  #desk;
  #searches = [];
  #list;
  #name;
  host;

  constructor(desk) {
    this.#desk = desk;
    this.#list = el("ul", { class: "kept", "aria-label": "Kept searches" });
    this.#name = el("input", { id: "keep-name", autocomplete: "off", maxlength: 200 });
    this.host = el(
      "details",
      { class: "keeping", ontoggle: () => this.#look() },
      el("summary", {}, "Kept searches"),
      this.#list,
      el(
        "form",
        { class: "field", onsubmit: (event) => this.#keep(event) },
        el("label", { for: "keep-name" }, "Keep this search as"),
        this.#name,
        el("button", { type: "submit", class: "quiet" }, "Keep"),
      ),
    );
  }

  show(known, changed) {
    if (changed.has("eventId") && this.host.open) this.#look();
  }

  async #look() {
    if (!this.host.open) return;
    const searches = await this.#desk.guarded(this.#desk.server.searches());
    if (!searches) return;
    this.#searches = searches;
    update(this.#list, searches, (search) => this.#row(search));
  }

  async #keep(event) {
    event.preventDefault();
    const { query, narrow, eventId } = this.#desk.state.known;
    const { shelf, ...rest } = narrow;
    const asked = new URLSearchParams({ q: query, ...rest, ...(shelf ? {} : { event: eventId }) });
    const kept = await this.#desk.guarded(this.#desk.server.keepSearch(this.#name.value, String(asked)));
    if (!kept) return;
    this.#desk.tell(`${kept.name} is kept.`);
    this.#name.value = "";
    this.#look();
  }

  #row({ id, name, asked }) {
    return el(
      "li",
      {},
      el("button", { type: "button", class: "quiet", "data-key": id, onclick: () => this.#ask(asked) }, name),
      el(
        "button",
        {
          type: "button",
          class: "quiet",
          "data-key": `forget/${id}`,
          "aria-label": `Forget ${name}`,
          onclick: async () => {
            if (await this.#desk.act(this.#desk.server.forgetSearch(id))) this.#look();
          },
        },
        "forget",
      ),
    );
  }

  /** Asks what was kept, in its event. */
  async #ask(asked) {
    const { q = "", event = null, ...rest } = Object.fromEntries(new URLSearchParams(asked));
    const narrow = { ...rest, ...(event === null ? { shelf: true } : {}) };
    for (const name of ["best", "meaning"]) if (narrow[name]) narrow[name] = true;
    document.getElementById("query").value = q;
    if (event !== null && event !== this.#desk.state.known.eventId) await this.#desk.choose(event);
    this.#desk.state.set({ query: q, narrow });
  }
}
