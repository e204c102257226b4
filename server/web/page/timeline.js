// What runs where, and at which instant? Made of the answer of
// `/events/{event}/clock`. No request, no sound: numbers only.
//
// A line is a clock that recordings share: 0 is the event clock, 1 and up are
// islands (recordings that share sound among themselves only), and a recording
// without a place has a line of its own, `file:` and its id, which is its file
// time. All times are ms with fractions.

/** The line of a recording that lies on no clock. */
export const ownLine = (recording) => `file:${recording}`;

export class Timeline {
  #tracks = new Map();
  #lines = new Map();

  /**
   * `clock`: the answer of `/events/{event}/clock`. `recordings`: those of
   * `/events/{event}`, which alone tell how long a recording without a place is.
   */
  constructor(clock = { recordings: [] }, recordings = []) {
    const lengths = new Map(recordings.map(({ id, duration_ms }) => [id, duration_ms]));
    for (const said of clock.recordings) {
      const track = trackOf(said, lengths.get(said.recording.id));
      this.#tracks.set(track.id, track);
      const line = this.#lines.get(track.line) ?? [];
      line.push(track);
      this.#lines.set(track.line, line);
    }
  }

  /** Whether the recording is one of the event. */
  has(recording) {
    return this.#tracks.has(recording);
  }

  /** The line a recording lies on. */
  lineOf(recording) {
    return this.#tracks.get(recording)?.line ?? ownLine(recording);
  }

  /** What is known of a recording: `{id, file, source, line, lengthMs}`. */
  recording(id) {
    const track = this.#tracks.get(id);
    if (!track) return { id, file: "", source: null, line: ownLine(id), lengthMs: Infinity };
    const { file, source, line, lengthMs } = track;
    return { id, file, source, line, lengthMs };
  }

  /**
   * The file time of an instant of the recording's line. It may lie before the
   * first or behind the last sample; an instant at which the recorder had
   * stopped maps to where it went on.
   */
  toFile(recording, lineMs) {
    const pieces = this.#tracks.get(recording)?.pieces;
    return pieces ? fileAt(pieces, lineMs) : lineMs;
  }

  /** The instant of the recording's line of a file time. */
  toLine(recording, fileMs) {
    const pieces = this.#tracks.get(recording)?.pieces;
    return pieces ? lineAt(pieces, fileMs) : fileMs;
  }

  /** The recordings that run at an instant, as the clock lists them. */
  at(line, lineMs) {
    const found = [];
    for (const track of this.#tracksOf(line)) {
      const fileMs = runsAt(track, lineMs);
      if (fileMs === null) continue;
      found.push({ recording: track.id, file: track.file, source: track.source, fileMs });
    }
    return found;
  }

  /** Where the recording has this instant, ms in its file; null where it has not. */
  runs(recording, lineMs) {
    const track = this.#tracks.get(recording) ?? unknown(recording);
    return runsAt(track, lineMs);
  }

  /** When a recording of the line next begins or goes on; null if none does. */
  nextStart(line, lineMs) {
    const starts = this.#tracksOf(line).flatMap(({ pieces }) => pieces.map((p) => p.start_ms));
    const later = starts.filter((start) => start > lineMs);
    return later.length > 0 ? Math.min(...later) : null;
  }

  /** From the first to the last sound of a line, ms; null where it has none. */
  extent(line) {
    const tracks = this.#tracksOf(line);
    if (tracks.length === 0) return null;
    return {
      startMs: Math.min(...tracks.map(({ pieces }) => lineAt(pieces, 0))),
      endMs: Math.max(...tracks.map(({ pieces, lengthMs }) => lineAt(pieces, lengthMs))),
    };
  }

  /** Every line: the event clock first, then islands, then files by themselves. */
  lines() {
    const rank = (line) => (typeof line === "number" ? line : Infinity);
    return [...this.#lines.keys()].sort((a, b) => rank(a) - rank(b) || 0);
  }

  #tracksOf(line) {
    const known = this.#lines.get(line);
    if (known) return known;
    return typeof line === "string" && line.startsWith("file:") ? [unknown(line.slice(5))] : [];
  }
}

const EVEN = [{ from_ms: 0, start_ms: 0, rate_ppm: 0 }];

const unknown = (id) => ({
  id,
  file: "",
  source: null,
  line: ownLine(id),
  pieces: EVEN,
  lengthMs: Infinity,
});

function trackOf({ recording, source, island, pieces, end_ms }, durationMs) {
  const placed = island !== null && pieces.length > 0;
  const known = { id: recording.id, file: recording.file, source };
  if (!placed) {
    const lengthMs = durationMs ?? Infinity;
    return { ...known, line: ownLine(recording.id), pieces: EVEN, lengthMs };
  }
  // `end_ms` is told for the event clock only, and rounded.
  const told = end_ms === null ? Infinity : fileAt(pieces, end_ms);
  return { ...known, line: island, pieces, lengthMs: durationMs ?? told };
}

// The same as `Placement` in core/clock/placement.rs:
// file = from_ms + (line − start_ms)·(1 + rate_ppm/10⁶), up to the next piece.
const speed = (piece) => 1 + piece.rate_ppm / 1e6;
const fileOf = (piece, lineMs) => piece.from_ms + (lineMs - piece.start_ms) * speed(piece);
const lineOf = (piece, fileMs) => piece.start_ms + (fileMs - piece.from_ms) / speed(piece);

/** The last piece but the first that begins by then, else the first. */
function pieceBy(pieces, key, at) {
  let low = 0;
  let high = pieces.length - 1;
  while (low < high) {
    const middle = Math.ceil((low + high) / 2);
    if (pieces[middle][key] <= at) low = middle;
    else high = middle - 1;
  }
  return low;
}

function lineAt(pieces, fileMs) {
  return lineOf(pieces[pieceBy(pieces, "from_ms", fileMs)], fileMs);
}

function fileAt(pieces, lineMs) {
  const n = pieceBy(pieces, "start_ms", lineMs);
  const file = fileOf(pieces[n], lineMs);
  return n + 1 < pieces.length ? Math.min(file, pieces[n + 1].from_ms) : file;
}

function runsAt({ pieces, lengthMs }, lineMs) {
  const n = pieceBy(pieces, "start_ms", lineMs);
  const file = fileOf(pieces[n], lineMs);
  const end = n + 1 < pieces.length ? pieces[n + 1].from_ms : lengthMs;
  return file >= 0 && file < Math.min(end, lengthMs) ? file : null;
}
