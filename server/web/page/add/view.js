// Recordings in: an event is made, files are chosen, looked over and sent; and what
// becomes of them.

import { el } from "../dom.js";
import { chosen, dropped } from "./drop.js";
import { EventForm } from "./event_form.js";
import { guess, isRecording } from "./guess.js";
import { Places } from "./places.js";
import { Problems } from "./problems.js";
import { Queue } from "./queue.js";
import { Recordings } from "./recordings.js";
import { Sender } from "./sender.js";
import { Sending } from "./sending.js";
import { Sources } from "./sources.js";
import { Table } from "./table.js";

const CARE =
  "These are private recordings of private people. They stay on this machine; nothing is sent anywhere else. " +
  "Whether people must be asked before they are recorded is decided by the law of the place; ask first.";

export class AddView {
  #desk;
  #into;
  #files;
  #fresh;
  #zone;
  #table;
  #places;
  #sender;
  #sending;
  #parts;
  #painted = 0;

  constructor(host, desk) {
    this.#desk = desk;
    this.#sender = new Sender(desk.server, () => this.#showSending());
    this.#into = el("p", { class: "into", id: "add-into" });
    this.#fresh = el("details", { id: "new-event" }, el("summary", {}, "A new event"));
    new EventForm(this.#fresh, desk);
    this.#zone = this.#makeZone();
    const intake = el("div", {}, this.#zone);
    this.#places = new Places(intake, desk, (entries) => this.#take(entries, []));
    this.#table = new Table(intake, (groups) => this.#send(groups));
    this.#files = intake;
    host.append(el("h2", {}, "Add recordings"), el("p", { class: "care" }, CARE), this.#into, this.#fresh, intake);
    this.#sending = new Sending(host, this.#sender);
    const work = el("div", { class: "work-parts" });
    host.append(work);
    this.#parts = [new Problems(work, desk), new Queue(work), new Recordings(work, desk), new Sources(work, desk)];
    // A file that is dropped beside the place for it must not take the page away.
    for (const type of ["dragover", "drop"]) {
      addEventListener(type, (event) => {
        if (event.dataTransfer?.types.includes("Files")) event.preventDefault();
      });
    }
    addEventListener("beforeunload", (event) => {
      if (this.#sender.busy) event.preventDefault();
    });
  }

  #eventId = null;

  show(known, changed) {
    const { detail, events, eventId } = known;
    this.#files.hidden = !eventId;
    if (changed.has("eventId")) {
      // A view that comes into sight is told all names: what was chosen stays.
      if (eventId !== this.#eventId) this.#table.clear();
      this.#eventId = eventId;
      this.#sending.show(eventId);
    }
    const none = events !== null && events.length === 0;
    if (none) this.#fresh.open = true;
    this.#into.textContent = detail
      ? `What you add here goes into '${detail.title}'.`
      : none
        ? "There is no event yet. Make one, then add its recordings."
        : "";
    if (changed.has("detail") || changed.has("status")) {
      for (const part of this.#parts) part.show(known);
    }
  }

  /** A place to drop on, and buttons that do the same: drag is never the only way. */
  #makeZone() {
    const files = el("input", { id: "add-files", type: "file", multiple: true, class: "unseen", tabindex: "-1", "aria-hidden": "true" });
    const folder = el("input", { id: "add-folder", type: "file", multiple: true, webkitdirectory: true, class: "unseen", tabindex: "-1", "aria-hidden": "true" });
    for (const input of [files, folder]) {
      input.addEventListener("change", () => {
        this.#choose(chosen(input));
        input.value = "";
      });
    }
    const zone = el(
      "div",
      { class: "zone", id: "add-zone" },
      el("p", {}, "Drop files or whole folders here, or"),
      el("button", { type: "button", onclick: () => files.click() }, "choose files"),
      el("button", { type: "button", onclick: () => folder.click() }, "choose a folder"),
      files,
      folder,
    );
    const over = (on) => (event) => {
      event.preventDefault();
      zone.classList.toggle("over", on);
    };
    zone.addEventListener("dragenter", over(true));
    zone.addEventListener("dragover", over(true));
    zone.addEventListener("dragleave", over(false));
    zone.addEventListener("drop", async (event) => {
      over(false)(event);
      this.#choose(await dropped(event.dataTransfer));
    });
    return zone;
  }

  #choose(found) {
    const shown = found.filter(({ path }) => !path.split("/").some((part) => part.startsWith(".")));
    const isTaken = ({ path }) => isRecording(path);
    const taken = shown.filter(isTaken).map(({ file, path }) => ({ path, size: file.size, file }));
    const passed = shown.filter((one) => !isTaken(one)).map(({ path }) => path);
    if (taken.length === 0) {
      const why = passed.length > 0 ? "None of these is a recording by its ending." : "There are no files in that.";
      this.#desk.tell(why, { trouble: true });
      return;
    }
    this.#take(taken, passed);
  }

  /** Looks over files with those that wait already. */
  #take(entries, passed) {
    const known = new Set(this.#table.files.map(keyOf));
    // What was put right by hand is guessed no more.
    const kept = this.#table.groups.filter(({ touched }) => touched);
    const held = new Set(kept.flatMap(({ files }) => files));
    const files = [...this.#table.files, ...entries.filter((entry) => !known.has(keyOf(entry)))].filter(
      (file) => !held.has(file),
    );
    const people = this.#desk.state.known.people.map(({ name }) => name).filter(Boolean);
    this.#table.show([...kept, ...guess(files, people)], passed);
    this.#table.focus();
  }

  async #send(groups) {
    const { eventId } = this.#desk.state.known;
    this.#table.clear();
    this.#sender.add(
      groups.flatMap(({ label, placement, person, files }) =>
        files
          .filter(({ file }) => file)
          .map(({ file }) => ({
            eventId,
            file,
            about: { filename: file.name, source: label.trim(), placement, person: worn(placement, person) },
          })),
      ),
    );
    const told = [];
    const left = [];
    for (const group of groups) {
      const { label, placement, person } = group;
      const ours = group.files.filter(({ wire }) => wire);
      if (ours.length === 0) continue;
      const paths = ours.map(({ wire }) => wire);
      const said = await this.#addPaths(eventId, { source: label.trim(), placement, person: worn(placement, person), paths });
      if (said) told.push(said);
      else left.push({ ...group, files: ours });
    }
    // What was not done is there to be tried again.
    if (left.length > 0) this.#table.show(left);
    else if (told.length > 0) {
      const trouble = told.some((said) => said.trouble);
      this.#desk.tell(told.map(({ text }) => text).join(" "), { trouble });
    }
    this.#desk.refreshSoon();
  }

  /** `{text, trouble}` of what became of files of the server; null where nothing did. */

  async #addPaths(eventId, { person, ...asked }) {
    const added = await this.#desk.guarded(this.#desk.server.addPaths(eventId, person ? { ...asked, person } : asked));
    if (!added) return null;
    const facts = [`${added.accepted.length} taken in`];
    if (added.already.length > 0) facts.push(`${added.already.length} here already`);
    for (const { file, reason } of added.refused) facts.push(`${file} ${reason}`);
    return { text: `${asked.source}: ${facts.join(", ")}.`, trouble: added.refused.length > 0 };
  }

  /** Progress comes faster than anybody reads. */
  #showSending() {
    if (this.#painted) return;
    this.#painted = requestAnimationFrame(() => {
      this.#painted = 0;
      this.#sending.show();
    });
  }
}

const keyOf = ({ path, size, wire }) => JSON.stringify([path, size, wire ?? null]);
const worn = (placement, person) => (placement === "worn" ? person.trim() : "");
