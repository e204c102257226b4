// What people did to a moment, and going back.

import { el, replace } from "../dom.js";
import { differences } from "./differ.js";

const DONE = {
  words: "wrote",
  join: "joined",
  split: "split",
  times: "changed the times",
  undo: "went back",
};

export class History {
  #desk;
  #change;
  #body = el("ol", { class: "changes", "aria-label": "Changes, the newest first" });
  #undo = el("button", { type: "button", class: "quiet", "data-key": "moment-undo", hidden: true }, "Undo the last change");
  #about = el("p", { class: "about" });
  #shown = "";
  #drawn = "";
  #last = null;

  constructor(desk, change) {
    this.#desk = desk;
    this.#change = change;
    this.#undo.addEventListener("click", () => this.#back(this.#last));
    this.node = el("section", { class: "history", "aria-label": "History" }, this.#undo, this.#about, this.#body);
  }

  /** Asks for the history of a moment; null empties it. */
  async show(moment) {
    const key = moment ? `${moment.id}/${moment.version}` : "";
    if (key === this.#shown) return;
    this.#shown = key;
    if (!moment) return this.#draw(null, [], 0);
    const answer = await this.#desk.guarded(this.#desk.server.changes(moment.id));
    if (key !== this.#shown) return;
    if (answer) this.#draw(moment, answer.changes, answer.total);
    else this.#shown = "";
  }

  #draw(moment, changes, total) {
    this.#drawn = moment ? `${moment.id}/${moment.version}` : "";
    const before = changes[0]?.before.find((was) => was.moment === moment.id);
    this.#last = before ? { id: moment.id, to: before.version } : null;
    this.#undo.hidden = !this.#last;
    this.#about.textContent = moment === null ? "" : told(changes.length, total);
    replace(this.#body, changes.map((change) => this.#entry(moment, change)));
  }

  #entry(moment, { kind, by, at, before, after, version }) {
    const own = (states) => states.find((was) => was.moment === moment.id);
    const [old, now] = [own(before)?.text ?? "", own(after)?.text ?? ""];
    const back = own(before);
    const when = new Date(at).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
    return el(
      "li",
      {},
      el("p", { class: "about" }, `${by} ${DONE[kind] ?? kind}, ${when}`),
      old === now ? null : el("p", { class: "stands", dir: "auto" }, ...differences(old, now)),
      old === now ? null : el("p", { class: "about", dir: "auto" }, `before: ${old || "no words"}`),
      back
        ? el(
            "button",
            {
              type: "button",
              class: "quiet",
              "data-key": `back/${version}`,
              onclick: () => this.#back({ id: moment.id, to: back.version }),
            },
            "Go back to before this",
          )
        : null,
    );
  }

  #back(to) {
    // What is listed may still be that of the moment before.
    if (!to || this.#drawn !== this.#shown) return;
    this.#change((asked) => this.#desk.server.undo(to.id, { ...asked, to: to.to }));
  }
}

function told(shown, total) {
  if (total === 0) return "Nobody changed it.";
  return shown < total ? `The last ${shown} of ${total} changes` : "";
}
