// 'At this instant': every source that runs, where in its file, how well it has what is
// said, who says it and the words.

import { el, replace, update } from "../dom.js";
import { sounds } from "../shell/desk.js";
import { position } from "../written.js";
import { momentsAt } from "./said.js";
import { timecode } from "./timecode.js";

export class Instant {
  #said;
  #peaks;
  #onHear;
  #told = "";

  constructor(said, peaks, onHear) {
    this.#said = said;
    this.#peaks = peaks;
    this.#onHear = onHear;
    this.head = el("h3", {}, "At this instant");
    this.time = el("span", { class: "time", id: "day-time" });
    this.words = el("p", { class: "instant-words", id: "day-words", role: "status", "aria-live": "polite" });
    this.list = el("ul", { class: "instant-sources", id: "day-sources", "aria-label": "Sources that run at this instant" });
    this.none = el("p", { class: "about" });
    this.host = el(
      "section",
      { class: "panel instant", "aria-label": "At this instant" },
      el("div", { class: "panel-head" }, this.head, this.time),
      this.words,
      this.list,
      this.none,
    );
  }

  show({ place, timeline, outline, detail, heard }, order) {
    const here = place?.line === 0 ? place.ms : null;
    this.time.textContent = here === null ? "" : position(here);
    const spoken = here === null ? [] : momentsAt(outline, here);
    this.#showWords(here, spoken.map((n) => this.#moment(outline, n, here, timeline)));
    const sources = here === null ? [] : (timeline?.at(0, here) ?? []);
    sources.sort((a, b) => order.get(a.recording) - order.get(b.recording));
    const moments = spoken.map((n) => this.#said.detail(outline.id[n])).filter(Boolean);
    const rows = sources.map((running) => this.#row(running, moments, detail, heard));
    update(this.list, rows, (row) => this.#make(row));
    this.none.hidden = rows.length > 0;
    this.none.textContent =
      here === null ? "Press anywhere on the board to see what each source has there." : "No source runs here.";
  }

  #moment(outline, n, here, timeline) {
    const person = outline.person[n];
    const who = person === null ? null : outline.people[person]?.name;
    const known = this.#said.detail(outline.id[n]);
    const now = known && timeline ? wordAt(known, here, timeline) : -1;
    return {
      who: who ?? "Nobody knows who",
      text: known ? (known.text ?? "not written down yet") : "…",
      words: known?.words.map((word) => word.text) ?? [],
      now,
      doubt: known?.doubt ?? null,
      outlined: outline.good[n],
    };
  }

  #showWords(here, moments) {
    const told = JSON.stringify([here === null, moments]);
    if (told === this.#told) return;
    this.#told = told;
    const nothing = here === null ? "" : "Nobody speaks here.";
    if (moments.length === 0) {
      replace(this.words, [nothing]);
      return;
    }
    replace(
      this.words,
      moments.map(({ who, text, words, now, doubt, outlined }) =>
        el(
          "span",
          { class: "instant-line" },
          el("strong", { class: "who" }, who),
          ...(words.length > 0
            ? words.flatMap((word, n) => [n === now ? el("mark", {}, word) : word, " "])
            : [text]),
          doubt ? el("span", { class: "doubtful" }, ` doubtful: ${doubt}`) : null,
          outlined === 0 ? el("span", { class: "doubtful" }, " no source has it well") : null,
          outlined === 1 ? el("span", { class: "placement" }, " only one source has it well") : null,
        ),
      ),
    );
  }

  #row({ recording, source, file, fileMs }, moments, detail, heard) {
    const hearing = moments
      .flatMap((moment) => moment.hearings)
      .find((one) => one.recording.id === recording);
    const peak = this.#peaks.levelAt(recording, fileMs);
    const level = hearing ? Math.round(hearing.level_dbfs) : peak;
    return {
      recording,
      label: source.label,
      placement: source.placement,
      file,
      at: position(fileMs),
      code: timecode(detail, recording, fileMs),
      verdict: hearing?.verdict ?? null,
      heard: hearing?.heard ?? true,
      why: hearing?.why.join(", ") ?? "",
      level: level === null ? "" : `${level} dBFS`,
      levelOf: hearing ? "of what is said" : "the peak here",
      sounds: sounds(heard) && heard.recording === recording,
      playing: Boolean(heard?.playing) && heard.recording === recording,
    };
  }

  #make(row) {
    const verdict = row.heard ? row.verdict : "in its noise";
    return el(
      "li",
      { class: row.sounds ? "running plays" : "running", "data-recording": row.recording },
      el("button", {
        type: "button",
        class: "play",
        "data-key": `at/${row.recording}`,
        "aria-pressed": String(row.playing),
        "aria-label": `Play ${row.label} from ${row.at}`,
        onclick: () => this.#onHear(row.recording),
      }),
      el("span", { class: "label", title: row.file }, row.label, el("span", { class: "placement" }, ` ${row.placement}`)),
      el("span", { class: "time" }, row.at),
      el("span", { class: "time code" }, row.code ?? ""),
      row.verdict
        ? el("span", { class: `verdict ${GRADES[row.verdict] ?? "one"}`, title: row.why }, verdict)
        : el("span", { class: "placement" }, ""),
      el("span", { class: "level", title: row.levelOf }, row.level),
    );
  }
}

const GRADES = { clean: "three", usable: "two" };

/** The word of a moment that sounds at an instant, by its place; -1 for none. */
export function wordAt(moment, ms, timeline) {
  const from = moment.words_from?.id;
  if (!from) return -1;
  const fileMs = timeline.toFile(from, ms);
  return moment.words.findIndex((word) => word.start_ms <= fileMs && fileMs < word.end_ms);
}

/** What is said at an instant, in a sentence for who does not see it. */
export function spokenAt(outline, ms, said) {
  const lines = momentsAt(outline, ms).map((n) => {
    const person = outline.person[n];
    const who = person === null ? "somebody" : (outline.people[person]?.name ?? "somebody");
    const text = said.detail(outline.id[n])?.text;
    return text ? `${who}: ${text}` : `${who} speaks`;
  });
  return lines.length > 0 ? lines.join("; ") : "nobody speaks";
}
