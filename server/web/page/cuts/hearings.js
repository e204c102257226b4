// Who has a quote: every hearing with its verdict and why, each to be heard at that
// instant, one of them chosen; and how many backups go along.

import { el, update } from "../dom.js";
import { doubt, position } from "../written.js";
import { grade } from "./row.js";
import { short } from "./order.js";

export class Hearings {
  #desk;
  #work;
  #list = el("ul", { class: "choices", "aria-labelledby": "one-heard" });
  #best;
  #wanted = el("select", { id: "one-backups" });
  #quote = null;

  constructor(host, desk, work) {
    this.#desk = desk;
    this.#work = work;
    this.#best = el(
      "button",
      { type: "button", class: "quiet", id: "one-best", onclick: () => this.#choose(null) },
      "Always the best",
    );
    this.#wanted.addEventListener("change", () => this.#want());
    host.append(
      el("h3", { id: "one-heard" }, "Heard by"),
      this.#list,
      el(
        "div",
        { class: "row" },
        this.#best,
        el("label", { for: "one-backups" }, "Backups to hand over"),
        this.#wanted,
      ),
    );
  }

  show(quote) {
    if (this.#quote === quote) return;
    this.#quote = quote;
    const { chosen, backups, hearing, backups_wanted: wanted } = quote;
    const all = [chosen, ...backups].filter(Boolean);
    const items = all.map((one, n) => ({ ...one, used: n === 0 && Boolean(chosen), picked: one.recording.id === hearing }));
    update(this.#list, items, (item) => this.#row(item));
    this.#best.setAttribute("aria-pressed", String(hearing === null));
    this.#best.disabled = all.length === 0;
    const most = backups.length;
    const options = [["", "all there are"], ...Array.from({ length: Math.max(most, wanted ?? 0) + 1 }, (_, n) => [String(n), n === 0 ? "none" : String(n)])];
    update(this.#wanted, options, ([value, text]) => el("option", { value }, text));
    this.#wanted.value = wanted === null ? "" : String(wanted);
  }

  #row(one) {
    const { source, recording, start_ms: from, end_ms: to, verdict } = one;
    const told = [
      `${recording.file} at ${position(from)}`,
      one.timecode ? `time of day ${one.timecode}` : null,
      ...one.why,
      one.off_ms ? `its times may be ${doubt(one.off_ms)} off` : null,
      one.covers ? null : "has only a part of it",
      one.online ? null : "its file is not where it was",
    ];
    const key = `hearing/${recording.id}`;
    return el(
      "li",
      { class: one.used ? "used" : null },
      el("button", {
        type: "button",
        class: "play",
        "data-key": key,
        "aria-label": `Play ${source.label} at this instant`,
        "aria-pressed": "false",
        onclick: () => this.#desk.hearFile(recording.id, from, to, { key, title: `${source.label}: ${short(this.#quote, 80)}` }),
      }),
      el(
        "button",
        {
          type: "button",
          class: "quiet label",
          "data-key": `choose/${recording.id}`,
          "aria-pressed": String(one.picked),
          "aria-label": `${source.label}: ${one.picked ? "chosen" : "choose it"}`,
          onclick: () => this.#choose(recording.id),
        },
        source.label,
      ),
      el("span", { class: `verdict ${grade(verdict)}` }, verdict ?? "no speech found"),
      one.used ? el("span", { class: "tag" }, "used") : el("span"),
      el("p", { class: "why", dir: "auto" }, told.filter(Boolean).join(", ")),
    );
  }

  /** Marks what sounds. */
  sounds(heard) {
    for (const button of this.#list.querySelectorAll("button.play")) {
      button.setAttribute("aria-pressed", String(Boolean(heard?.playing) && heard.key === button.dataset.key));
    }
  }

  #choose(hearing) {
    const { id, chosen, backups } = this.#quote;
    const label = [chosen, ...backups].find((one) => one?.recording.id === hearing)?.source.label;
    if (hearing === this.#quote.hearing) return;
    this.#work.edit({
      did: label ? `${label} for ${short(this.#quote)}` : `the best hearing for ${short(this.#quote)}`,
      says: label ? `${label} is heard.` : "The best is heard.",
      send: (version) => this.#desk.server.changeQuote(this.#work.known.id, version, id, { hearing }),
    });
  }

  #want() {
    const { id } = this.#quote;
    const wanted = this.#wanted.value === "" ? null : Number(this.#wanted.value);
    this.#work.edit({
      did: `${wanted ?? "all"} backups of ${short(this.#quote)}`,
      says: wanted === null ? "All backups go along." : `Backups to go along: ${wanted}.`,
      send: (version) => this.#desk.server.changeQuote(this.#work.known.id, version, id, { backups_wanted: wanted }),
    });
  }
}
