// Hands a list over: files in open formats, a page for a client, everything with its sound.

import { el, replace } from "../dom.js";
import { count } from "../written.js";

const FORMATS = [
  ["otio", "OpenTimelineIO (.otio): sources with backups on tracks below, markers"],
  ["edl", "Edit decision list (.edl)"],
  ["vtt", "WebVTT captions (.vtt)"],
  ["srt", "SubRip captions (.srt)"],
  ["csv", "Table (.csv)"],
  ["markers", "Markers as a table"],
  ["rttm", "Who speaks when (.rttm)"],
];
const RATES = [
  ["24000/1001", "23.976"],
  ["24", "24"],
  ["25", "25"],
  ["30000/1001", "29.97 without drop frame"],
  ["29.97df", "29.97 drop frame"],
  ["30", "30"],
  ["50", "50"],
  ["60000/1001", "59.94 without drop frame"],
  ["59.94df", "59.94 drop frame"],
];

export class HandOver {
  #desk;
  #work;
  #fold;
  #boxes = {};
  #rate = el("select", { id: "over-rate" });
  #start = el("input", { id: "over-start", autocomplete: "off", placeholder: "01:00:00:00", "aria-describedby": "over-told" });
  #perSource = el("input", { type: "checkbox", id: "over-per-source" });
  #words = el("input", { type: "checkbox", id: "over-words" });
  #handles = el("input", { id: "over-handles", type: "number", min: 0, max: 60000, step: 100, value: 1000 });
  #backups = el("input", { type: "checkbox", id: "over-backups", checked: true });
  #told = el("p", { class: "summary", id: "over-told", role: "status", "aria-live": "polite" });
  #left = el("ul", { class: "left-out", "aria-label": "Quotes that were left out" });
  #page = el("a", { id: "over-page", target: "_blank", rel: "noopener" }, "Open the page for a client in a new tab");
  #archive = el("a", { id: "over-archive", download: true }, "Download all of it");

  constructor(host, desk, work) {
    this.#desk = desk;
    this.#work = work;
    const form = el(
      "form",
      { class: "over", novalidate: true, onsubmit: (event) => this.#files(event) },
      el("p", { class: "about" }, "All sound is as recorded: nothing is encoded anew, no clock is corrected, no level changed. Lists name the files where they lie."),
      el("fieldset", {}, el("legend", {}, "Formats"), ...FORMATS.map(([name, text]) => this.#box(name, text))),
      el(
        "div",
        { class: "row" },
        el("div", { class: "field" }, el("label", { for: "over-rate" }, "Frames a second"), this.#rate),
        el("div", { class: "field" }, el("label", { for: "over-start" }, "Time code at its start"), this.#start),
      ),
      el("label", {}, this.#perSource, " an edit decision list for each source"),
      el("label", {}, this.#words, " a marker for each word, not only for each quote"),
      el("div", { class: "row" }, el("button", { type: "submit", id: "over-get" }, "Download the files"), this.#page),
      this.#told,
      this.#left,
    );
    this.#fold = el("details", { id: "cut-over" }, el("summary", {}, "Hand over"), form, this.#withSound());
    this.#fold.addEventListener("toggle", () => this.show());
    for (const input of [this.#rate, this.#start, this.#handles, this.#backups, this.#perSource, this.#words]) {
      input.addEventListener("change", () => this.show());
    }
    host.append(this.#fold);
  }

  /** Everything with its sound, as one file. */
  #withSound() {
    return el(
      "div",
      { class: "sound" },
      el("h3", {}, "With its sound"),
      el("p", { class: "about" }, "The sound of every quote as recorded, with its lists and a manifest with the hash of each file."),
      el(
        "div",
        { class: "row" },
        el("div", { class: "field" }, el("label", { for: "over-handles" }, "Sound before and after each, ms"), this.#handles),
        el("label", {}, this.#backups, " backups too"),
        this.#archive,
      ),
    );
  }

  #box(name, text) {
    const box = el("input", { type: "checkbox", id: `over-${name}`, checked: name === "otio", onchange: () => this.show() });
    this.#boxes[name] = box;
    return el("label", {}, box, ` ${text}`);
  }

  show() {
    const { cut, frameRate } = this.#work.known;
    if (!this.#fold.open || !cut) return;
    const own = frameRate ?? "";
    if (this.#rate.dataset.own !== own) {
      this.#rate.dataset.own = own;
      const named = RATES.find(([rate]) => rate === frameRate)?.[1] ?? frameRate;
      const first = frameRate ? el("option", { value: "" }, `the event's: ${named}`) : null;
      const rest = RATES.map(([rate, text]) => el("option", { value: rate, selected: !frameRate && rate === "25" }, text));
      replace(this.#rate, first ? [first, ...rest] : rest);
    }
    this.#page.href = this.#desk.server.clientPage(cut.id, this.#rate.value ? { frame_rate: this.#rate.value } : {});
    const options = { ...this.#options(), handles_ms: this.#handles.value, backups: this.#backups.checked };
    const formats = this.#chosen();
    if (formats.length > 0) options.formats = formats.join(",");
    this.#archive.href = this.#desk.server.cutArchive(cut.id, options);
  }

  #options() {
    return {
      ...(this.#rate.value ? { frame_rate: this.#rate.value } : {}),
      ...(this.#start.value.trim() ? { start: this.#start.value.trim() } : {}),
      ...(this.#perSource.checked ? { per_source: true } : {}),
      ...(this.#words.checked ? { word_markers: true } : {}),
    };
  }

  #chosen() {
    return FORMATS.map(([name]) => name).filter((name) => this.#boxes[name].checked);
  }

  async #files(event) {
    event.preventDefault();
    const { id } = this.#work.known;
    const formats = this.#chosen();
    replace(this.#left, []);
    this.#start.setAttribute("aria-invalid", "false");
    if (formats.length === 0) {
      this.#say("Choose a format.", true);
      return;
    }
    this.#say("Writing…");
    const written = [];
    const left = new Map();
    try {
      for (const format of formats) {
        const answer = await this.#desk.server.cutFiles(id, { format, ...this.#options() });
        written.push(...answer.files);
        for (const { place, reason } of answer.left_out) left.set(place, reason);
      }
    } catch (error) {
      this.#start.setAttribute("aria-invalid", String(error.field === "start"));
      if (error.field === "start") this.#start.focus();
      this.#say(error.message, true);
      return;
    }
    for (const file of written) save(file);
    const names = written.map(({ name }) => name).join(", ");
    const out = left.size === 0 ? "" : ` ${count(left.size, "quote is", "quotes are")} in none of them:`;
    this.#say(`${count(written.length, "file", "files")}: ${names}.${out}`);
    replace(this.#left, [...left].map(([place, reason]) => el("li", {}, `Quote ${place}: ${reason}`)));
  }

  #say(text, trouble = false) {
    this.#told.textContent = text;
    this.#told.classList.toggle("trouble", trouble);
  }
}

/** Has the browser keep a file. */
function save({ name, media_type: type, text }) {
  const address = URL.createObjectURL(new Blob([text], { type }));
  const link = el("a", { href: address, download: name, hidden: true });
  document.body.append(link);
  link.click();
  link.remove();
  // The browser reads it after the click.
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
