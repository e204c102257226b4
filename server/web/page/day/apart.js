// The recordings that are not on the event clock: why, how they sound, and the offer to
// place them by hand.

import { el, update } from "../dom.js";
import { length } from "../written.js";
import { apartOf, onClock } from "./tracks.js";

export class Apart {
  #desk;

  constructor(desk) {
    this.#desk = desk;
    this.list = el("ul", { class: "apart-list", id: "day-apart", "aria-label": "Recordings that are not on the event clock" });
    this.host = el("section", { class: "below", "aria-label": "Not on the event clock", hidden: true }, el("h3", {}, "Not on the event clock"), this.list);
  }

  show({ clock, detail }) {
    const lengths = new Map((detail?.recordings ?? []).map((r) => [r.id, r]));
    const apart = apartOf(clock).map(({ recording, source, how, island, warnings, fix }) => ({
      recording,
      source,
      why: why({ how, island, warnings, fix, clock, known: lengths.get(recording.id) }),
      lengthMs: lengths.get(recording.id)?.duration_ms ?? null,
    }));
    // While the clock has never been solved, nothing is wrong yet.
    this.host.hidden = apart.length === 0 || clock?.solved_at === null;
    if (this.host.hidden) update(this.list, [], () => null);
    else {
      const others = (clock?.recordings ?? []).filter(onClock).map((r) => ({ id: r.recording.id, name: `${r.source.label}, ${r.recording.file}` }));
      update(this.list, apart.map((one) => ({ ...one, others })), (one) => this.#row(one));
    }
  }

  #row({ recording, source, why: reason, lengthMs, others }) {
    const play = el("button", {
      type: "button",
      class: "play",
      "data-key": `apart/${recording.id}`,
      "aria-label": `Play ${source.label}, ${recording.file}`,
      onclick: () =>
        this.#desk.hearFile(recording.id, 0, lengthMs ?? 60_000, { key: `apart ${recording.id}`, title: `${source.label}, ${recording.file}` }),
    });
    return el(
      "li",
      { class: "apart", "data-recording": recording.id },
      el(
        "div",
        { class: "acts" },
        play,
        el("strong", {}, source.label),
        el("span", { class: "placement" }, source.placement),
        el("span", { class: "file" }, recording.file),
        el("span", { class: "time" }, lengthMs === null ? "" : length(lengthMs)),
      ),
      el("p", { class: "about why" }, reason),
      this.#form(recording, others),
    );
  }

  #form(recording, others) {
    const id = (what) => `${what}-${recording.id}`;
    const start = el("input", { type: "number", id: id("start"), step: 1, inputmode: "numeric" });
    const file = el("input", { type: "number", id: id("file"), step: 1, min: 0, value: 0, inputmode: "numeric" });
    const other = el("select", { id: id("same") }, ...others.map((one) => el("option", { value: one.id }, one.name)));
    const form = (text, does, ...fields) => {
      const node = el("form", { class: "fields" }, ...fields, el("button", { type: "submit", class: "quiet" }, text));
      node.addEventListener("submit", (event) => {
        event.preventDefault();
        does();
      });
      return node;
    };
    const here = el("button", { type: "button", class: "quiet", onclick: () => (start.value = this.#here() ?? start.value) }, "Where one is");
    const where = form("Place it", () => this.#place(recording, startOf(start)), el("label", { for: id("start") }, "starts at, ms of the event clock"), start, here);
    if (others.length === 0) return el("details", { class: "fold" }, el("summary", {}, "Place it by hand"), where);
    const same = form(
      "Place it so",
      () => this.#place(recording, this.#same(file, other.value)),
      el("label", { for: id("file") }, "its instant, ms of the file,"),
      file,
      el("label", { for: id("same") }, "is where one is on"),
      other,
    );
    return el("details", { class: "fold" }, el("summary", {}, "Place it by hand"), where, same);
  }

  #here() {
    const { place } = this.#desk.state.known;
    return place?.line === 0 ? Math.round(place.ms) : null;
  }

  /** An instant of it that is the same as the cursor's in another recording. */
  #same(file, other) {
    const { timeline } = this.#desk.state.known;
    const at = this.#here();
    const fileMs = Number.parseFloat(file.value);
    if (at === null || !timeline?.at(0, at).some(({ recording }) => recording === other)) {
      return { why: "Go to an instant at which the other recording runs first." };
    }
    if (!Number.isFinite(fileMs)) return { why: "Say which instant of its file, in ms." };
    return { fix: { file_ms: fileMs, same_as: { recording: other, file_ms: timeline.toFile(other, at) } } };
  }

  async #place(recording, { fix, why: missing }) {
    if (missing) {
      this.#desk.tell(missing, { trouble: true });
      return;
    }
    if (await this.#desk.act(this.#desk.server.setPlace(recording.id, fix))) {
      this.#desk.tell(`${recording.file} is placed by hand; the clock is solved again.`);
    }
  }
}

function startOf(field) {
  const ms = Number.parseFloat(field.value);
  return Number.isFinite(ms) ? { fix: { start_ms: ms } } : { why: "Say where it starts, in ms." };
}

/** Why a recording is not on the event clock, as far as anybody knows. */
function why({ how, island, warnings, fix, clock, known }) {
  if (known?.state === "failed") return `It could not be looked through: ${known.error ?? "nobody knows why"}`;
  if (warnings.length > 0) return warnings.join(" ");
  if (fix) return "It is placed by hand, and the clock is about to be solved again.";
  if (island > 0 && how !== "unplaced") {
    const mates = clock.recordings.filter((r) => r.island === island).length - 1;
    if (mates > 0) return `It shares sound with ${mates} other${mates === 1 ? "" : "s"} only, and none of them with the rest.`;
  }
  if (clock.state !== "solved") return "Its place is not looked for yet.";
  return "It shares no sound with what is on the clock, and no stamp says when it began.";
}
