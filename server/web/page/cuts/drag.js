// A quote is dragged to another place by its number: mouse, pen or finger. A line shows
// where it would land; Escape leaves it where it was. Buttons and keys do the same.

import { el } from "../dom.js";

/** A press that moves less is none, CSS pixels. */
const SLACK = 5;
/** So near the edge of what scrolls the list moves along, and how fast at most, a frame. */
const EDGE = 56;
const FASTEST = 22;

export class Drag {
  #list;
  #scroller;
  #acts;
  #held = null; // {id, node, y, pointer, moves, to}
  #line = el("div", { class: "landing", hidden: true });
  #y = 0;

  /** `acts`: place(id, place), choose(id), at(id) from 0, focus(id). */
  constructor(list, scroller, acts) {
    this.#list = list;
    this.#scroller = scroller;
    this.#acts = acts;
    scroller.append(this.#line);
    list.addEventListener("pointerdown", (event) => this.#take(event));
    list.addEventListener("pointermove", (event) => this.#move(event));
    list.addEventListener("pointerup", (event) => this.#drop(event));
    list.addEventListener("pointercancel", () => this.#leave());
    document.addEventListener(
      "keydown",
      (event) => {
        if (event.key !== "Escape" || !this.#held?.moves) return;
        event.preventDefault();
        this.#leave();
      },
      { capture: true },
    );
  }

  /** The quote that is dragged; null for none. */
  get held() {
    return this.#held?.id ?? null;
  }

  #take(event) {
    const node = event.target.closest(".grip")?.closest("li");
    if (!node || event.button !== 0 || this.#held) return;
    this.#held = { id: node.dataset.id, node, y: event.clientY, pointer: event.pointerId, moves: false };
  }

  #move(event) {
    const held = this.#held;
    if (!held || event.pointerId !== held.pointer) return;
    this.#y = event.clientY;
    if (!held.moves && Math.abs(event.clientY - held.y) < SLACK) return;
    if (!held.moves) {
      held.moves = true;
      // Rows come and go while the list moves along; the list itself stays.
      this.#list.setPointerCapture(held.pointer);
      held.node.classList.add("held");
      this.#list.classList.add("sorting");
      this.#scroll();
    }
    this.#land();
  }

  /** Finds the gap between rows that is nearest to the pointer. */
  #land() {
    const held = this.#held;
    const rows = [...this.#list.children];
    const boxes = rows.map((row) => row.getBoundingClientRect());
    const found = boxes.findIndex(({ bottom }) => bottom >= this.#y);
    const n = found < 0 ? rows.length - 1 : found;
    if (n < 0) return;
    const { top, bottom } = boxes[n];
    const below = this.#y > (top + bottom) / 2;
    held.to = this.#acts.at(rows[n].dataset.id) + (below ? 1 : 0);
    const { top: seen } = this.#scroller.getBoundingClientRect();
    const y = (below ? bottom : top) - seen + this.#scroller.scrollTop;
    this.#line.hidden = false;
    this.#line.style.setProperty("--y", `${y}px`);
  }

  #scroll() {
    if (!this.#held?.moves) return;
    const { top, bottom } = this.#scroller.getBoundingClientRect();
    const above = Math.max(top + EDGE - this.#y, 0);
    const under = Math.max(this.#y - (Math.min(bottom, innerHeight) - EDGE), 0);
    if (above !== under) {
      this.#scroller.scrollTop += Math.max(Math.min((under - above) / 2, FASTEST), -FASTEST);
      this.#land();
    }
    requestAnimationFrame(() => this.#scroll());
  }

  #drop(event) {
    const held = this.#held;
    if (!held || event.pointerId !== held.pointer) return;
    this.#leave();
    if (!held.moves || held.to === undefined) return;
    const from = this.#acts.at(held.id);
    const to = held.to > from ? held.to - 1 : held.to;
    if (to !== from) this.#acts.place(held.id, to + 1);
    this.#acts.choose(held.id);
    setTimeout(() => this.#acts.focus(held.id));
  }

  #leave() {
    const held = this.#held;
    this.#held = null;
    this.#line.hidden = true;
    if (!held) return;
    held.node.classList.remove("held");
    this.#list.classList.remove("sorting");
    if (this.#list.hasPointerCapture(held.pointer)) this.#list.releasePointerCapture(held.pointer);
  }
}
