// What every view may ask for: the server, the player, what is known, and to go elsewhere.

import { Player } from "../sound/player.js";
import { State } from "../state.js";
import { Timeline } from "../timeline.js";
import * as server from "../transport.js";

const CHANGE_PAUSE_MS = 600;

export class Desk {
  state = new State();
  server = server;
  #timers = [];
  #unfollow = () => {};
  #refreshing = { soon: false, again: false, tookMs: 0 };

  constructor() {
    this.player = new Player({
      onChange: (heard) => this.state.set({ heard }),
      onTime: (ms) => {
        for (const timer of this.#timers) timer(ms);
      },
      onTrouble: (text) => this.tell(text, { trouble: true }),
      best: (line, ms) => this.best(line, ms),
    });
  }

  // -- what is heard -----------------------------------------------------------

  /** Calls `timer(ms)` while something sounds. */
  onTime(timer) {
    this.#timers.push(timer);
  }

  /**
   * Plays from an instant of a line (0 is the event clock), on a recording or else on
   * the best: `{line, startMs, endMs, recording, loop, key, title}`. What plays already
   * under the same key is stopped instead.
   */
  hear(spot) {
    const { heard } = this.state.known;
    if (spot.key && heard?.key === spot.key && sounds(heard)) {
      this.player.stop();
      return;
    }
    this.player.play({ loop: heard?.loop ?? false, ...spot });
  }

  /** Pauses or goes on; where nothing sounds, plays from the instant that is looked at. */
  playOrPause() {
    const { heard, place } = this.state.known;
    if (sounds(heard)) this.player.toggle();
    else this.hear({ line: place?.line ?? 0, startMs: place?.ms ?? 0, endMs: place?.endMs ?? null });
  }

  /** Plays a stretch of a recording's file, wherever that lies; on and on where it has no end. */
  hearFile(recording, startMs, endMs, spot = {}) {
    const { timeline } = this.state.known;
    const line = timeline?.lineOf(recording) ?? `file:${recording}`;
    const on = (ms) => timeline?.toLine(recording, ms) ?? ms;
    this.hear({ ...spot, line, recording, startMs: on(startMs), endMs: endMs === null ? null : on(endMs) });
  }

  /** The recording that has what is said at an instant best; null where nothing is said. */
  best(line, ms) {
    const { outline } = this.state.known;
    if (line !== 0 || !outline) return null;
    const n = momentAt(outline, ms);
    const best = n < 0 ? null : outline.best[n];
    return best === null ? null : outline.recordings[best];
  }

  // -- what is known -----------------------------------------------------------

  async start({ event, place, cut }) {
    await this.listEvents();
    const events = this.state.known.events ?? [];
    const wanted = events.find(({ id }) => id === event);
    const opened = (wanted ?? events[0])?.id ?? null;
    await this.choose(opened);
    if (event && !wanted) {
      this.tell("The event of this link is not here any more.", { trouble: true });
      return;
    }
    // Somebody may have chosen another, or gone elsewhere, meanwhile.
    if (this.state.known.eventId !== opened) return;
    if (place && this.state.known.place === null) this.state.set({ place });
    if (cut) this.state.set({ cut });
  }

  async choose(eventId) {
    this.#unfollow();
    this.player.stop();
    this.state.choose(eventId);
    this.#unfollow = server.follow(eventId, {
      progress: (status) => {
        // It answers again: what happened meanwhile was told to nobody.
        if (this.state.known.news?.lost) {
          this.tell(null);
          this.refreshSoon();
        }
        this.state.set({ status: eventId ? status : null });
      },
      change: () => this.refreshSoon(),
      lost: () => this.tell("The server does not answer; trying again.", { trouble: true, lost: true }),
    });
    await this.refresh();
  }

  async listEvents() {
    const events = await this.guarded(server.events());
    const names = (list) => JSON.stringify(list?.map((e) => [e.id, e.title, e.date]));
    if (events && names(events) !== names(this.state.known.events)) this.state.set({ events });
  }

  /** Looks again at what every view needs; the first event that comes is chosen. */
  async refresh() {
    const { eventId, cut } = this.state.known;
    if (!eventId) {
      await this.listEvents();
      const first = this.state.known.events?.[0];
      if (first) await this.choose(first.id);
      return;
    }
    // The outline of a long day takes longer than all the rest: views are drawn without it.
    const outlined = this.guarded(server.outline(eventId));
    const [detail, clock, parts, people, cuts] = await Promise.all(
      [
        server.event(eventId),
        server.clock(eventId),
        server.parts(eventId),
        server.people(eventId),
        server.cuts(eventId),
      ].map((asked) => this.guarded(asked)),
    );
    if (this.state.known.eventId !== eventId) return;
    const changes = unlike(this.state.known, { detail, clock, parts, people, cuts });
    if (changes.clock || changes.detail) {
      const { clock: lies, detail: has } = { ...this.state.known, ...changes };
      changes.timeline = new Timeline(lies ?? undefined, has?.recordings);
      this.player.setTimeline(changes.timeline);
    }
    // One that was made or chosen since is none that went.
    const same = cut === this.state.known.cut;
    if (cuts && same && !cuts.some(({ id }) => id === cut)) {
      changes.cut = cuts[0]?.id ?? null;
    }
    this.state.set(changes);
    const outline = await outlined;
    if (this.state.known.eventId !== eventId) return;
    this.state.set({ ...unlike(this.state.known, { outline }), looked: this.state.known.looked + 1 });
  }

  /** One refresh at a time, at rest ten times as long as the last one took. */
  refreshSoon() {
    const now = this.#refreshing;
    now.again = true;
    if (now.soon) return;
    now.soon = true;
    setTimeout(
      async () => {
        now.again = false;
        const begun = performance.now();
        try {
          await this.refresh();
        } finally {
          now.tookMs = performance.now() - begun;
          now.soon = false;
          if (now.again) this.refreshSoon();
        }
      },
      Math.max(CHANGE_PAUSE_MS, 10 * now.tookMs),
    );
  }

  // -- what is done ------------------------------------------------------------

  /** Shows another view; `also` is set with it. */
  go(view, also = {}) {
    this.state.set({ view, ...also });
    document.getElementById("main").focus({ preventScroll: true });
  }

  /**
   * One sentence for the user, and what can be done about it: `act` is `{name, run}`; one
   * of `lost` goes as soon as the server answers again.
   */
  tell(text, { trouble = false, lost = false, act = null } = {}) {
    this.state.set({ news: text ? { text, trouble, lost, act } : null });
  }

  /** The answer, or null after telling the user why there is none. */
  async guarded(promise) {
    try {
      const answer = await promise;
      if (this.state.known.news?.lost) this.tell(null);
      return answer;
    } catch (error) {
      // A refusal stays to be read; looking at the event anew comes right after it.
      const lost = error.status === undefined;
      if (error.name !== "AbortError") this.tell(error.message, { trouble: true, lost });
      return null;
    }
  }

  /** Does something and looks at what became of it; whether it was done. */
  async act(promise) {
    if (this.state.known.news?.trouble) this.tell(null);
    const answer = await this.guarded(promise.then((done) => ({ done })));
    this.refreshSoon();
    return answer !== null;
  }

  pauseOrGoOn() {
    this.act(this.state.known.status?.paused ? server.resume() : server.pause());
  }
}

/** Whether something is being heard, be it paused. */
export const sounds = (heard) => Boolean(heard?.playing || heard?.paused);

/** The moment that is said at an instant, by its place in the outline; -1 for none. */
export function momentAt(outline, ms) {
  let from = 0;
  let to = outline.start_ms.length;
  while (from < to) {
    const middle = (from + to) >> 1;
    if (outline.start_ms[middle] <= ms) from = middle + 1;
    else to = middle;
  }
  return from > 0 && outline.end_ms[from - 1] > ms ? from - 1 : -1;
}

/** Those of `found` that are there and differ from what is known. */
function unlike(known, found) {
  const other = Object.entries(found).filter(
    ([name, value]) => value !== null && JSON.stringify(value) !== JSON.stringify(known[name]),
  );
  return Object.fromEntries(other);
}
