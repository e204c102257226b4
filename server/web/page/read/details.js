// The words of the moments that are seen, with their times: asked for one by one, a few at
// once, and kept for as long as their moment stays at the version they are of.

const AT_ONCE = 4;
const KEPT = 600;

export class Details {
  #desk;
  #onCome;
  #kept = new Map(); // id -> detail, the one used last at the end
  #wanted = []; // [{id, version}], the next last
  #asked = new Map(); // id -> promise

  /** `onCome(detail)` when one is there. */
  constructor(desk, onCome) {
    this.#desk = desk;
    this.#onCome = onCome;
  }

  /** The words of a moment, if they are there and not of another version. */
  get({ id, version }) {
    const detail = this.#kept.get(id);
    if (!detail || detail.version < version) return null;
    this.#kept.delete(id);
    this.#kept.set(id, detail);
    return detail;
  }

  /** Takes in what is known anyway. */
  keep(detail) {
    this.#kept.delete(detail.id);
    this.#kept.set(detail.id, detail);
    if (this.#kept.size > KEPT) this.#kept.delete(this.#kept.keys().next().value);
  }

  /** Asks for the words of these moments, and no longer for others. */
  want(moments) {
    const missing = moments.filter((moment) => !this.get(moment) && !this.#asked.has(moment.id));
    this.#wanted = missing.reverse();
    this.#work();
  }

  /** The words of a moment as the server has them now, or null. */
  load(id) {
    const asked = this.#asked.get(id) ?? this.#ask(id);
    return this.#desk.guarded(asked);
  }

  #work() {
    while (this.#asked.size < AT_ONCE && this.#wanted.length > 0) {
      this.#ask(this.#wanted.pop().id).catch((error) => {
        // One that is no more goes when the list is looked at anew.
        if (error.status !== 404) this.#desk.tell(error.message, { trouble: true });
      });
    }
  }

  #ask(id) {
    const asked = this.#desk.server.moment(id);
    this.#asked.set(id, asked);
    const done = () => this.#asked.delete(id);
    return asked.then(
      (detail) => {
        done();
        this.keep(detail);
        this.#onCome(detail);
        this.#work();
        return detail;
      },
      (error) => {
        done();
        this.#work();
        throw error;
      },
    );
  }
}
