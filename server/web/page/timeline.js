// TEMPORARY: replaced by the engine's.
export class Timeline {
  constructor(clock) { this.clock = clock; this.of = new Map(clock.recordings.map((r) => [r.recording.id, r])); }
  lineOf(id) { const r = this.of.get(id); return r && r.island !== null && r.pieces.length ? r.island : `file:${id}`; }
  toFile(id, ms) { const r = this.of.get(id); const p = r?.pieces.findLast((p) => p.start_ms <= ms) ?? r?.pieces[0]; return p ? p.from_ms + (ms - p.start_ms) * (1 + p.rate_ppm / 1e6) : ms; }
  toLine(id, ms) { const r = this.of.get(id); const p = r?.pieces.findLast((p) => p.from_ms <= ms) ?? r?.pieces[0]; return p ? p.start_ms + (ms - p.from_ms) / (1 + p.rate_ppm / 1e6) : ms; }
  at(line, ms) { return this.clock.recordings.filter((r) => r.island === line && r.start_ms !== null && r.start_ms <= ms && r.end_ms > ms).map((r) => ({ recording: r.recording.id, source: r.source, file: r.recording.file, fileMs: this.toFile(r.recording.id, ms) })); }
}
