// Which moments are read, in which order? Asks the server for stretches of them, so that
// an event of ten hours costs no more than one of ten minutes.

/** Moments asked for at once where they are asked for one by one. */
const AT_ONCE = 6;
/** Moments among which others are looked for, rather than one by one. */
const FEW = 300;

/** All moments of an event, or those of a part of it. */
export class Everything {
  /** Moments to be asked for at a time. */
  step = 40;
  #desk;
  #eventId;
  #stretch;

  /** `stretch`: `{start_ms, end_ms}` on the event clock, or null for all. */
  constructor(desk, eventId, stretch = null) {
    this.#desk = desk;
    this.#eventId = eventId;
    this.#stretch = stretch ? { fromMs: stretch.start_ms, toMs: stretch.end_ms } : {};
  }

  /** `{total, moments}`: at most `limit` from the place `offset` on. */
  load(offset, limit) {
    return this.#desk.server.moments(this.#eventId, { ...this.#stretch, offset, limit });
  }

  /** The place of the moment that is said at an instant, else of the last one before. */
  async placeOf(ms) {
    const { outline } = this.#desk.state.known;
    // The outline has the same moments in the same order; where it is a little older, the
    // place is a little off, and still near.
    if (outline && this.#stretch.fromMs === undefined) return Math.max(countTo(outline.start_ms, ms) - 1, 0);
    const { fromMs = null, toMs = null } = this.#stretch;
    const to = Math.min(Math.floor(ms) + 1, toMs ?? Infinity);
    const before = { fromMs, toMs: to, limit: 1 };
    const { total } = await this.#desk.server.moments(this.#eventId, before);
    return Math.max(total - 1, 0);
  }
}

/** Some moments of an event, in order. */
export class Some {
  step = 16;
  #desk;
  #eventId;
  #picked;

  /** `picked`: `[{id, n, startMs, endMs}]`; `n` is the place among all moments. */
  constructor(desk, eventId, picked) {
    this.#desk = desk;
    this.#eventId = eventId;
    this.#picked = picked;
  }

  async load(offset, limit) {
    const wanted = this.#picked.slice(offset, offset + limit);
    const found = await this.#among(wanted);
    const missing = wanted.filter(({ id }) => !found.has(id));
    let next = 0;
    const work = async () => {
      while (next < missing.length) {
        const { id } = missing[next];
        next += 1;
        const moment = await this.#one(id);
        if (moment) found.set(id, moment);
      }
    };
    await Promise.all(Array.from({ length: AT_ONCE }, work));
    // The place of a moment that is no more is kept until the outline is known anew.
    return { total: this.#picked.length, moments: wanted.map((one) => found.get(one.id) ?? gone(one)) };
  }

  /** Those that lie near each other, by one request for all around them. */
  async #among(wanted) {
    const [first, last] = [wanted[0], wanted.at(-1)];
    if (!first || last.n - first.n > FEW) return new Map();
    const stretch = { fromMs: first.startMs, toMs: last.startMs + 1, limit: 1000 };
    const { moments } = await this.#desk.server.moments(this.#eventId, stretch);
    return new Map(moments.map((moment) => [moment.id, moment]));
  }

  async #one(id) {
    try {
      return await this.#desk.server.moment(id);
    } catch (error) {
      if (error.status === 404) return null;
      throw error;
    }
  }

  async placeOf(ms) {
    const after = this.#picked.findIndex(({ startMs }) => startMs > ms);
    return Math.max((after < 0 ? this.#picked.length : after) - 1, 0);
  }
}

/** How many of these rising instants are not after another. */
function countTo(instants, ms) {
  let [from, to] = [0, instants.length];
  while (from < to) {
    const middle = (from + to) >> 1;
    if (instants[middle] <= ms) from = middle + 1;
    else to = middle;
  }
  return from;
}

const gone = ({ id, startMs, endMs }) => ({
  id,
  version: 0,
  by_hand: false,
  island: 0,
  start_ms: startMs,
  end_ms: endMs,
  text: "",
  language: null,
  doubt: "this moment is no more",
  words_from: null,
  person: null,
  also: null,
  hearings: [],
});

/** Those of the outline that a choice lets through. */
export function picked(outline, { person = null, part = null, doubtful = false, alone = false }) {
  const who = person === null ? null : outline.people.findIndex(({ id }) => id === person);
  const found = [];
  for (let n = 0; n < outline.id.length; n += 1) {
    const [startMs, endMs] = [outline.start_ms[n], outline.end_ms[n]];
    if (who !== null && outline.person[n] !== who) continue;
    if (part && (endMs <= part.start_ms || startMs >= part.end_ms)) continue;
    if (doubtful && !outline.doubtful[n]) continue;
    if (alone && !(outline.good[n] !== null && outline.good[n] < 2)) continue;
    found.push({ id: outline.id[n], n, startMs, endMs });
  }
  return found;
}
