// The board: lanes above, a row for each recording below, all on one axis, and a glass
// over them that is pressed and that carries what moves: the cursor, what sounds, the
// stretch that is selected. Draws at most once a frame, and only what is in sight.

import { el, update } from "../dom.js";
import { EACH_WORD_MS, LANES, LANES_PX, WORDS_MS, drawLanes, laneAt } from "./lanes.js";
import { onLight } from "../shell/scheme.js";
import { drawWave } from "./wave.js";

/** How low and how high a row may be, and what is left to what stands below, CSS pixels. */
const LOW_PX = 56;
const HIGH_PX = 120;
const BELOW_PX = 150;

const NAMES = { time: "Time", parts: "Parts", who: "Who speaks", words: "What is said", cover: "Coverage" };

export class Board {
  scale;
  #peaks;
  #said;
  #onHear;
  #rows = new Map(); // recording -> {row, item, canvas, hear, none, seen}
  #known = { outline: null, parts: [], timeline: null };
  #ink = null;
  #asked = 0;
  #lanesDirty = true;
  #rowsDirty = true;
  #watch;

  constructor(scale, peaks, said, { onHear, onResize, onDrawn }) {
    this.scale = scale;
    this.#peaks = peaks;
    this.#said = said;
    this.#onHear = onHear;
    this.onDrawn = onDrawn;
    this.lanes = el("canvas", { class: "lanes-picture", "aria-hidden": "true" });
    this.list = el("ul", { class: "tracks", "aria-label": "Recordings on the event clock" });
    this.cursor = el("span", { class: "cursor", "aria-hidden": "true" });
    this.head = el("span", { class: "playhead", "aria-hidden": "true", hidden: true });
    this.stretch = el("span", { class: "stretch", "aria-hidden": "true", hidden: true });
    this.glass = el(
      "div",
      {
        class: "glass",
        id: "day-instant",
        role: "slider",
        tabindex: 0,
        "aria-label": "Instant of the event",
        "aria-describedby": "day-keys",
        "aria-valuemin": 0,
        "aria-valuemax": 0,
        "aria-valuenow": 0,
      },
      this.stretch,
      this.cursor,
      this.head,
    );
    const names = LANES.map(([name]) => el("li", { class: `lane ${name}` }, NAMES[name]));
    this.host = el(
      "div",
      { class: "board" },
      el("div", { class: "lanes" }, el("ul", { class: "lane-names", "aria-hidden": "true" }, ...names), this.lanes),
      this.list,
      this.glass,
    );
    this.#watch = new IntersectionObserver((entries) => this.#see(entries), { rootMargin: "120px 0px" });
    new ResizeObserver(() => {
      this.scale.resize(this.glass.clientWidth);
      onResize();
      this.dirty();
    }).observe(this.glass);
    const repaint = () => {
      this.#ink = null;
      this.dirty();
    };
    onLight(repaint);
  }

  /** Whether it is near enough for words. */
  get showsWords() {
    return this.scale.perPx <= WORDS_MS;
  }

  /** What the lanes are drawn of. */
  know({ outline, parts, timeline }) {
    this.#known = { outline, parts: parts ?? [], timeline };
    this.dirty({ rows: false });
  }

