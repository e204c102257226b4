// What is worked on, and what waits.

import { about, count } from "../written.js";
import { el, update } from "../dom.js";
import { STEPS } from "./problems.js";

export class Queue {
  #told;
  #list;

  constructor(host) {
    this.#told = el("p", { class: "about" });
    this.#list = el("ul", { class: "running", "aria-label": "What is worked on now" });
    host.append(el("h3", {}, "The queue"), this.#told, this.#list);
  }

  show({ status }) {
    const jobs = status?.jobs;
    this.#told.textContent = jobs ? told(status) : "";
    update(this.#list, status?.running ?? [], ({ job, step, file, source, progress }) =>
      el(
        "li",
        {},
        el("progress", { max: 1, value: progress, "aria-label": `${STEPS[step] ?? step}: ${file}` }),
        el("span", {}, `${STEPS[step] ?? step}: `, el("strong", {}, file || "the event"), source ? ` (${source})` : "", ` ${Math.floor(progress * 100)} %`),
        el("span", { hidden: true }, job),
      ),
    );
  }
}

function told({ jobs, paused, time_left_ms: left }) {
  const open = jobs.waiting + jobs.running;
  if (open === 0) {
    return jobs.done > 0 ? "Everything that was added is worked through." : "Nothing is waiting.";
  }
  const facts = [
    paused ? "Paused: nothing new is begun" : null,
    count(jobs.running, "step at work", "steps at work"),
    count(jobs.waiting, "step waits", "steps wait"),
    left === null ? null : about(left),
  ];
  return `${facts.filter(Boolean).join(" · ")}.`;
}
