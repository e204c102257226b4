// What is to be heard, in which order, from whom. Pure but for the callback that
// names the best hearing.

/** Nothing shorter is played, ms: it would be all fades. */
const SHORTEST_MS = 25;
/** Ends of files are known to some ms: what takes over must have so much more, ms. */
const LASTING_MS = 50;

export class Plan {
  /** Recordings that were refused, not to be chosen again by themselves. */
  bad = new Set();

  /** `spots` as `Player.play` and `playList` take them. */
  constructor(timeline, spots, { list = false, onSpot = null } = {}) {
    this.spots = spots.map((spot) => told(timeline, spot));
    this.list = list;
    this.onSpot = onSpot;
    /** Whether the best hearing is followed from moment to moment. */
    this.follows = !list && this.spots[0].recording === null;
  }

  /**
   * Which recording to hear at an instant of a spot, and from when: where none runs
   * at that instant, when the next begins. Null if the spot has no sound left. Where
   * `without` has just ended, another is chosen.
   */
  choose(timeline, best, index, ms, { without = null } = {}) {
    const spot = this.spots[index];
    const runs = (id) =>
      timeline.runs(id, ms) !== null &&
      (without === null || timeline.runs(id, ms + LASTING_MS) !== null);
    const fits = (id) => id && id !== without && runs(id);
    const picked = spot.recording;
    if (fits(picked)) return { spot: index, recording: picked, ms };
    if (picked !== null && picked !== without) {
      // A quote may begin a little before its file does.
      const begins = timeline.toLine(picked, 0);
      if (begins >= ms && (spot.endMs === null || begins < spot.endMs)) {
        return { spot: index, recording: picked, ms: begins };
      }
    }
    if (this.list && picked !== null) return null;
    const running = timeline.at(spot.line, ms).map(({ recording }) => recording);
    const wanted = best(spot.line, ms);
    const usable = (id) => fits(id) && !this.bad.has(id);
    const found = usable(wanted) ? wanted : running.find(usable);
    if (found) return { spot: index, recording: found, ms };
    return this.#later(timeline, best, index, ms, without);
  }

  #later(timeline, best, index, ms, without) {
    const spot = this.spots[index];
    for (let at = ms; ; ) {
      at = timeline.nextStart(spot.line, at);
      if (at === null || (spot.endMs !== null && at >= spot.endMs)) return null;
      const usable = ({ recording }) => recording !== without && !this.bad.has(recording);
      const running = timeline.at(spot.line, at).filter(usable);
      if (running.length === 0) continue;
      const wanted = best(spot.line, at);
      const found = running.find(({ recording }) => recording === wanted) ?? running[0];
      return { spot: index, recording: found.recording, ms: at };
    }
  }

  /** The spot after another, or null; `loop` leads from the last to the first. */
  after(index, loop) {
    if (index + 1 < this.spots.length) return index + 1;
    return loop ? 0 : null;
  }
}

/** A spot with all that is left open filled in. */
function told(timeline, spot) {
  const { recording = null, key = null, title = "" } = spot;
  if (recording !== null && spot.fileStartMs !== undefined) {
    const line = timeline.lineOf(recording);
    const startMs = timeline.toLine(recording, spot.fileStartMs);
    const endMs = timeline.toLine(recording, spot.fileEndMs);
    return { recording, line, startMs, endMs: atLeast(startMs, endMs), key, title };
  }
  const line = spot.line ?? (recording === null ? 0 : timeline.lineOf(recording));
  const { startMs, endMs = null } = spot;
  return { recording, line, startMs, endMs: atLeast(startMs, endMs), key, title };
}

const atLeast = (startMs, endMs) => (endMs === null ? null : Math.max(endMs, startMs + SHORTEST_MS));

/** What is told of a spot; of none, the event clock from its beginning. */
export function about(spot) {
  const { line = 0, startMs = 0, endMs = null, key = null, title = "" } = spot ?? {};
  return { line, startMs, endMs, key, title };
}
