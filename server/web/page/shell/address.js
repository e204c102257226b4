// The page's address says what is looked at, so that it can be sent to a colleague: the
// event, the view, the words asked for, and the instant as a W3C media fragment.

import { seconds } from "../written.js";

const NARROW = ["person", "part", "source", "placement", "backup", "confidence", "sort"];
const TICKED = ["best", "meaning", "shelf"];

export class Address {
  #view = null;

  /** What the address asks for. */
  read() {
    const asked = new URLSearchParams(location.search);
    return {
      event: asked.get("event"),
      view: asked.get("view") ?? (location.hash ? "day" : "find"),
      query: asked.get("q") ?? "",
      narrow: narrowOf(asked),
      cut: asked.get("cut"),
      place: placeOf(location.hash),
    };
  }

  constructor(desk) {
    addEventListener("popstate", async () => {
      const { event, view, query, narrow, place, cut } = this.read();
      const { known } = desk.state;
      const there = { narrow, ...(place ? { place } : {}), ...(cut ? { cut } : {}) };
      const other = event && event !== known.eventId && known.events?.some(({ id }) => id === event);
      this.#view = view;
      document.getElementById("query").value = query;
      desk.state.set({ view, query, ...(other ? {} : there) });
      if (!other) return;
      await desk.choose(event);
      if (known.eventId === event) desk.state.set(there);
    });
  }

  /** Keeps the address true; another view is a step that can be gone back. */
  remember(known) {
    const address = addressOf(known);
    if (location.pathname + location.search + location.hash === address) return;
    const step = this.#view !== null && this.#view !== known.view;
    this.#view = known.view;
    if (step) history.pushState(null, "", address);
    else history.replaceState(null, "", address);
  }
}

function addressOf({ eventId, view, query, narrow, place, cut }) {
  const asked = new URLSearchParams();
  if (eventId) asked.set("event", eventId);
  asked.set("view", view);
  if (query) asked.set("q", query);
  for (const [name, value] of Object.entries(narrow)) asked.set(name, value);
  if (cut && view === "cuts") asked.set("cut", cut);
  return `/?${asked}${place ? fragmentOf(place) : ""}`;
}

/** The whole address of an instant of an event, for a colleague. */
export function linkTo(eventId, place, view = "day") {
  return location.origin + addressOf({ eventId, view, query: "", narrow: {}, place, cut: null });
}

/** What narrows a search down, under the server's own names. */
function narrowOf(asked) {
  const narrow = {};
  for (const name of NARROW) if (asked.get(name)) narrow[name] = asked.get(name);
  for (const name of TICKED) if (asked.get(name) === "true") narrow[name] = true;
  return narrow;
}

/** `{line, ms, endMs}` as a media fragment: `#t=12.3,15`, with `&line=` off the event clock. */
function fragmentOf({ line = 0, ms, endMs = null }) {
  const to = endMs === null ? "" : `,${seconds(endMs)}`;
  return `#t=${seconds(ms)}${to}${line === 0 ? "" : `&line=${encodeURIComponent(line)}`}`;
}

function placeOf(hash) {
  const asked = new URLSearchParams(hash.slice(1));
  const [from, to] = (asked.get("t") ?? "").split(",").map((text) => Number.parseFloat(text));
  if (!Number.isFinite(from)) return null;
  const line = asked.get("line") ?? "0";
  return {
    line: /^\d+$/u.test(line) ? Number(line) : line,
    ms: Math.round(from * 1000),
    endMs: Number.isFinite(to) && to > from ? Math.round(to * 1000) : null,
  };
}
