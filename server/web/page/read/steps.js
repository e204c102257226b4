// The focus inside the transcript: one word of one moment can be reached by Tab, arrows
// lead from it to all others.

/** Moments that Page Up and Page Down pass over. */
const LEAP = 8;

export class Steps {
  #list;
  #on;
  #id = null;
  #n = 0;

  /**
   * `onCurrent(row, n)`, `onPlay(row, n)`, `onEdit(row)`, `onPick(row, n)` when words up to
   * there are to be picked, from `onAnchor(row, n)` on, `onUnpick()`.
   */
  constructor(host, list, on) {
    this.#list = list;
    this.#on = on;
    host.addEventListener("focusin", (event) => this.#focused(event.target));
    host.addEventListener("keydown", (event) => this.#pressed(event));
  }

  /** The moment the focus is in or was in last; null until there is one. */
  get row() {
    return this.#id === null ? null : this.#list.row(this.#id);
  }

  get id() {
    return this.#id;
  }

  get word() {
    return this.#n;
  }

  /** Puts the one place that Tab leads to where it belongs, without moving the focus. */
  settle() {
    const row = this.row ?? this.#list.seen()[0];
    if (row) this.#point(row, row.id === this.#id ? this.#n : 0);
  }

  /** Makes a moment the current one; with the focus if that is wanted. */
  to(row, n = 0, { focus = true } = {}) {
    this.#point(row, n);
    if (focus) row.stop(this.#n)?.focus({ preventScroll: true });
    if (focus) this.#list.center(row.stop(this.#n) ?? row.node);
  }

  /** Gives the focus back where what had it is no more. */
  hold() {
    const { row } = this;
    if (row && document.activeElement === document.body) row.stop(this.#n)?.focus({ preventScroll: true });
  }

  #point(row, wanted) {
    const before = this.row;
    for (const stop of before?.stops ?? []) stop.tabIndex = -1;
    if (before && before !== row) before.current = false;
    const n = Math.max(0, Math.min(wanted, row.stops.length - 1));
    const changed = this.#id !== row.id || this.#n !== n;
    this.#id = row.id;
    this.#n = n;
    row.current = true;
    const stop = row.stop(this.#n);
    if (stop) stop.tabIndex = 0;
    if (changed) this.#on.onCurrent(row, this.#n);
  }

  #focused(target) {
    const row = target.closest(".utterance")?.row;
    if (!row) return;
    const n = row.stops.indexOf(target);
    if (row.id !== this.#id || n >= 0) this.#point(row, Math.max(n, 0));
  }

  #pressed(event) {
    const { key, target } = event;
    if (event.altKey || event.metaKey || !target.matches(".word, .nothing, .feed, .transcript")) return;
    const row = this.row ?? this.#list.seen()[0];
    if (!row) return;
    const stay = () => {
      event.preventDefault();
      event.stopPropagation();
    };
    if (event.ctrlKey && key !== "Home" && key !== "End") return;
    if (key === "Enter" || key === "F2" || key === "Escape") {
      if (key === "Enter") this.#on.onPlay(row, this.#n);
      else if (key === "F2") this.#on.onEdit(row);
      else if (!this.#on.onUnpick()) return;
      stay();
      return;
    }
    const move = this.#move(row, event);
    if (!move) return;
    stay();
    move();
  }

  /** What a key does; null for none of ours. */
  #move(row, { key, ctrlKey, shiftKey }) {
    const rtl = getComputedStyle(row.words).direction === "rtl";
    const go = (to) => () => this.#go(to, shiftKey);
    const next = rtl ? "ArrowLeft" : "ArrowRight";
    const back = rtl ? "ArrowRight" : "ArrowLeft";
    if (key === next) return go(this.#beside(row, 1));
    if (key === back) return go(this.#beside(row, -1));
    if (key === "ArrowDown") return go(this.#along(row, 1, shiftKey));
    if (key === "ArrowUp") return go(this.#along(row, -1, shiftKey));
    if (key === "PageDown") return go(this.#along(row, LEAP));
    if (key === "PageUp") return go(this.#along(row, -LEAP));
    if (key === "Home" || key === "End") {
      if (ctrlKey) return () => this.#far(key === "Home" ? 0 : this.#list.total - 1);
      return go([row, key === "Home" ? 0 : row.stops.length - 1]);
    }
    return null;
  }

  #beside(row, by) {
    const n = this.#n + by;
    if (n >= 0 && n < row.stops.length) return [row, n];
    const other = this.#other(row, by);
    return other ? [other, by > 0 ? 0 : other.stops.length - 1] : null;
  }

  #along(row, by, picks = false) {
    const other = this.#other(row, by);
    if (!other) return picks ? [row, by > 0 ? row.stops.length - 1 : 0] : null;
    // Picking down takes in whole moments, picking up as well.
    if (picks && by > 0 && this.#n < row.stops.length - 1) return [row, row.stops.length - 1];
    return [other, picks && by > 0 ? other.stops.length - 1 : 0];
  }

  #other(row, by) {
    const rows = this.#list.rows;
    const at = rows.indexOf(row);
    return rows[Math.max(0, Math.min(at + by, rows.length - 1))] === row
      ? null
      : rows[Math.max(0, Math.min(at + by, rows.length - 1))];
  }

  #go(to, picks) {
    if (!to) return;
    if (picks) this.#on.onAnchor(this.row, this.#n);
    else this.#on.onUnpick();
    this.to(...to);
    if (picks) this.#on.onPick(...to);
  }

  async #far(place) {
    const row = await this.#list.goToPlace(place);
    if (row) this.to(row);
  }
}
