// Plays exactly one spot at a time. The server cuts the spot, so its end is
// the end of the sound; the gain is never above 1.

import { slice } from "./transport.js";

export class Player {
  #audio;
  #onChange;
  #onTime;
  #current = null;

  constructor(audio, { onChange, onTime, onTrouble }) {
    this.#audio = audio;
    this.#onChange = onChange;
    this.#onTime = onTime;
    audio.volume = 1;
    audio.addEventListener("ended", () => this.stop());
    audio.addEventListener("timeupdate", () => this.#tell());
    audio.addEventListener("error", () => {
      if (!this.#current) return;
      this.stop();
      onTrouble("This spot cannot be played; its file may have been moved.");
    });
  }

  get current() {
    return this.#current;
  }

  /** Starts `spot`, or stops it where it is the one that plays. */
  toggle(spot) {
    if (this.#current?.key === spot.key) {
      this.stop();
      return;
    }
    this.#current = spot;
    const { recording, start_ms, end_ms } = spot.hearing;
    this.#audio.src = slice(recording.id, start_ms, end_ms);
    // A refused start arrives as an error event too.
    this.#audio.play().catch(() => {});
    this.#onChange(spot);
    this.#follow();
  }

  stop() {
    if (!this.#current) return;
    this.#current = null;
    this.#audio.pause();
    this.#audio.removeAttribute("src");
    this.#audio.load();
    this.#onChange(null);
  }

  #follow() {
    const spot = this.#current;
    const step = () => {
      if (this.#current !== spot) return;
      this.#tell();
      requestAnimationFrame(step);
    };
    if (!matchMedia("(prefers-reduced-motion: reduce)").matches) requestAnimationFrame(step);
  }

  #tell() {
    if (this.#current) this.#onTime(this.#current, this.#audio.currentTime * 1000);
  }
}
