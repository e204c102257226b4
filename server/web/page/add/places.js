// Folders of the server's machine that may be added from.

import { count } from "../written.js";
import { el } from "../dom.js";
import { amount } from "./bytes.js";

export class Places {
  #desk;
  #host;
  #where;
  #list;
  #told;
  #onTake;
  #roots = null;
  #root = null;
  #path = "";

  /** `onTake(entries)` gets `{path, size, wire}` of what was chosen. */
  constructor(host, desk, onTake) {
    this.#desk = desk;
    this.#onTake = onTake;
    this.#where = el("nav", { class: "where", "aria-label": "Folder" });
    this.#list = el("ul", { class: "entries" });
    this.#told = el("p", { class: "about", role: "status" });
    this.#host = el(
      "details",
      { class: "places", id: "places", ontoggle: () => this.#host.open && this.#open() },
      el("summary", {}, "From a folder of the server"),
      this.#where,
      this.#list,
      this.#told,
    );
    host.append(this.#host);
  }

  async #open() {
    if (this.#roots) return;
    this.#roots = await this.#desk.guarded(this.#desk.server.roots());
    if (!this.#roots) return;
    if (this.#roots.length === 0) {
      this.#told.textContent = "No folder is open to this page. The server opens one when it is started with --root FOLDER; then nothing is copied, the files stay where they lie.";
      return;
    }
    this.#showRoots();
  }

  #showRoots() {
    this.#root = null;
    this.#where.replaceChildren();
    this.#told.textContent = "Nothing is copied: the files stay where they lie.";
    this.#list.replaceChildren(
      ...this.#roots.map((root) => el("li", {}, this.#door(root.name || root.path, () => this.#enter(root, "")), el("span", { class: "placement" }, root.path))),
    );
  }

  #door(text, onclick) {
    return el("button", { type: "button", class: "quiet", onclick }, text);
  }

  async #enter(root, path) {
    const folder = await this.#desk.guarded(this.#desk.server.folder(root.number, path));
    if (!folder) return;
    this.#root = root;
    this.#path = path;
    this.#showWhere();
    const within = (name) => (path ? `${path}/${name}` : name);
    const files = folder.files.map((file) => ({ path: `${root.name}/${within(file.name)}`, size: file.bytes, wire: file.path }));
    const take = files.length > 0
      ? el("li", {}, el("button", { type: "button", onclick: () => this.#onTake(files) }, `Take the ${count(files.length, "recording", "recordings")} here`))
      : null;
    this.#list.replaceChildren(
      ...[
        take,
        ...folder.folders.map(({ name, path: whole }) =>
          el("li", {}, typeof whole === "string" ? this.#door(`${name}/`, () => this.#enter(root, within(name))) : `${name} (its name can't be shown)`),
        ),
        ...files.map((file, n) =>
          el("li", {}, el("span", {}, folder.files[n].name), el("span", { class: "placement" }, amount(file.size)), el("button", { type: "button", class: "quiet", "aria-label": `Take ${folder.files[n].name}`, onclick: () => this.#onTake([file]) }, "take")),
        ),
      ].filter(Boolean),
    );
    const empty = folder.files.length + folder.folders.length === 0;
    this.#told.textContent = folder.cut_short ? "There is more here than is shown." : empty ? "No recordings and no folders here." : "";
  }

  #showWhere() {
    const steps = this.#path.split("/").filter(Boolean);
    this.#where.replaceChildren(
      this.#door("all folders", () => this.#showRoots()),
      this.#door(this.#root.name || this.#root.path, () => this.#enter(this.#root, "")),
      ...steps.map((name, n) => this.#door(name, () => this.#enter(this.#root, steps.slice(0, n + 1).join("/")))),
    );
  }
}
