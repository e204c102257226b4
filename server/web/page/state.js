// What the page knows. Views read it; only `set` changes it.

/** What is known before an event is chosen, and forgotten with it. */
const OF_EVENT = {
  detail: null, // the event with sources, recordings, intakes
  clock: null, // where its recordings lie, as the server tells it
  timeline: null, // the same, to be asked: Timeline
  outline: null, // every moment in short: when, who, best source
  parts: [], // its parts
  people: [], // its people
  cuts: [], // its cut lists, without their quotes
  cut: null, // the id of the cut list that is worked on
  status: null, // how far the work is
  place: null, // {line, ms}: the instant that is looked at
  looked: 0, // how often all was looked at anew: words may be others though no list is
};

export class State {
  #known = {
    events: null, // null until the server has answered
    eventId: null,
    ...OF_EVENT,
    view: "find",
    query: "",
    narrow: {}, // what lines must be like beside their words, as a search has it
    heard: null, // what sounds: the player's state
    news: null, // {text, trouble}: one sentence for the user
  };

  #readers = [];

  /** Calls `reader(known, changed)` after every change. */
  read(reader) {
    this.#readers.push(reader);
  }

  get known() {
    return this.#known;
  }

  set(changes) {
    const changed = new Set();
    for (const [name, value] of Object.entries(changes)) {
      if (this.#known[name] !== value) {
        this.#known[name] = value;
        changed.add(name);
      }
    }
    if (changed.size === 0) return;
    for (const reader of this.#readers) reader(this.#known, changed);
  }

  /** Another event, or none: all that was known of the last is forgotten. */
  choose(eventId) {
    const { eventId: before, narrow } = this.#known;
    // People, parts and sources of one event are none of another; a link's own stay.
    const { person, part, source, ...rest } = narrow;
    const other = before !== null && before !== eventId;
    this.set({ ...OF_EVENT, eventId, ...(other ? { narrow: rest } : {}) });
  }
}
