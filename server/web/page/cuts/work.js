// The cut list that is worked on: read, changed one thing after the other, each change
// said of the version that was looked at. Where somebody else was quicker nothing is
// lost: what was not done is kept, told, and can be done again.

import { differences, laid, lengthOf, merged } from "./order.js";

const NOTHING = {
  id: null, // which list
  state: "none", // "none", "reading", "here" or "failed"
  why: "", // why it could not be read
  cut: null, // as lists name it
  frameRate: null,
  quotes: [],
  chosen: null, // the id of the quote that is looked at
  told: null, // {text, trouble, field}: what became of the last thing done
  conflict: null, // {text, edits}: what somebody else did, and what was not done
  busy: 0, // changes under way
  canRedo: false,
};

/** What a version was kept before, in words; where this page has not done it. */
const DONE = {
  add: "quotes put in",
  change: "a change of a quote",
  drop: "a quote taken out",
  keep: "the last change",
  move: "another order",
  name: "the name or note of the list",
  nudge: "a nudge",
  restore: "going back to a version",
};

export class Work {
  #desk;
  #known = { ...NOTHING };
  #readers = [];
  #line = Promise.resolve();
  #wanted = null;
  #turn = 0; // raised by a conflict: what waits behind it is not done either
  #reading = 0;
  #did = new Map(); // version -> what was done to it
  #same = new Map(); // version -> the older one it is again
  #redo = [];
  #base = []; // the quotes as the server has told them
  #early = []; // changes shown before they are done

  constructor(desk) {
    this.#desk = desk;
  }

  /** Calls `reader(known, changed)` after every change. */
  read(reader) {
    this.#readers.push(reader);
  }

  get known() {
    return this.#known;
  }

