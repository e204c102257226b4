// The moments that are being put right: opened, kept while one scrolls, closed.

import { Edit } from "./edit.js";

export class Edits {
  #list;
  #desk;
  #author;
  #drafts;
  #on;
  #open = new Map(); // moment -> Edit

  /** `on.fixed(moments)`, `on.closed(row)`, `on.changed()`. */
  constructor(list, desk, author, drafts, on) {
    this.#list = list;
    this.#desk = desk;
    this.#author = author;
    this.#drafts = drafts;
    this.#on = on;
  }

  open(row) {
    const edit = row.editing ? this.#open.get(row.id) : this.#make(row);
    edit.focus();
    this.#list.center(edit.node);
  }

  /** Opens those again that have texts not saved and came into the list. */
  reopen() {
    for (const row of this.#list.rows) {
      if (this.#drafts.get(row.id) && !row.editing) this.#make(row);
      this.refresh(row);
    }
  }

  /** The moment of a row is another version now. */
  refresh(row) {
    if (row.editing) this.#open.get(row.id)?.refresh(row.moment);
  }

  showDrafts() {
    this.#on.changed();
  }

  /** Goes to a text that is not saved. */
  async again(id, { startMs }) {
    if (!this.#list.row(id) && startMs !== null) await this.#list.goTo(startMs);
    const row = this.#list.row(id);
    if (row) {
      this.#list.center(row.node);
      this.open(row);
    } else this.#desk.tell("That moment is no more, or not among those that are read now.", { trouble: true });
  }

  drop(id) {
    this.#drafts.drop(id);
    const row = this.#list.row(id);
    if (row?.editing) this.#close(row);
    this.#open.delete(id);
    this.#on.changed();
  }

  #make(row) {
    const edit = new Edit(row, {
      desk: this.#desk,
      author: this.#author,
      drafts: this.#drafts,
      on: {
        saved: (moments) => this.#on.fixed(moments),
        closed: () => this.#close(row),
        changed: () => this.#on.changed(),
      },
    });
    this.#open.set(row.id, edit);
    row.edit(edit.node);
    return edit;
  }

  #close(row) {
    const had = row.node.contains(document.activeElement) || document.activeElement === document.body;
    this.#open.delete(row.id);
    row.edit(null);
    this.#on.changed();
    const now = this.#list.row(row.id);
    if (had && now) this.#on.closed(now);
  }
}
