// Which stretch of the event clock is seen, and where an instant lies in it. Numbers only:
// ms of the event clock, CSS pixels of the board.

/** The finest that is offered, ms a pixel: a consonant is 40 pixels wide. */
const FINEST = 0.5;
/** Beside the event there is so much of what is seen, as a share. */
const MARGIN = 0.02;

export class Scale {
  width = 1;
  from = 0; // ms at the left edge
  perPx = 1000; // ms a pixel
  #start = 0;
  #end = 1;
  #whole = true; // nobody has chosen a stretch: all is seen, however long it gets

  get to() {
    return this.from + this.width * this.perPx;
  }

  get span() {
    return this.width * this.perPx;
  }

  get start() {
    return this.#start;
  }

  get end() {
    return this.#end;
  }

  x(ms) {
    return (ms - this.from) / this.perPx;
  }

  ms(x) {
    return this.from + x * this.perPx;
  }

  /** From where to where there is something; whether that is another than before. */
  extend(start, end) {
    if (start === this.#start && end === this.#end) return false;
    this.#start = start;
    this.#end = Math.max(end, start + 1);
    if (this.#whole) this.fit();
    else this.#hold();
    return true;
  }

  resize(width) {
    this.width = Math.max(width, 1);
    if (this.#whole) this.fit();
    else this.#hold();
  }

  fit() {
    this.#whole = true;
    this.perPx = this.#coarsest;
    this.from = this.#start - this.span * MARGIN;
  }

  /** `factor` above 1 shows more; what is at `about` stays where it is. */
  zoom(factor, about) {
    const share = (about - this.from) / this.span;
    this.perPx = Math.min(Math.max(this.perPx * factor, FINEST), this.#coarsest);
    this.#whole = this.perPx === this.#coarsest;
    this.from = about - share * this.span;
    this.#hold();
  }

  pan(ms) {
    this.from += ms;
    this.#hold();
  }

  /** Brings an instant into sight, `share` of the width from the left. */
  bring(ms, share = 0.5) {
    this.from = ms - share * this.span;
    this.#hold();
  }

  /** Shows a stretch with some room beside it. */
  frame(start, end) {
    this.perPx = Math.min(Math.max(((end - start) * 1.2) / this.width, FINEST), this.#coarsest);
    this.#whole = false;
    this.bring((start + end) / 2);
  }

  sees(ms) {
    return ms >= this.from && ms <= this.to;
  }

  get #coarsest() {
    return Math.max((this.#end - this.#start) / (1 - 2 * MARGIN) / this.width, FINEST);
  }

  #hold() {
    const room = this.span * MARGIN;
    const last = Math.max(this.#end - this.span + room, this.#start - room);
    this.from = Math.min(Math.max(this.from, this.#start - room), last);
  }
}

/** Lengths between two lines of the axis, ms. */
const STEPS = [
  10, 20, 50, 100, 200, 500, 1e3, 2e3, 5e3, 10e3, 15e3, 30e3, 60e3, 120e3, 300e3, 600e3, 900e3,
  1800e3, 3600e3, 7200e3, 14400e3, 28800e3, 86400e3,
];

/** The step of an axis whose numbers need `room` pixels each. */
export function stepOf(perPx, room) {
  return STEPS.find((step) => step / perPx >= room) ?? STEPS.at(-1);
}
