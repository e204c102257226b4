// TEMPORARY: replaced by the engine.
import { slice } from "../transport.js";
export class Player {
  constructor(told) { this.told = told; this.audio = new Audio(); this.state = null; this.audio.addEventListener("ended", () => this.stop()); }
  setTimeline(timeline) { this.timeline = timeline; }
  play(spot) {
    const line = spot.line ?? 0;
    const sources = this.timeline?.at(line, spot.startMs) ?? [];
    const recording = spot.recording ?? this.told.best(line, spot.startMs) ?? sources[0]?.recording;
    if (!recording) return;
    const from = this.timeline?.toFile(recording, spot.startMs) ?? spot.startMs;
    const length = Math.min((spot.endMs ?? spot.startMs + 60000) - spot.startMs, 600000);
    this.audio.src = slice(recording, Math.max(0, Math.round(from)), Math.round(from + length));
    this.audio.play().catch(() => {});
    this.state = { playing: true, paused: false, line, recording, sources, speed: 1, loop: false, match: false, gainDb: 0, key: spot.key ?? null, title: spot.title ?? "", startMs: spot.startMs, endMs: spot.endMs ?? null };
    this.told.onChange(this.state);
    const step = () => { if (!this.state) return; this.told.onTime(this.state.startMs + this.audio.currentTime * 1000); requestAnimationFrame(step); };
    step();
  }
  playList() {}
  set(change) { if (!this.state) return; this.state = { ...this.state, ...change }; this.told.onChange(this.state); }
  toggle() { if (!this.state) return; if (this.audio.paused) this.audio.play(); else this.audio.pause(); this.set({ paused: this.audio.paused }); }
  stop() { this.audio.pause(); this.state = null; this.told.onChange(null); }
  seek(ms) { if (this.state) this.play({ ...this.state, startMs: ms }); }
  switchTo(recording) { if (this.state) this.play({ ...this.state, startMs: this.state.startMs + this.audio.currentTime * 1000, recording }); }
  nextSource() {} previousSource() {}
  setSpeed(speed) { this.audio.playbackRate = speed; this.set({ speed }); }
  setLoop(loop) { this.set({ loop }); } setMatch(match) { this.set({ match }); }
}
