// What a hand does on the board: press, drag, wheel, two fingers, keys. Says what is
// meant; knows nothing of what is drawn.

/** A press that moves less is no drag, CSS pixels. */
const STILL_PX = 4;
/** Two presses within so long are one double press, ms. */
const TWICE_MS = 400;
/** What a line of a wheel is, CSS pixels. */
const LINE_PX = 16;

export class Hand {
  #board;
  #does;
  #fingers = new Map(); // pointer -> {x, y}
  #press = null;
  #last = { at: 0, x: 0 };

  /**
   * `does`: land(ms, recording, {extend, keys}), hear(ms, recording), select(from, to,
   * done), scaled(), step(direction, {extend, far}), edge(direction, {extend}),
   * jump(direction, {extend}), zoom(factor, ms), pan(ms), clear().
   */
  constructor(board, does) {
    this.#board = board;
    this.#does = does;
    const { glass } = board;
    const on = (name, heard, options) => glass.addEventListener(name, heard, options);
    on("pointerdown", (event) => this.#down(event));
    on("pointermove", (event) => this.#move(event));
    on("pointerup", (event) => this.#up(event));
    on("pointercancel", (event) => {
      const press = this.#press;
      this.#cancel(event);
      if (press?.moved && !press.pans) this.#does.undrag();
    });
    on("wheel", (event) => this.#wheel(event), { passive: false });
    on("keydown", (event) => this.#key(event));
  }

  #down(event) {
    if (event.button !== 0) return;
    const { glass } = this.#board;
    glass.setPointerCapture(event.pointerId);
    this.#fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (this.#fingers.size > 1) {
      this.#press = null;
      return;
    }
    const under = this.#board.under(event);
    // A finger moves the axis, as it does everywhere; so does a mouse on its numbers.
    const pans = event.pointerType === "touch" || under.lane === "time";
    this.#press = { ...under, x: event.clientX, pans, moved: false, extend: event.shiftKey };
  }

  #move(event) {
    const finger = this.#fingers.get(event.pointerId);
    if (!finger) return;
    const before = { ...finger };
    finger.x = event.clientX;
    finger.y = event.clientY;
    if (this.#fingers.size === 2) {
      this.#pinch(event.pointerId, before);
      return;
    }
    const press = this.#press;
    if (!press) return;
    if (!press.moved && Math.abs(event.clientX - press.x) < STILL_PX) return;
    press.moved = true;
    if (press.pans) {
      this.#does.pan((before.x - event.clientX) * this.#board.scale.perPx);
    } else {
      this.#does.select(press.ms, this.#board.under(event).ms, false);
    }
  }

  #pinch(moved, before) {
    const { scale, glass } = this.#board;
    const [other] = [...this.#fingers].filter(([id]) => id !== moved).map(([, at]) => at);
    const now = this.#fingers.get(moved);
    const apart = (a) => Math.max(Math.abs(a.x - other.x), 12);
    const left = glass.getBoundingClientRect().left;
    const middle = (now.x + other.x) / 2 - left;
    this.#does.zoom(apart(before) / apart(now), scale.ms(middle));
    this.#does.pan(((before.x - now.x) / 2) * scale.perPx);
  }

  #up(event) {
    const press = this.#press;
    this.#cancel(event);
    if (!press) return;
    if (press.moved) {
      if (!press.pans) this.#does.select(press.ms, this.#board.under(event).ms, true);
      return;
    }
    const twice = event.timeStamp - this.#last.at < TWICE_MS && Math.abs(this.#last.x - event.clientX) < 8;
    this.#last = { at: twice ? 0 : event.timeStamp, x: event.clientX };
    if (twice) this.#does.hear(press.ms, press.recording);
    else this.#does.land(press.ms, press.recording, { extend: press.extend });
  }

  #cancel(event) {
    this.#fingers.delete(event.pointerId);
    this.#press = null;
  }

  #wheel(event) {
    event.preventDefault();
    const { scale, glass } = this.#board;
    const unit = [1, LINE_PX, glass.clientHeight][event.deltaMode] ?? 1;
    const across = event.shiftKey && event.deltaX === 0 ? event.deltaY : event.deltaX;
    if (Math.abs(across) > Math.abs(event.deltaY) || event.shiftKey) {
      this.#does.pan(across * unit * scale.perPx);
      return;
    }
    const left = glass.getBoundingClientRect().left;
    const factor = Math.exp(Math.min(Math.max(event.deltaY * unit, -240), 240) / 300);
    this.#does.zoom(factor, scale.ms(event.clientX - left));
  }

  #key(event) {
    if (event.altKey || event.metaKey) return;
    const { scale } = this.#board;
    const does = this.#does;
    const extend = event.shiftKey;
    const acts = {
      ArrowLeft: () => (event.ctrlKey ? does.jump(-1, { extend }) : does.step(-1, { extend })),
      ArrowRight: () => (event.ctrlKey ? does.jump(1, { extend }) : does.step(1, { extend })),
      ArrowUp: () => does.zoom(1 / 1.5, null),
      ArrowDown: () => does.zoom(1.5, null),
      PageUp: () => does.step(-1, { extend, far: true }),
      PageDown: () => does.step(1, { extend, far: true }),
      Home: () => does.edge(-1, { extend }),
      End: () => does.edge(1, { extend }),
      Enter: () => does.hear(null, null),
      Escape: () => does.clear(),
    };
    const act = acts[event.key];
    if (!act || scale.width <= 1) return;
    // Without a stretch Escape is the page's: it stops what sounds.
    if (act() !== false) event.preventDefault();
  }
}