  get #server() {
    return this.#desk.server;
  }

  set(changes) {
    const names = Object.keys(changes).filter((name) => this.#known[name] !== changes[name]);
    if (names.length === 0) return;
    this.#known = { ...this.#known, ...changes };
    const changed = new Set(names);
    for (const reader of this.#readers) reader(this.#known, changed);
  }

  tell(text, { trouble = false, field = null } = {}) {
    this.set({ told: text ? { text, trouble, field } : null });
  }

  quote(id = this.#known.chosen) {
    return this.#known.quotes.find((quote) => quote.id === id) ?? null;
  }

  get lengthMs() {
    return lengthOf(this.#known.quotes);
  }

  /** Another list, or none; what is under way is done first. */
  async open(id) {
    this.#wanted = id;
    await this.#line;
    if (this.#wanted !== id || id === this.#known.id) return;
    this.#did.clear();
    this.#same.clear();
    this.#redo = [];
    this.#base = [];
    this.#early = [];
    this.set({ ...NOTHING, id, state: id ? "reading" : "none" });
    if (id) await this.reload();
  }

  /** Reads the list anew; what is looked at stays. */
  async reload() {
    const { id } = this.#known;
    if (!id) return;
    const reading = (this.#reading += 1);
    try {
      const answer = await this.#server.cut(id);
      if (this.#reading === reading && this.#known.id === id) this.#show(answer);
    } catch (error) {
      if (this.#reading !== reading || this.#known.id !== id) return;
      // What is there stays there: it is only not known to be new.
      if (this.#known.state === "here" && error.status !== 404) this.tell(error.message, { trouble: true });
      else this.set({ state: "failed", why: error.message, quotes: [], cut: null });
    }
  }

  #show({ cut, frame_rate, quotes }) {
    if (this.#known.cut && cut.version < this.#known.cut.version) return;
    this.#base = quotes;
    this.set({ state: "here", cut, frameRate: frame_rate, ...this.#shown() });
    this.#list(cut);
  }

  /** The quotes with what is under way, so that a long list answers a hand at once. */
  #shown() {
    const quotes = laid(this.#early.reduce((all, edit) => edit.apply(all), this.#base));
    return { quotes, chosen: this.#stillChosen(quotes) };
  }

  /** What is looked at, or what has come into its place. */
  #stillChosen(quotes) {
    const { chosen, quotes: before } = this.#known;
    if (quotes.some(({ id }) => id === chosen)) return chosen;
    const place = before.findIndex(({ id }) => id === chosen);
    return quotes[Math.min(Math.max(place, 0), quotes.length - 1)]?.id ?? null;
  }

  /** The lists of the event name it as it is now. */
  #list(cut) {
    const { cuts } = this.#desk.state.known;
    const there = cuts.find(({ id }) => id === cut.id);
    if (!there || there.version >= cut.version) return;
    this.#desk.state.set({ cuts: cuts.map((one) => (one.id === cut.id ? cut : one)) });
  }

  /** Somebody else may have changed it: looks again if they have. */
  heardOf(cuts) {
    const { id, cut, busy } = this.#known;
    const there = cuts.find((one) => one.id === id);
    if (there && cut && busy === 0 && there.version > cut.version) this.reload();
  }

  // -- what is done ------------------------------------------------------------------

  /**
   * Does something to the list: `send(version)` asks the server; `apply(quotes)` is the
   * list after it; `did` says it in words. Whether it was done.
   */
  edit(edit) {
    const turn = this.#turn;
    this.set({ busy: this.#known.busy + 1 });
    if (edit.apply) {
      this.#early.push(edit);
      this.set(this.#shown());
    }
    const done = this.#line.then(() => this.#run(edit, turn));
    const rest = () => this.set({ busy: Math.max(this.#known.busy - 1, 0) });
    this.#line = done.then(rest, rest);
    return done;
  }

  async #run(edit, turn) {
    const { cut, id, conflict } = this.#known;
    const late = () => {
      this.#early = this.#early.filter((one) => one !== edit);
      this.set(this.#shown());
    };
    if (turn !== this.#turn) {
      late();
      // It waited behind what was not done.
      if (conflict) this.set({ conflict: { ...conflict, edits: [...conflict.edits, edit] } });
      return false;
    }
    try {
      const answer = await edit.send(cut.version);
      await this.#done(edit, cut.version, answer);
      return true;
    } catch (error) {
      late();
      if (error.status === 409 && error.problem.version !== undefined) await this.#late(edit);
      else if (error.status === 404) {
        this.tell(`${error.message}: not done: ${edit.did}`, { trouble: true });
        await this.reload();
      } else {
        // Where no answer came it may be done all the same.
        if (error.status === undefined) await this.reload();
        this.tell(error.message, { trouble: true, field: error.field });
      }
      return false;
    }
  }

  async #done(edit, before, answer) {
    const cut = answer.cut ?? answer;
    this.#early = this.#early.filter((one) => one !== edit);
    if (edit.whole) await this.reload();
    else {
      // A list as lists name it only counts its quotes.
      const told = Array.isArray(answer.quotes) ? answer.quotes : [];
      this.#base = laid(merged(edit.apply?.(this.#base) ?? this.#base, told));
      this.set({ cut, ...this.#shown() });
    }
    if (cut.version !== before) {
      this.#did.set(before, edit.did);
      if (!edit.back) this.#redo = [];
      this.set({ canRedo: this.#redo.length > 0 });
    }
    this.tell(edit.says ?? null);
    this.#list(this.#known.cut ?? cut);
  }

  /** Somebody was quicker: what they did, and what was not done. */
  async #late(edit) {
    this.#turn += 1;
    const was = this.#known;
    await this.reload();
    const now = this.#known;
    const kept = await this.#server.cutVersions(was.id).catch(() => []);
    const since = kept.filter(({ version }) => version >= was.cut.version);
    const times = since.map(({ at }) => new Date(at).toLocaleTimeString());
    const when = times.length === 0 ? "" : ` at ${times[0]}`;
    const what = now.cut ? differences(was, now) : "";
    const text = `Somebody else changed this list${when}, from another page or program${what ? `: ${what}` : ""}.`;
    const edits = [...(was.conflict?.edits ?? []), edit];
    this.set({ conflict: { text, edits } });
  }

  /** Does what was not done, on the list as it is now. */
  again() {
    const { conflict } = this.#known;
    this.set({ conflict: null });
    return Promise.all((conflict?.edits ?? []).map((edit) => this.edit(edit)));
  }

  letGo() {
    this.set({ conflict: null });
  }

  // -- versions -----------------------------------------------------------------------

  /** Goes back to a version. */
  restore(to, did) {
    return this.edit({
      did,
      says: did,
      whole: true,
      send: async (version) => {
        const answer = await this.#server.restoreCut(this.#known.id, version, to);
        if (answer.version !== version) this.#same.set(answer.version, this.#same.get(to) ?? to);
        return answer;
      },
    });
  }

  /** Takes the last thing back that was done and not yet taken back. */
  undo() {
    const said = { text: "" };
    return this.edit({
      did: "taking a step back",
      whole: true,
      back: true,
      get says() {
        return said.text;
      },
      send: async (version) => {
        const { id } = this.#known;
        const shows = this.#same.get(version) ?? version;
        const kept = await this.#server.cutVersions(id);
        const to = kept.find((one) => one.version < shows);
        if (!to) throw new Error("There is nothing left to take back.");
        const answer = await this.#server.restoreCut(id, version, to.version);
        said.text = `Taken back: ${this.#did.get(to.version) ?? DONE[to.before] ?? "the last change"}.`;
        this.#same.set(answer.version, to.version);
        this.#redo.push(shows);
        return answer;
      },
    });
  }

  /** Does once more what was taken back last. */
  redo() {
    const to = this.#redo.at(-1);
    if (to === undefined) return Promise.resolve(false);
    return this.edit({
      did: "doing it again",
      says: "Done again.",
      whole: true,
      back: true,
      send: async (version) => {
        const answer = await this.#server.restoreCut(this.#known.id, version, to);
        this.#redo.pop();
        this.#same.set(answer.version, to);
        return answer;
      },
    });
  }
}
