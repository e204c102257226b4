// The player's panel: what sounds, from which source, where, and how.

import { el, replace } from "../dom.js";
import { linkTo } from "../shell/address.js";
import { momentAt, sounds } from "../shell/desk.js";
import { position } from "../written.js";

const SPEEDS = [0.5, 0.75, 1, 1.25, 1.5, 1.75, 2];

export class Panel {
  #desk;
  #parts;
  #shown = "";

  constructor(host, desk) {
    this.#desk = desk;
    const { player } = desk;
    const button = (id, text, onclick) =>
      el("button", { id, type: "button", class: "quiet", onclick }, text);
    this.#parts = {
      play: el("button", { id: "play", type: "button", class: "main", onclick: () => desk.playOrPause() }, "Play"),
      clock: el("p", { id: "deck-clock", class: "clock" }, position(0)),
      wait: el("span", { id: "waiting", class: "tag", hidden: true }, "fetching"),
      title: el("p", { id: "deck-title", class: "title", dir: "auto" }),
      sources: el("div", { id: "sources", class: "sources", role: "group", "aria-label": "Source that is heard" }),
      gain: el("span", { id: "gain", class: "gain" }),
      best: button("best", "Best hearing", () => this.#best()),
      match: button("match", "Match levels", () => player.setMatch(!this.#heard.match)),
      loop: button("loop", "Over and over", () => player.setLoop(!this.#heard.loop)),
      stop: button("stop", "Stop", () => player.stop()),
      link: button("link", "Copy link", () => this.#copy()),
      speed: el(
        "select",
        { id: "speed", onchange: (event) => player.setSpeed(Number(event.target.value)) },
        ...SPEEDS.map((speed) => el("option", { value: speed, selected: speed === 1 }, `${speed} ×`)),
      ),
      keys: this.#keys(),
    };
    const p = this.#parts;
    host.append(
      el("div", { class: "row" }, p.play, p.stop, p.clock, p.wait, p.title, p.link),
      el(
        "div",
        { class: "row" },
        p.best,
        p.sources,
        p.match,
        p.gain,
        p.loop,
        el("label", { for: "speed" }, "Speed"),
        p.speed,
        p.keys,
      ),
    );
  }

  get #heard() {
    return this.#desk.state.known.heard ?? { match: false, loop: false, speed: 1 };
  }

  show(known, changed) {
    if (!["heard", "place", "timeline"].some((name) => changed.has(name))) return;
    const { heard, place, timeline } = known;
    const p = this.#parts;
    const active = sounds(heard);
    p.play.textContent = heard?.playing ? "Pause" : "Play";
    p.play.disabled = !active && !timeline;
    p.stop.disabled = !active;
    p.wait.hidden = !heard?.waiting;
    if (!active) p.title.textContent = "";
    else if (heard.endMs !== null) p.title.textContent = heard.title;
    p.best.disabled = !active && !timeline;
    p.best.setAttribute("aria-pressed", String(active && heard.follows));
    p.match.setAttribute("aria-pressed", String(heard?.match ?? false));
    p.loop.setAttribute("aria-pressed", String(heard?.loop ?? false));
    p.speed.value = String(heard?.speed ?? 1);
    p.gain.textContent = heard?.match ? gainOf(heard) : "";
    if (!active) p.clock.textContent = position(place?.ms ?? 0);
    p.link.disabled = !place && !active;
    this.#showSources(known);
  }

  /** The audible instant, ms on its line. */
  time(ms) {
    this.#parts.clock.textContent = position(ms);
    const { heard, outline } = this.#desk.state.known;
    if (heard?.endMs === null) this.#sayWho(heard, outline, ms);
  }

  /** What plays on and on is soon another line than the one it began with. */
  #sayWho({ line }, outline, ms) {
    const n = line === 0 && outline ? momentAt(outline, ms) : -1;
    const person = n < 0 ? null : outline.person[n];
    const text = person === null ? "" : outline.people[person].name;
    if (this.#parts.title.textContent !== text) this.#parts.title.textContent = text;
  }

  /** Goes back to the best hearing of each moment. */
  #best() {
    if (sounds(this.#desk.state.known.heard)) this.#desk.player.follow();
    else this.#desk.playOrPause();
  }

  #showSources({ heard, place, timeline }) {
    const sources = sounds(heard) ? heard.sources : (timeline?.at(place?.line ?? 0, place?.ms ?? 0) ?? []);
    const key = JSON.stringify([sources.map(({ recording }) => recording), sounds(heard) ? heard.recording : null]);
    if (key === this.#shown) return;
    this.#shown = key;
    replace(
      this.#parts.sources,
      sources.map(({ recording, source, file }) =>
        el(
          "button",
          {
            type: "button",
            class: "source",
            title: `${file}, ${source.placement}`,
            "data-key": recording,
            "aria-pressed": String(sounds(heard) && recording === heard.recording),
            onclick: () => this.#hearOn(recording),
          },
          source.label,
        ),
      ),
    );
  }

  #hearOn(recording) {
    const { heard, place } = this.#desk.state.known;
    if (sounds(heard)) this.#desk.player.switchTo(recording);
    else this.#desk.hear({ line: place?.line ?? 0, startMs: place?.ms ?? 0, recording });
  }

  async #copy() {
    const { eventId, heard, place } = this.#desk.state.known;
    const ms = Math.round(this.#desk.player.state.ms);
    const where = sounds(heard) ? { line: heard.line, ms } : place;
    await copy(this.#desk, linkTo(eventId, where), position(where.ms));
  }

  #keys() {
    const list = el("dl", { class: "keys" });
    const turn = el("input", { type: "checkbox", id: "keys-on" });
    const fold = el(
      "details",
      { class: "help" },
      el("summary", {}, "Keys"),
      el("div", { class: "sheet" }, list, el("label", {}, turn, " keys work without a modifier")),
    );
    fold.addEventListener("toggle", () => {
      const { keys: now } = this.#desk;
      turn.checked = now.on;
      turn.onchange = () => now.turn(turn.checked);
      replace(
        list,
        now.all.flatMap(([key, does]) => [el("dt", {}, el("kbd", {}, key)), el("dd", {}, does)]),
      );
    });
    return fold;
  }
}

/** Puts a link where it can be pasted from, and says so. */
export async function copy(desk, link, what) {
  try {
    await navigator.clipboard.writeText(link);
    desk.tell(`The link to ${what} is copied.`);
  } catch {
    // Not allowed here: it is shown, to be copied by hand.
    desk.tell(`The link to ${what}: ${link}`);
  }
}

/** The gain that levels are matched by, in words. */
function gainOf({ gainDb, limited }) {
  const told = `${gainDb > 0 ? "+" : ""}${(gainDb ?? 0).toFixed(1)} dB`;
  const why = { peak: ", held by its peaks", boost: ", not raised further" }[limited] ?? "";
  return told + why;
}
