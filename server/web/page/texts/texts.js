// What a person does with the written texts of an event: adds one, looks where it was
// read, marks a part by it, takes it away.

import * as server from "../transport.js";
import { position } from "../written.js";
import { at } from "../dom.js";

/** The server takes 200,000 characters, each of at most 4 bytes. */
const MAX_FILE_BYTES = 800_000;

/** What is known of the texts until somebody looked. */
const NOTHING = {
  scripts: null, // the written texts of the event
  scriptId: null, // the one that is looked at
  passes: null, // where that one was read
  scriptNews: null, // {text, trouble, field}: what became of the last thing asked of them
};

export class Scripts {
  #desk;
  #known = { ...NOTHING };
  #reader = () => {};
  #keeping = false;

  constructor(desk) {
    this.#desk = desk;
  }

  /** Calls `reader()` after every change. */
  read(reader) {
    this.#reader = reader;
  }

  get known() {
    return this.#known;
  }

  #set(changes) {
    this.#known = { ...this.#known, ...changes };
    this.#reader();
  }

  get #eventId() {
    return this.#desk.state.known.eventId;
  }

  listen() {
    const form = at("script-new");
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#keep();
    });
    at("script-file").addEventListener("change", () => this.#read(at("script-file").files[0]));
    form.addEventListener("dragover", (event) => {
      if (!carriesFiles(event)) return;
      event.preventDefault();
      form.classList.add("over");
    });
    form.addEventListener("dragleave", () => form.classList.remove("over"));
    form.addEventListener("drop", (event) => {
      form.classList.remove("over");
      if (!carriesFiles(event)) return;
      event.preventDefault();
      this.#read(event.dataTransfer.files[0]);
    });
  }

  /** Another event was chosen. */
  forget() {
    this.#set(NOTHING);
  }

  /** What there is now, while somebody looks at it. */
  async refresh() {
    const eventId = this.#eventId;
    if (!eventId) return;
    const scripts = await this.#desk.guarded(server.scripts(eventId));
    const known = this.#known;
    if (!scripts || this.#eventId !== eventId) return;
    if (known.scripts === null && scripts.length === 0) at("script-add").open = true;
    const there = scripts.some((script) => script.id === known.scriptId);
    this.#set(there ? { scripts } : { scripts, scriptId: null, passes: null });
    await this.#look();
  }

  /** Looks at a text, or away from it where it is the one that is looked at. */
  async choose(id) {
    const scriptId = this.#known.scriptId === id ? null : id;
    this.#set({ scriptId, passes: null, scriptNews: null });
    await this.#look();
  }

  async mark(pass, name) {
    const done = await this.#asked(server.markPart(this.#known.scriptId, { name, pass }));
    if (!done) return;
    const { name: kept, start_ms, end_ms } = done.answer;
    this.#tell(`The part ${kept} is marked from ${position(start_ms)} to ${position(end_ms)}.`);
    this.#desk.refreshSoon();
  }

  /** The button with which it was asked for goes; the next thing gets the focus. */
  async remove({ id, title }) {
    if (!(await this.#asked(server.removeScript(id)))) return;
    this.#tell(`${title} was removed.`);
    await this.refresh();
    const next = at("scripts-list").querySelector("button") ?? at("script-add").firstElementChild;
    next.focus();
  }

  /** Tells of the texts; `trouble` where something could not be done. */
  #tell(text, trouble = false, field = null) {
    this.#set({ scriptNews: { text, trouble, field } });
  }

  async #look() {
    const { scriptId } = this.#known;
    if (!scriptId) return;
    const passes = await this.#desk.guarded(server.passes(scriptId));
    if (passes && this.#known.scriptId === scriptId) this.#set({ passes });
  }

  async #keep() {
    const eventId = this.#eventId;
    if (!eventId || this.#keeping) return;
    this.#keeping = true;
    const script = { title: at("script-name").value, text: at("script-words").value };
    const done = await this.#asked(server.addScript(eventId, script));
    this.#keeping = false;
    if (this.#eventId !== eventId) return;
    if (!done) {
      ({ title: at("script-name"), text: at("script-words") })[
        this.#known.scriptNews.field
      ]?.focus();
      return;
    }
    at("script-new").reset();
    at("script-add").open = false;
    this.#set({ scriptId: done.answer.id, passes: null, scriptNews: null });
    await this.refresh();
    at("script-title").focus();
  }

  /** Puts a file's text into the form, for somebody to look over. */
  async #read(file) {
    if (!file) return;
    const title = file.name.replace(/\.[^.]*$/u, "");
    try {
      at("script-words").value = await textOf(file);
      if (!at("script-name").value.trim()) at("script-name").value = title;
      this.#tell(`${file.name} is in the field below its title.`);
      at("script-words").focus();
    } catch (error) {
      this.#tell(error.message, true, "text");
    }
  }

  /** `{answer}`, or null after telling why not. */
  async #asked(promise) {
    try {
      return { answer: await promise };
    } catch (error) {
      this.#tell(error.message, true, error.field);
      return null;
    }
  }
}

const carriesFiles = (event) => [...(event.dataTransfer?.types ?? [])].includes("Files");

/** The text of a plain text file; an error says why it is none. */
async function textOf(file) {
  if (file.size > MAX_FILE_BYTES) {
    throw new Error(`${file.name} is too long: a text has at most 200,000 characters.`);
  }
  const bytes = new Uint8Array(await file.arrayBuffer());
  // A byte order mark says UTF-16; anything else must be UTF-8.
  const mark = bytes.length < 2 ? 0 : bytes[0] * 256 + bytes[1];
  const coding = { 0xfffe: "utf-16le", 0xfeff: "utf-16be" }[mark] ?? "utf-8";
  let text = "\0";
  try {
    text = new TextDecoder(coding, { fatal: true }).decode(bytes);
  } catch {
    // Told below, as for a file that decodes by chance.
  }
  if (text.includes("\0")) {
    throw new Error(`${file.name} is not plain text; save it as plain text in UTF-8.`);
  }
  return text;
}
