// The views of an event: one is shown at a time, made when it is first looked at.

import { at, el } from "../dom.js";

export class Views {
  #desk;
  #kinds; // name -> {title, Kind}
  #made = new Map(); // name -> {host, view}
  #shown = null;

  constructor(desk, kinds) {
    this.#desk = desk;
    this.#kinds = new Map(kinds.map(([name, title, Kind]) => [name, { title, Kind }]));
    at("views").append(
      ...kinds.map(([name, title]) =>
        el("li", {}, el("a", { href: `/?view=${name}`, "data-view": name, onclick: (e) => this.#go(e, name) }, title)),
      ),
    );
  }

  /** Tells the view that is looked at what has changed, or all when it comes into sight. */
  show(known, changed) {
    if (changed.has("eventId")) this.#address(known.eventId);
    const name = this.#kinds.has(known.view) ? known.view : "find";
    if (name === this.#shown) {
      this.#made.get(name).view.show(known, changed);
      return;
    }
    const before = this.#made.get(this.#shown);
    if (before) {
      before.host.hidden = true;
      before.view.leave?.();
    }
    this.#shown = name;
    for (const link of at("views").querySelectorAll("a")) {
      if (link.dataset.view === name) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
    const { host, view } = this.#make(name);
    host.hidden = false;
    view.enter?.(known);
    view.show(known, new Set(Object.keys(known)));
  }

  /** A view in a window of its own is of the same event. */
  #address(eventId) {
    for (const link of at("views").querySelectorAll("a")) {
      link.href = `/?${new URLSearchParams({ ...(eventId ? { event: eventId } : {}), view: link.dataset.view })}`;
    }
  }

  /** Something sounds: at `ms` of its line. */
  time(ms) {
    this.#made.get(this.#shown)?.view.time?.(ms);
  }

  #make(name) {
    if (!this.#made.has(name)) {
      const { title, Kind } = this.#kinds.get(name);
      const host = el("section", { class: `view ${name}`, id: `view-${name}`, "aria-label": title });
      at("hosts").append(host);
      this.#made.set(name, { host, view: new Kind(host, this.#desk) });
    }
    return this.#made.get(name);
  }

  #go(event, name) {
    if (event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    this.#desk.go(name);
  }
}
