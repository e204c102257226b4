// Where words begin and end around a quote, to show them and to nudge to them.

/** Moments whose words are kept at hand. */
const KEPT = 40;

export class Words {
  #desk;
  #moments = new Map(); // id -> promise of the moment with its words

  constructor(desk) {
    this.#desk = desk;
  }

  /** The event's words may be others now. */
  forget() {
    this.#moments.clear();
  }

  /**
   * The words of a quote's moments, ms from where the quote begins: `{text, from, to}`.
   * Those of the quote itself where its moments can't be placed beside it.
   */
  async around(quote) {
    const own = quote.words.map(({ text, start_ms: from, end_ms: to }) => ({ text, from, to }));
    if (quote.start_ms === null) return own;
    const found = await Promise.all(quote.moments.map((id) => this.#moment(id)));
    const { timeline } = this.#desk.state.known;
    const words = found.flatMap((moment) => {
      const from = moment?.words_from?.id;
      if (!from || !timeline) return [];
      const at = (ms) => Math.round(timeline.toLine(from, ms)) - quote.start_ms;
      return moment.words.map((word) => ({ text: word.text, from: at(word.start_ms), to: at(word.end_ms) }));
    });
    return words.length >= own.length ? words.sort((a, b) => a.from - b.from) : own;
  }

  #moment(id) {
    if (!this.#moments.has(id)) {
      const asked = this.#desk.server.moment(id).catch(() => {
        this.#moments.delete(id);
        return null;
      });
      this.#moments.set(id, asked);
      if (this.#moments.size > KEPT) this.#moments.delete(this.#moments.keys().next().value);
    }
    return this.#moments.get(id);
  }
}

/** The next edge of a word after an instant, or before it; null where there is none. */
export function edgeBeside(words, edge, ms, by) {
  const edges = words.map((word) => word[edge]).sort((a, b) => a - b);
  const beyond = by > 0 ? edges.find((at) => at > ms + 0.5) : edges.findLast((at) => at < ms - 0.5);
  return beyond ?? null;
}

/** The edge of a word that is near enough, or the instant itself. */
export function snapped(words, edge, ms, reachMs) {
  let near = null;
  for (const word of words) {
    const off = Math.abs(word[edge] - ms);
    if (off <= reachMs && (near === null || off < Math.abs(near - ms))) near = word[edge];
  }
  return near ?? ms;
}
