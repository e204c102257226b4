// What went wrong, and what can be done about it.

import { el, update } from "../dom.js";
import { count } from "../written.js";

/** The steps of the work in words. */
export const STEPS = {
  probe: "opening",
  open: "opening",
  detect: "looking for speech",
  align: "placing on the clock",
  group: "grouping what was said",
  transcribe: "writing words",
  voices: "finding who speaks",
  meaning: "learning what is meant",
};

export class Problems {
  #desk;
  #host;
  #title;
  #list;

  constructor(host, desk) {
    this.#desk = desk;
    this.#title = el("h3", { id: "problems-title" });
    this.#list = el("ul", { id: "problems-list", class: "problems" });
    this.#host = el("section", { id: "problems", "aria-labelledby": "problems-title", hidden: true }, this.#title, this.#list);
    host.append(this.#host);
  }

  show({ status, detail }) {
    const told = status?.problems ?? [];
    const known = new Set(told.map((problem) => problem.intake));
    const refused = (detail?.intakes ?? []).filter((item) => item.state === "refused" && !known.has(item.id));
    const problems = [
      ...told,
      ...refused.map(({ id, file, reason }) => ({ intake: id, file, step: "open", reason: reason ?? "" })),
    ];
    this.#host.hidden = problems.length === 0;
    this.#title.textContent = count(problems.length, "problem", "problems");
    update(this.#list, problems, (problem) => this.#row(problem));
  }

  #row({ job, file, step, reason }) {
    const { server } = this.#desk;
    const retry = job
      ? el(
          "button",
          {
            type: "button",
            class: "quiet",
            "data-key": `retry/${job}`,
            "aria-label": `Try ${file} again`,
            onclick: () => this.#desk.act(server.retry(job)),
          },
          "try again",
        )
      : null;
    const name = file ? [el("strong", {}, file), " "] : [];
    return el("li", {}, ...name, `${step ? `${STEPS[step] ?? step}: ` : ""}${reason} `, retry);
  }
}
