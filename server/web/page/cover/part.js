// One part: how much of its speech has a backup, and the gaps.

import { el } from "../dom.js";
import { count, length, position } from "../written.js";

/** Gaps shown at once. */
const SHOWN = 30;

const KINDS = [
  ["more_ms", "more", "on two or more"],
  ["one_ms", "one", "on one only"],
  ["none_ms", "none", "on none"],
];

export class Part {
  #desk;
  #gaps;
  #list;
  #more;
  #shown = SHOWN;

  constructor(part, desk) {
    this.#desk = desk;
    this.#gaps = part.gaps;
    const name = part.name ?? "outside of all parts";
    this.#list = el("ol", { class: "gaps", "aria-label": `What of ${name} has no backup` });
    this.#more = el("button", { type: "button", class: "quiet", hidden: true, onclick: () => this.#grow() });
    const said = part.backed_up ? "backed up" : part.moments === 0 ? "nothing was heard" : "not fully backed up";
    this.host = el(
      "section",
      { class: "part", "aria-label": name },
      el(
        "h3",
        {},
        name,
        el("span", { class: "tag" }, part.required ? "required" : "not required"),
        el("span", { class: `tag held ${part.backed_up ? "good" : "bad"}` }, said),
      ),
      el("p", { class: "about" }, [span(part), `${length(part.speech_ms)} of speech`, count(part.moments, "moment", "moments")].filter(Boolean).join(" · ")),
      bar(part),
      el("p", { class: "numbers" }, KINDS.map(([key, , text]) => `${length(part[key])} ${text}`).join(" · ")),
      this.#list,
      this.#more,
    );
    this.#draw();
  }

  #grow() {
    const first = this.#shown;
    this.#shown += 200;
    this.#draw();
    this.#list.children[first]?.querySelector("button")?.focus();
  }

  #draw() {
    this.#list.append(...this.#gaps.slice(this.#list.children.length, this.#shown).map((gap) => this.#row(gap)));
    const hidden = this.#gaps.length - this.#list.children.length;
    this.#more.hidden = hidden <= 0;
    this.#more.textContent = `show ${count(Math.min(hidden, 200), "more gap", "more gaps")} of ${hidden}`;
  }

  #row(gap) {
    const { start_ms: startMs, end_ms: endMs, text, only, others } = gap;
    const at = position(startMs);
    const words = text || "not written down";
    const key = `gap/${startMs}/${endMs}`;
    const place = { line: 0, ms: startMs, endMs };
    return el(
      "li",
      {},
      el("button", {
        type: "button",
        class: "play",
        "data-key": key,
        "aria-pressed": "false",
        "aria-label": `Play ${at}: ${words}`,
        onclick: () => this.#desk.hear({ line: 0, startMs, endMs, key, title: words }),
      }),
      el(
        "button",
        { type: "button", class: "quiet time", "aria-label": `Go to ${at} of the day`, onclick: () => this.#desk.go("day", { place }) },
        at,
      ),
      el("span", { class: "text" }, words),
      el("span", { class: `who ${only ? "one" : "none"}` }, only ? `only ${only.label} (${only.placement}) has it` : "no source has it clean or usable"),
      others.length > 0
        ? el("ul", { class: "others" }, ...others.map(({ source, verdict, why }) =>
            el("li", {}, `${source.label} was there, but ${verdict}${why.length > 0 ? `: ${why.join(", ")}` : ""}`)))
        : el("span", { class: "others about" }, "nobody else was there"),
    );
  }
}

function span({ start_ms: start, end_ms: end }) {
  return start === null ? null : `${position(start)} to ${position(end)} of the event`;
}

/** A bar of three lengths; the numbers under it say the same. */
function bar(part) {
  const whole = Math.max(part.speech_ms, 1);
  const host = el("div", { class: "cover-bar", role: "img", "aria-label": KINDS.map(([key, , text]) => `${Math.round((part[key] / whole) * 100)} % ${text}`).join(", ") });
  for (const [key, kind] of KINDS) {
    const piece = el("span", { class: kind });
    piece.style.setProperty("--share", String(part[key] / whole));
    host.append(piece);
  }
  return host;
}
