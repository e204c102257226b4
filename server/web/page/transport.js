// Asks the server. The only module that knows addresses.

const BASE = "/api/v1";

/** A refusal of the server, in its own words. */
export class Refusal extends Error {
  constructor(problem) {
    super(problem.detail || problem.title || "the server refused");
    this.status = problem.status;
    this.field = problem.field;
  }
}

async function ask(path, options = {}) {
  let response;
  try {
    response = await fetch(BASE + path, options);
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Refusal({ detail: "The server does not answer." });
  }
  if (response.status === 204) return null;
  const body = await response.json().catch(() => ({}));
  if (!response.ok) throw new Refusal({ status: response.status, ...body });
  return body;
}

const post = (path) => ask(path, { method: "POST" });
const send = (path, body) =>
  ask(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  });
const part = encodeURIComponent;

export const events = () => ask("/events").then((answer) => answer.events);
export const event = (id) => ask(`/events/${part(id)}`);
export const pause = () => post("/queue/pause");
export const resume = () => post("/queue/resume");
export const retry = (job) => post(`/jobs/${part(job)}/retry`);
export const cancel = (job) => post(`/jobs/${part(job)}/cancel`);
export const first = (recording) => post(`/recordings/${part(recording)}/first`);

export const clock = (eventId) => ask(`/events/${part(eventId)}/clock`);

/** Every moment of an event in short, in columns. */
export const outline = (eventId) =>
  ask(`/events/${part(eventId)}/outline`).then(({ moments: columns, ...rest }) => ({ ...rest, ...columns }));
export const parts = (eventId) => ask(`/events/${part(eventId)}/parts`).then((answer) => answer.parts);
export const people = (eventId) =>
  ask(`/events/${part(eventId)}/people`).then((answer) => answer.people);
export const cuts = (eventId) => ask(`/events/${part(eventId)}/cuts`).then((answer) => answer.cuts);

export const moments = (eventId, { offset = 0, limit = 100 } = {}) =>
  ask(`/events/${part(eventId)}/moments?${new URLSearchParams({ offset, limit })}`);

/** Has the clock of an event solved again. */
export const solve = (eventId) => send(`/events/${part(eventId)}/clock/solve`, {});

/** The address of the picture of a clock; `version` names what it shows. */
export const clockPicture = (eventId, version) =>
  `${BASE}/events/${part(eventId)}/clock.svg?${new URLSearchParams({ shows: version })}`;

/** Finds words; `asked` are the parameters of a search. */
export function search(asked, { signal } = {}) {
  return ask(`/search?${new URLSearchParams({ limit: 20, ...asked })}`, { signal });
}
export const searches = () => ask("/searches").then((answer) => answer.searches);
export const keepSearch = (name, asked) => send("/searches", { name, asked });
export const forgetSearch = (id) => ask(`/searches/${part(id)}`, { method: "DELETE" });

export const scripts = (eventId) =>
  ask(`/events/${part(eventId)}/scripts`).then((answer) => answer.scripts);
export const addScript = (eventId, script) => send(`/events/${part(eventId)}/scripts`, script);
export const removeScript = (id) => ask(`/scripts/${part(id)}`, { method: "DELETE" });

/** Every time a written text was read. */
export const passes = (id) => ask(`/scripts/${part(id)}/passes`);

/** Makes the time of a pass a part of the event. */
export const markPart = (id, { name, pass }) => send(`/scripts/${part(id)}/part`, { name, pass });

/** The address of captions of a pass; on the event clock unless a recording is named. */
export function captions(id, pass, format, recording = null) {
  const asked = new URLSearchParams({ pass, format });
  if (recording) asked.set("recording", recording);
  return `${BASE}/scripts/${part(id)}/captions?${asked}`;
}

/** The sound of [startMs, endMs) of a recording, as WAV. */
export function slice(recording, startMs, endMs) {
  return `${BASE}/recordings/${part(recording)}/slice?start_ms=${startMs}&end_ms=${endMs}`;
}

/** How loud [startMs, endMs) of a recording is. */
export const levels = (recording, startMs, endMs) =>
  ask(`/recordings/${part(recording)}/levels?start_ms=${startMs}&end_ms=${endMs}`);

/** Follows the work on an event, or on all; returns what stops it. */
export function follow(eventId, { progress, change, lost }) {
  const whose = eventId ? `?event=${part(eventId)}` : "";
  const source = new EventSource(`${BASE}/progress${whose}`);
  source.addEventListener("progress", (message) => progress(JSON.parse(message.data)));
  source.addEventListener("change", () => change());
  source.addEventListener("error", () => lost());
  return () => source.close();
}

// -- the day ----------------------------------------------------------------------

const put = (path, body) =>
  ask(path, {
    method: "PUT",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  });

/** The waves of all recordings that were listened through, coarse: `bins` a recording. */
export const eventPeaks = (eventId, bins) =>
  ask(`/events/${part(eventId)}/peaks?${new URLSearchParams({ bins_max: bins })}`);

/** A tile of a recording's wave: bytes, three a bin. */
export async function peakTile(recording, level, tile, { signal } = {}) {
  const path = `/recordings/${part(recording)}/peaks/${level}/${tile}`;
  const response = await fetch(BASE + path, { signal });
  if (!response.ok) throw new Refusal({ status: response.status, detail: "The wave is not drawn yet." });
  return new Uint8Array(await response.arrayBuffer());
}

export const momentsBetween = (eventId, from, to, limit) =>
  ask(`/events/${part(eventId)}/moments?${new URLSearchParams({ from_ms: from, to_ms: to, limit })}`);
export const moment = (id) => ask(`/moments/${part(id)}`);

/** Gives an event its parts in place of those it had; as they are kept. */
export const setParts = (eventId, all) =>
  put(`/events/${part(eventId)}/parts`, { parts: all }).then((answer) => answer.parts);

/** Says where a recording lies, or takes that back; the clock is solved again. */
export const setPlace = (recording, fix) => put(`/recordings/${part(recording)}/clock`, fix);
export const freePlace = (recording) =>
  ask(`/recordings/${part(recording)}/clock`, { method: "DELETE" });

export const makeCut = (eventId, { name, note = "" }) =>
  send(`/events/${part(eventId)}/cuts`, { name, note });
export const addQuotes = (id, version, quotes) => send(`/cuts/${part(id)}/quotes`, { version, quotes });
