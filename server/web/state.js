// What the page knows. Views read it; only `set` changes it.

export class State {
  #known = {
    events: null, // null until the server has answered
    eventId: null,
    detail: null, // the chosen event with sources, recordings, intakes
    clock: null, // where the recordings of the event lie
    said: null, // what was said in it, as far as it is listed
    scripts: null, // the written texts of it, once somebody looked
    scriptId: null, // the one that is looked at
    passes: null, // where that one was read
    scriptNews: null, // {text, trouble}: what became of the last thing asked of them
    query: "",
    asked: "", // the query the answer below belongs to
    answer: null,
    busy: false,
    status: null, // how far the work is
    playing: null, // {key, line, hearing}
    trouble: null, // one sentence for the user
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
}
