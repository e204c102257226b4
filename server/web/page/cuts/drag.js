// A quote is dragged to another place by its number: mouse, pen or finger. A line shows
// where it would land; Escape leaves it where it was. Buttons and keys do the same.

/** A press that moves less is none, CSS pixels. */
const SLACK = 5;
/** So near the edge of what scrolls the list moves along, and how fast at most. */
const EDGE = 56;
const FASTEST = 22;

export class Drag {
  #list;
  #acts;
  #held = null; // {id, node, y, pointer, moves, before, after}
  #line = document.createElement("div");
  #y = 0;

  /** `acts`: place(id, place), choose(id). */
  constructor(list, acts) {
    this.#list = list;
    this.#acts = acts;
    this.#line.className = "landing";
    this.#line.hidden = true;
    list.parentElement.append(this.#line);
    list.addEventListener("pointerdown", (event) => this.#take(event));
    list.addEventListener("pointermove", (event) => this.#move(event));
    list.addEventListener("pointerup", (event) => this.#drop(event));
    list.addEventListener("pointercancel", () => this.#leave());
    list.addEventListener("lostpointercapture", () => this.#leave());
    document.addEventListener("keydown", (event) => event.key === "Escape" && this.#leave());
  }

  #take(event) {
    const grip = event.target.closest(".grip");
    if (!grip || event.button !== 0 || this.#held) return;
    const node = grip.closest("li");
    this.#held = { id: node.dataset.id, node, grip, y: event.clientY, pointer: event.pointerId, moves: false };
    grip.setPointerCapture(event.pointerId);
  }

  #move(event) {
    const held = this.#held;
    if (!held || event.pointerId !== held.pointer) return;
    this.#y = event.clientY;
    if (!held.moves && Math.abs(event.clientY - held.y) < SLACK) return;
    if (!held.moves) {
      held.moves = true;
      held.node.classList.add("held");
      this.#list.classList.add("sorting");
      this.#scroll();
    }
    this.#land();
  }

  /** Finds the gap between rows that is nearest to the pointer. */
  #land() {
    const held = this.#held;
    const box = this.#list.getBoundingClientRect();
    const y = Math.min(Math.max(this.#y, box.top + 1), box.bottom - 1);
    const under = rowAt(this.#list, y);
    if (!under) return;
    const row = under.getBoundingClientRect();
    const below = y > row.top + row.height / 2;
    held.to = below ? under.nextElementSibling : under;
    const edge = below ? row.bottom : row.top;
    const parent = this.#line.offsetParent?.getBoundingClientRect() ?? box;
    const scrolled = this.#line.offsetParent?.scrollTop ?? 0;
    this.#line.hidden = false;
    this.#line.style.setProperty("--y", `${edge - parent.top + scrolled}px`);
  }

  #scroll() {
    const held = this.#held;
    if (!held?.moves) return;
    const scroller = scrollerOf(this.#list);
    const box = scroller === document.scrollingElement
      ? { top: 0, bottom: innerHeight }
      : scroller.getBoundingClientRect();
    const over = Math.max(box.top + EDGE - this.#y, 0) * -1 + Math.max(this.#y - (box.bottom - EDGE), 0);
    if (over !== 0) {
      scroller.scrollTop += Math.max(Math.min(over / 2, FASTEST), -FASTEST);
      this.#land();
    }
    requestAnimationFrame(() => this.#scroll());
  }

  #drop(event) {
    const held = this.#held;
    if (!held || event.pointerId !== held.pointer) return;
    this.#leave();
    if (!held.moves || held.to === undefined) return;
    const rows = [...this.#list.children];
    const from = rows.indexOf(held.node);
    const before = held.to === null ? rows.length : rows.indexOf(held.to);
    const to = before > from ? before - 1 : before;
    // The click that ends it is no press of the number.
    held.grip.addEventListener("click", (click) => click.stopImmediatePropagation(), { capture: true, once: true });
    setTimeout(() => held.grip.focus({ preventScroll: true }));
    if (to !== from) this.#acts.place(held.id, to + 1);
    else this.#acts.choose(held.id);
  }

  #leave() {
    const held = this.#held;
    this.#held = null;
    this.#line.hidden = true;
    if (!held) return;
    held.node.classList.remove("held");
    this.#list.classList.remove("sorting");
    if (held.grip.hasPointerCapture(held.pointer)) held.grip.releasePointerCapture(held.pointer);
  }
}

/** The row at a height of the window, found by halving: 2,000 rows are not all measured. */
function rowAt(list, y) {
  const rows = list.children;
  let from = 0;
  let to = rows.length - 1;
  while (from < to) {
    const middle = (from + to) >> 1;
    if (rows[middle].getBoundingClientRect().bottom < y) from = middle + 1;
    else to = middle;
  }
  return rows[from] ?? null;
}

function scrollerOf(node) {
  for (let at = node.parentElement; at; at = at.parentElement) {
    const { overflowY } = getComputedStyle(at);
    if (/auto|scroll/u.test(overflowY) && at.scrollHeight > at.clientHeight) return at;
  }
  return document.scrollingElement;
}
