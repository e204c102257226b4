// Sends files in pieces, one after the other, and goes on where it was: after a pause, a
// lost connection, or a page that was closed. What the server has is the truth.

import { Kept } from "./kept.js";

const KIB = 1024;
const SMALLEST = 256 * KIB;
const LARGEST = 32 * 1024 * KIB;
/** A piece is to take about so long, so that little is sent twice and little is waited for. */
const PIECE_MS = 1500;
/** Tried again after 1, 2, 4 … s, at most so long. */
const LONGEST_WAIT_MS = 20_000;
/** Over so long the rate is told. */
const RATE_MS = 8000;

export class Sender {
  #server;
  #onChange;
  #kept = new Kept();
  #stop = null; // stops the piece that is on its way
  #paused = false;
  #running = false;
  #pace = []; // {at, bytes} that went out lately
  #wake = () => {};
  #next = 0;
  items = [];

  constructor(server, onChange) {
    this.#server = server;
    this.#onChange = onChange;
    addEventListener("online", () => this.#wake());
  }

  /**
   * Adds files to what is sent: `{eventId, file, about}`, `about` being `{filename,
   * source, placement, person}`.
   */
  add(files) {
    for (const { eventId, file, about } of files) {
      this.items.push({
        key: `${this.#next++}`,
        eventId,
        file,
        about,
        address: null,
        sent: 0,
        state: "waiting", // sending, lost, done, failed, removed
        why: "",
      });
    }
    this.#onChange();
    this.#run();
  }

  get paused() {
    return this.#paused;
  }

  /** Whether something would be left half-sent if the page were closed. */
  get busy() {
    return this.items.some(({ state }) => state === "waiting" || state === "sending" || state === "lost");
  }

  pause() {
    this.#paused = true;
    this.#stop?.abort();
    this.#pace = [];
    this.#onChange();
  }

  resume() {
    this.#paused = false;
    this.#wake();
    this.#onChange();
    this.#run();
  }

  /** Sends a file again that failed. */
  again(item) {
    item.state = "waiting";
    item.why = "";
    this.#onChange();
    this.#run();
  }

  /** Gives a file up, here and at the server. */
  async remove(item) {
    const before = item.state;
    item.state = "removed";
    if (before === "sending" || before === "lost") {
      this.#stop?.abort();
      this.#wake();
    }
    this.items = this.items.filter((one) => one !== item);
    this.#onChange();
    const address = item.address ?? this.#kept.address(item);
    this.#kept.forget(item);
    if (address && before !== "done") await this.#server.endUpload(address).catch(() => {});
  }

  /** Takes what is over off the list. */
  clear() {
    this.items = this.items.filter(({ state }) => state !== "done");
    this.#onChange();
  }

  /** Files of an event that were half-sent when a page was closed, by their names. */
  leftOver(eventId) {
    const here = new Set(this.items.map((item) => this.#kept.key(item)));
    return this.#kept.all(eventId).filter(({ key }) => !here.has(key));
  }

  forget(left) {
    this.#kept.drop(left.key);
    this.#server.endUpload(left.address).catch(() => {});
    this.#onChange();
  }

  /** `{files, done, failed, bytes, sent, rate, leftMs}`; rate in bytes a second or null. */
  get whole() {
    const live = this.items.filter(({ state }) => state !== "failed");
    const bytes = live.reduce((sum, { file }) => sum + file.size, 0);
    const sent = live.reduce((sum, item) => sum + item.sent, 0);
    const rate = this.#rate();
    return {
      files: this.items.length,
      done: this.items.filter(({ state }) => state === "done").length,
      failed: this.items.filter(({ state }) => state === "failed").length,
      bytes,
      sent,
      rate,
      leftMs: rate ? ((bytes - sent) / rate) * 1000 : null,
    };
  }

  #rate() {
    const now = performance.now();
    this.#pace = this.#pace.filter(({ at }) => now - at < RATE_MS);
    if (this.#pace.length < 2) return null;
    const took = now - this.#pace[0].at;
    const bytes = this.#pace.slice(1).reduce((sum, one) => sum + one.bytes, 0);
    return took > 500 ? (bytes / took) * 1000 : null;
  }

  async #run() {
    if (this.#running) return;
    this.#running = true;
    try {
      for (;;) {
        const next = this.#paused ? null : this.items.find(({ state }) => state === "waiting");
        if (!next) return;
        await this.#send(next);
      }
    } finally {
      this.#running = false;
    }
  }

  /** Sends one file to its end, a pause, or what can't be mended by trying again. */
  async #send(item) {
    let wait = 1000;
    let piece = 4 * SMALLEST;
    while (item.state !== "removed" && !this.#paused) {
      try {
        item.state = "sending";
        this.#onChange();
        if (!item.address) await this.#find(item);
        // It was given up, or all was paused, while its upload was looked for.
        if (item.state === "removed") {
          this.#kept.forget(item);
          await this.#server.endUpload(item.address).catch(() => {});
          return undefined;
        }
        if (this.#paused) break;
        const begun = performance.now();
        const size = Math.min(piece, item.file.size - item.sent);
        if (size > 0) await this.#piece(item, size);
        if (item.sent >= item.file.size) return this.#done(item);
        const took = performance.now() - begun;
        const better = took < PIECE_MS / 2 ? piece * 2 : took > PIECE_MS * 2 ? piece / 2 : piece;
        piece = Math.min(Math.max(better, SMALLEST), LARGEST);
        item.why = "";
        wait = 1000;
      } catch (error) {
        if (item.state === "removed") return undefined;
        if (error.name === "AbortError") break;
        if (!this.#mends(item, error)) return undefined;
        await this.#rest(wait);
        wait = Math.min(wait * 2, LONGEST_WAIT_MS);
        // The server says how far it really is.
        item.address = null;
      }
    }
    if (item.state !== "removed") {
      item.state = "waiting";
      item.address = null;
      this.#onChange();
    }
    return undefined;
  }

  /** The upload of a file: one that was begun, or a new one. */
  async #find(item) {
    const known = this.#kept.address(item);
    if (known) {
      try {
        item.sent = await this.#server.uploadOffset(known);
        item.address = known;
        return;
      } catch (error) {
        if (error.status !== 404 && error.status !== 410) throw error;
        this.#kept.forget(item);
      }
    }
    item.sent = 0;
    item.address = await this.#server.beginUpload(item.eventId, item.file.size, item.about);
    this.#kept.remember(item, item.address);
  }

  async #piece(item, size) {
    const from = item.sent;
    const piece = item.file.slice(from, from + size);
    this.#stop = new AbortController();
    const { signal } = this.#stop;
    const sha256 = await hashed(piece).catch((cause) => {
      throw Object.assign(new Error(`it can't be read any more: ${cause.message}`), { unreadable: true });
    });
    signal.throwIfAborted();
    let told = 0;
    const onProgress = (bytes) => {
      const on = Math.min(bytes, size);
      this.#pace.push({ at: performance.now(), bytes: on - told });
      told = on;
      item.sent = from + on;
      this.#onChange();
    };
    try {
      item.sent = await this.#server.sendPiece(item.address, { offset: from, piece, sha256, onProgress, signal });
    } catch (error) {
      item.sent = from;
      throw error;
    }
  }

  #done(item) {
    item.state = "done";
    item.sent = item.file.size;
    this.#kept.forget(item);
    this.#onChange();
  }

  /** Whether trying again can help; says what is wrong in either case. */
  #mends(item, error) {
    const passes = [undefined, 408, 409, 423, 429, 460, 500, 502, 503, 504].includes(error.status);
    if (passes && !error.unreadable) {
      item.state = "lost";
      item.why = `${error.message} It goes on by itself.`;
      this.#onChange();
      return true;
    }
    item.state = "failed";
    item.why = error.message;
    item.address = null;
    this.#onChange();
    return false;
  }

  #rest(ms) {
    return new Promise((done) => {
      const timer = setTimeout(done, ms);
      this.#wake = () => {
        clearTimeout(timer);
        done();
      };
    });
  }
}

/** SHA-256 in base64; null where the browser does not hash (no secure context). */
async function hashed(piece) {
  const bytes = await piece.arrayBuffer();
  if (!globalThis.crypto?.subtle) return null;
  const hash = await crypto.subtle.digest("SHA-256", bytes);
  return btoa(String.fromCharCode(...new Uint8Array(hash)));
}
