// Texts that are typed and not saved. They outlive scrolling away, other views, and the
// page being loaded anew.

const KEPT = "sayback drafts";

export class Drafts {
  #all = new Map(); // moment -> {text, version, was, at}

  constructor() {
    try {
      for (const [id, draft] of JSON.parse(sessionStorage.getItem(KEPT) ?? "[]")) this.#all.set(id, draft);
    } catch {
      // None.
    }
  }

  get(id) {
    return this.#all.get(id) ?? null;
  }

  /** `draft`: `{text, version, was, startMs, eventId}`; `was` is the text it began with. */
  keep(id, draft) {
    this.#all.set(id, draft);
    this.#store();
  }

  drop(id) {
    if (this.#all.delete(id)) this.#store();
  }

  /** Those of an event: `[id, draft]`. */
  of(eventId) {
    return [...this.#all].filter(([, draft]) => draft.eventId === eventId);
  }

  #store() {
    try {
      sessionStorage.setItem(KEPT, JSON.stringify([...this.#all]));
    } catch {
      // They hold until the page is closed.
    }
  }
}