  /** So high is what the board may take without being scrolled, CSS pixels. */
  room(height) {
    const free = (height - LANES_PX - BELOW_PX) / Math.max(this.#rows.size, 1);
    const track = Math.round(Math.min(Math.max(free, LOW_PX), HIGH_PX));
    this.host.style.setProperty("--track", `${track}px`);
    this.dirty();
  }

  /** Other rows; those that stay keep their place and their focus. */
  show(rows) {
    const told = rows.map(({ id, file, source, wearer, first, said }) => ({ id, file, source, wearer, first, said }));
    update(this.list, told, (row) => this.#make(row));
    const ids = new Set(rows.map(({ id }) => id));
    for (const id of this.#rows.keys()) if (!ids.has(id)) this.#rows.delete(id);
    for (const row of rows) this.#rows.get(row.id).row = row;
    this.dirty();
  }

  #make({ id, file, source, wearer, first, said }) {
    const canvas = el("canvas", { "aria-hidden": "true" });
    const hear = el("button", {
      type: "button",
      class: "play",
      "data-key": `hear/${id}`,
      "aria-label": `Play ${source.label}, ${file} from here`,
      onclick: () => this.#onHear(id),
    });
    const where = wearer ? `${source.placement}, ${wearer}` : source.placement;
    const none = el("span", { class: "waveless" }, "no wave yet, ");
    const head = el(
      "div",
      { class: "track-head" },
      hear,
      el("div", { class: "track-name" }, el("strong", { title: source.label }, source.label), el("span", { class: "placement" }, ` ${where}`)),
      el("div", { class: "track-file", title: file }, file),
      el("div", { class: "track-sure", title: said }, none, said),
    );
    const item = el("li", { class: first ? "track first" : "track", "data-recording": id }, head, canvas);
    this.#rows.set(id, { row: null, item, canvas, hear, none, seen: false });
    this.#watch.observe(item);
    return item;
  }

  #see(entries) {
    for (const { target, isIntersecting } of entries) {
      const kept = this.#rows.get(target.dataset.recording);
      if (!kept || kept.item !== target) continue;
      kept.seen = isIntersecting;
      // What is out of sight keeps no picture.
      if (!isIntersecting) kept.canvas.width = 0;
    }
    this.dirty({ lanes: false });
  }

  /** The row that is heard, and whether that sounds now. */
  mark(recording, sounds) {
    for (const [id, { item, hear }] of this.#rows) {
      item.classList.toggle("heard", id === recording);
      hear.setAttribute("aria-pressed", String(id === recording && sounds));
    }
  }

  /** Something is there to be drawn: the waves of rows, the lanes, or both. */
  dirty({ rows = true, lanes = true } = {}) {
    if (rows) this.#rowsDirty = true;
    if (lanes) this.#lanesDirty = true;
    this.#soon();
  }

  #soon() {
    if (this.#asked !== 0) return;
    this.#asked = requestAnimationFrame(() => {
      this.#asked = 0;
      this.#draw();
    });
  }

  #draw() {
    if (this.glass.clientWidth === 0) return;
    this.#ink ??= inkOf(this.host);
    const ratio = devicePixelRatio || 1;
    const width = Math.round(this.glass.clientWidth * ratio);
    if (this.#rowsDirty) this.#drawRows(width, ratio);
    if (this.#lanesDirty) this.#drawLanes(width, ratio);
    this.#rowsDirty = false;
    this.#lanesDirty = false;
    this.#place();
    // What is seen, for who asks the page from outside.
    Object.assign(this.glass.dataset, { fromMs: this.scale.from, msPerPx: this.scale.perPx });
  }

  #drawRows(width, ratio) {
    const wanted = { seen: [], beside: [] };
    const drawn = [...this.#rows.values()].filter((kept) => kept.seen && kept.row);
    // All that is measured is measured before anything is changed.
    const heights = drawn.map(({ canvas }) => Math.round(canvas.clientHeight * ratio));
    for (const [n, kept] of drawn.entries()) {
      const size = { width, height: heights[n], ratio };
      const pen = fit(kept.canvas, size);
      // Every row, also where one has changed: what is wanted is said for all.
      drawWave(pen, size, kept.row, this.scale, this.#peaks, this.#ink, wanted);
    }
    for (const [id, { none }] of this.#rows) {
      if (none.hidden !== this.#peaks.has(id)) none.hidden = !none.hidden;
    }
    this.#peaks.want([...wanted.seen, ...wanted.beside]);
    this.onDrawn({
      waiting: wanted.seen.length,
      waves: drawn.length > 0 && drawn.every(({ row }) => this.#peaks.has(row.id)),
    });
  }

  #drawLanes(width, ratio) {
    const { scale } = this;
    const size = { width, height: Math.round(LANES_PX * ratio), ratio };
    const said = this.showsWords ? this.#said.between(scale.from, scale.to) : [];
    const detail = (id) => (scale.perPx <= EACH_WORD_MS ? this.#said.detail(id) : null);
    drawLanes(fit(this.lanes, size), size, { ...this.#known, scale, said, detail, ink: this.#ink, font: this.#ink.font });
  }

  // -- what moves over the rows --------------------------------------------------

  at = { cursor: null, head: null, stretch: null };

  /** Where the cursor, what sounds and the stretch are, ms; null for nowhere. */
  move(changes) {
    Object.assign(this.at, changes);
    this.#place();
  }

  #place() {
    const { cursor, head, stretch } = this.at;
    const line = (node, ms) => {
      node.hidden = ms === null || !this.scale.sees(ms);
      if (!node.hidden) node.style.setProperty("--x", `${this.scale.x(ms)}px`);
    };
    line(this.cursor, cursor);
    line(this.head, head);
    if (head !== null) this.head.dataset.ms = Math.round(head);
    this.stretch.hidden = stretch === null;
    if (stretch === null) return;
    const from = Math.max(this.scale.x(stretch.startMs), -4);
    const to = Math.min(this.scale.x(stretch.endMs), this.scale.width + 4);
    this.stretch.style.setProperty("--x", `${from}px`);
    this.stretch.style.setProperty("--w", `${Math.max(to - from, 0)}px`);
  }

  // -- what is pressed -------------------------------------------------------------

  /** What lies under a point of the window: `{ms, lane}` or `{ms, recording}`. */
  under({ clientX, clientY }) {
    const box = this.glass.getBoundingClientRect();
    const ms = this.scale.ms(clientX - box.left);
    const lanes = this.lanes.getBoundingClientRect();
    const lane = clientY < lanes.bottom ? laneAt(clientY - lanes.top) : null;
    if (lane) return { ms, lane, recording: null };
    for (const [id, { item, seen }] of this.#rows) {
      if (!seen) continue;
      const { top, bottom } = item.getBoundingClientRect();
      if (clientY >= top && clientY < bottom) return { ms, lane: null, recording: id };
    }
    return { ms, lane: null, recording: null };
  }
}

/** A canvas of a size in device pixels, cleared where that is new. */
function fit(canvas, { width, height }) {
  if (canvas.width !== width) canvas.width = width;
  if (canvas.height !== height) canvas.height = height;
  return canvas.getContext("2d");
}

/** The colours and letters of the style, read once a scheme. */
function inkOf(host) {
  const look = getComputedStyle(host);
  const ink = (name) => look.getPropertyValue(name).trim();
  return {
    ink: ink("--ink"),
    soft: ink("--soft"),
    line: ink("--line"),
    edge: ink("--edge"),
    sheet: ink("--sheet"),
    wave: ink("--wave"),
    speech: ink("--wave-speech"),
    wrong: ink("--wrong"),
    band: ink("--band"),
    bandTwo: ink("--band-two"),
    nobody: ink("--nobody"),
    who: Array.from({ length: 8 }, (_, n) => ink(`--who-${n}`)),
    font: {
      digits: `12px ${ink("--digits")}`,
      sans: `12px ${ink("--sans")}`,
      small: `11px ${ink("--sans")}`,
      text: `15px ${ink("--text")}`,
    },
  };
}
