// The sources of the event, put right: what they are called, where they were, who wears
// them.

import { el, update } from "../dom.js";
import { PLACEMENTS } from "./table.js";

export class Sources {
  #desk;
  #host;
  #rows;

  constructor(host, desk) {
    this.#desk = desk;
    this.#rows = el("tbody", { id: "sources-list" });
    const heads = ["Source", "Where it was", "Who wears it", ""];
    this.#host = el(
      "details",
      { id: "sources", hidden: true },
      el("summary", {}, "Put a source right"),
      el("p", { class: "about" }, "With another place the best source is chosen again, and with another wearer who speaks is found again. What people put right stays."),
      el(
        "div",
        { class: "scroll", tabindex: "0", role: "group", "aria-label": "Sources, as a table" },
        el("table", {}, el("thead", {}, el("tr", {}, ...heads.map((text) => (text ? el("th", { scope: "col" }, text) : el("td", {}))))), this.#rows),
      ),
    );
    host.append(this.#host);
  }

  show({ detail }) {
    const sources = detail?.sources ?? [];
    this.#host.hidden = sources.length === 0;
    // A field that is being written in is left alone: `update` keeps what is as it was.
    update(this.#rows, sources, (source) => this.#row(source));
  }

  #row(source) {
    const label = el("input", { "aria-label": `Name of ${source.label}`, value: source.label, autocomplete: "off" });
    const where = el("select", { "aria-label": `Where ${source.label} was` }, ...PLACEMENTS.map(([value, text]) => el("option", { value }, text)));
    where.value = source.placement;
    const who = el("input", { "aria-label": `Who wears ${source.label}`, value: source.wearer?.name ?? "", autocomplete: "off" });
    const keep = el("button", { type: "button", class: "quiet", "data-key": `keep/${source.id}`, "aria-label": `Keep ${source.label} as written`, onclick: () => this.#keep(source, label.value, where.value, who.value) }, "keep");
    return el("tr", { "data-source": source.id }, el("td", {}, label), el("td", {}, where), el("td", {}, who), el("td", {}, keep));
  }

  async #keep(source, label, placement, wearer) {
    const { server } = this.#desk;
    const asked = {};
    if (label.trim() !== source.label) asked.label = label;
    if (placement !== source.placement) asked.placement = placement;
    let done = true;
    if (Object.keys(asked).length > 0) done = await this.#desk.act(server.changeSource(source.id, asked));
    if (done && wearer.trim() !== (source.wearer?.name ?? "")) done = await this.#desk.act(this.#wear(source, wearer.trim()));
    if (done) this.#desk.tell(`${label.trim()} is kept.`);
  }

  /** The wearer from the start; who has it later, after a swap, stays. */
  async #wear(source, name) {
    const { server } = this.#desk;
    const { eventId, people } = this.#desk.state.known;
    const later = (await server.wearers(source.id)).wearers.filter(({ from_ms: from }) => from !== null);
    const wearing = [...later];
    if (name) {
      const known = people.find((person) => person.name === name);
      const person = known ?? (await server.addPerson(eventId, name));
      wearing.unshift({ person: person.id });
    }
    await server.setWearers(source.id, wearing);
  }
}
