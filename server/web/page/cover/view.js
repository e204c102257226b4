// The end of the day: is everything that can't be repeated on two recorders?

import { el, update } from "../dom.js";
import { count, length } from "../written.js";
import { Part } from "./part.js";
import { verdict } from "./verdict.js";

export class CoverView {
  #desk;
  #verdict;
  #caution;
  #facts;
  #parts;
  #off;
  #sheet;
  #coverage = null;
  #asked = 0;
  #eventId = null;

  constructor(host, desk) {
    this.#desk = desk;
    this.#verdict = el("p", { id: "cover-verdict", class: "cover-verdict", role: "status" });
    this.#caution = el("p", { id: "cover-caution", class: "care" });
    this.#facts = el("ul", { class: "facts" });
    this.#sheet = el("a", { id: "cover-sheet", target: "_blank", rel: "noopener" }, "The same as a sheet to print");
    this.#parts = el("div", { id: "cover-parts" });
    this.#off = el("section", { id: "cover-off", hidden: true, "aria-labelledby": "cover-off-title" });
    host.append(
      el("h2", {}, "Coverage: the end of the day"),
      this.#verdict,
      this.#caution,
      this.#facts,
      el("p", {}, this.#sheet),
      el("p", { class: "about legend" }, ...legend()),
      this.#parts,
      this.#off,
    );
  }

  show(known, changed) {
    if (changed.has("eventId") && known.eventId !== this.#eventId) {
      this.#eventId = known.eventId;
      this.#coverage = null;
      this.#draw();
    }
    // Moments, parts and placements all change what is told.
    if (["eventId", "detail", "clock", "outline", "parts", "status"].some((name) => changed.has(name))) this.#ask();
    if (changed.has("heard")) this.#showPlaying(known);
  }

  async #ask() {
    const { eventId } = this.#desk.state.known;
    if (!eventId) return;
    const asked = ++this.#asked;
    const coverage = await this.#desk.guarded(this.#desk.server.coverage(eventId));
    if (!coverage || asked !== this.#asked) return;
    if (JSON.stringify(coverage) === JSON.stringify(this.#coverage)) return;
    this.#coverage = coverage;
    this.#draw();
  }

  #draw() {
    const { eventId } = this.#desk.state.known;
    const told = verdict(this.#coverage);
    this.#verdict.textContent = told.sentence;
    this.#verdict.className = `cover-verdict ${told.kind}`;
    this.#caution.textContent = told.caution;
    update(this.#facts, told.facts, (text) => el("li", {}, text));
    this.#sheet.hidden = !this.#coverage;
    if (eventId) this.#sheet.href = this.#desk.server.coverageSheet(eventId);
    if (!this.#coverage) {
      this.#parts.replaceChildren();
      this.#off.hidden = true;
      return;
    }
    const { parts, elsewhere } = this.#coverage;
    const shown = [...parts, ...(elsewhere.moments > 0 ? [elsewhere] : [])];
    update(this.#parts, shown, (part) => new Part(part, this.#desk).host);
    this.#drawOff(this.#coverage.off_clock);
    this.#showPlaying(this.#desk.state.known);
  }

  #drawOff(off) {
    this.#off.hidden = off.length === 0;
    this.#off.replaceChildren(
      el("h3", { id: "cover-off-title" }, `${count(off.length, "recording is", "recordings are")} not on the event clock`),
      el("p", { class: "about" }, "What they heard counts for nothing above: nobody knows when it was said."),
      el("ul", { class: "facts" }, ...off.map(({ recording, source, speech_ms: speech }) =>
        el("li", {}, `${source.label} (${source.placement}), ${recording.file}: ${length(speech)} of speech`))),
    );
  }

  #showPlaying({ heard }) {
    for (const button of this.#parts.querySelectorAll("button.play")) {
      const plays = Boolean(heard?.playing) && heard.key === button.dataset.key;
      button.setAttribute("aria-pressed", String(plays));
      button.closest("li").classList.toggle("plays", plays);
    }
  }
}

function legend() {
  return [
    "Speech that a source has clean or usable: ",
    el("span", { class: "key more" }),
    " on two sources or more, ",
    el("span", { class: "key one" }),
    " on one only, ",
    el("span", { class: "key none" }),
    " on none.",
  ];
}

