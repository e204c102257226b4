// Asks the server. The only module that knows addresses.

const BASE = "/api/v1";

/** A refusal of the server, in its own words. */
export class Refusal extends Error {
  constructor(problem) {
    super(problem.detail || problem.title || "the server refused");
    this.status = problem.status;
    this.field = problem.field;
    /** All that the server told, such as `theirs` where somebody was quicker. */
    this.problem = problem;
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
const send = (path, body, method = "POST") =>
  ask(path, {
    method,
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

/** Moments in the order of the clock: `{total, moments}`, of [fromMs, toMs) if that is said. */
export function moments(eventId, { offset = 0, limit = 100, fromMs = null, toMs = null } = {}) {
  const asked = new URLSearchParams({ offset, limit });
  if (fromMs !== null) asked.set("from_ms", fromMs);
  if (toMs !== null) asked.set("to_ms", toMs);
  return ask(`/events/${part(eventId)}/moments?${asked}`);
}

/** A moment with its words, their times and what each model heard. */
export const moment = (id) => ask(`/moments/${part(id)}`);

/** What people did to a moment, the newest first: `{total, changes}`. */
export const changes = (id, { offset = 0, limit = 20 } = {}) =>
  ask(`/moments/${part(id)}/changes?${new URLSearchParams({ offset, limit })}`);

// What is put right. `change` says of which version it is one and by whom; the answer is
// `{moments}`, or a refusal of status 409 whose problem has `yours` and `theirs`.
export const writeWords = (id, change) => send(`/moments/${part(id)}/words`, change, "PUT");
export const setTimes = (id, change) => send(`/moments/${part(id)}/times`, change, "PUT");
export const split = (id, change) => send(`/moments/${part(id)}/split`, change);
export const join = (id, change) => send(`/moments/${part(id)}/join`, change);
export const undo = (id, change) => send(`/moments/${part(id)}/undo`, change);

/** Who speaks in a moment: `{person, by}`; a person of null takes back what was said. */
export const tellSpeaker = (id, told) => send(`/moments/${part(id)}/person`, told, "PUT");
export const changePerson = (id, change) => send(`/people/${part(id)}`, change, "PATCH");
export const mergePeople = (id, { into, by }) => send(`/people/${part(id)}/merge`, { into, by });


/** Has the clock of an event solved again. */
export const solve = (eventId) => send(`/events/${part(eventId)}/clock/solve`, {});

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

// -- what is added ------------------------------------------------------------

export const addEvent = (event) => send("/events", event);

/** Takes in files and folders that lie on the server's machine. */
export const addPaths = (eventId, asked) => send(`/events/${part(eventId)}/add`, asked);

export const roots = () => ask("/roots").then((answer) => answer.roots);
export const folder = (root, path) => ask(`/roots/${root}?${new URLSearchParams({ path })}`);

export const changeSource = (id, asked) => send(`/sources/${part(id)}`, asked, "PATCH");
export const addPerson = (eventId, name) => send(`/events/${part(eventId)}/people`, { name });
export const wearers = (source) => ask(`/sources/${part(source)}/wearers`);
export const setWearers = (source, wearing) => send(`/sources/${part(source)}/wearers`, { wearers: wearing }, "PUT");

/** What of an event has a backup. */
export const coverage = (eventId) => ask(`/events/${part(eventId)}/coverage`);

/** The address of the same as a page to print. */
export const coverageSheet = (eventId) => `${BASE}/events/${part(eventId)}/coverage.html`;

// Files go in pieces by the open protocol tus 1.0.0.

const TUS = { "Tus-Resumable": "1.0.0" };

/** Begins to send a file of so many bytes; its address. `about` is told in text. */
export async function beginUpload(eventId, length, about) {
  const base64 = (text) => btoa(String.fromCharCode(...new TextEncoder().encode(text)));
  const said = Object.entries(about).filter(([, value]) => value);
  const response = await request(`${BASE}/events/${part(eventId)}/uploads`, {
    method: "POST",
    headers: {
      ...TUS,
      "Upload-Length": String(length),
      "Upload-Metadata": said.map(([name, value]) => `${name} ${base64(value)}`).join(","),
    },
  });
  return response.headers.get("location");
}

/** How many bytes of an upload the server has safely. */
export async function uploadOffset(address) {
  const response = await request(address, { method: "HEAD", headers: TUS });
  return Number(response.headers.get("upload-offset"));
}

export const endUpload = (address) => request(address, { method: "DELETE", headers: TUS });

/**
 * Sends a piece; how far the upload is then. `sha256` is its hash in base64, or null.
 * `onProgress(bytes)` is called on the way. An XMLHttpRequest, for fetch does not tell
 * how much has gone out.
 */
export function sendPiece(address, { offset, piece, sha256, onProgress, signal }) {
  return new Promise((done, failed) => {
    const asked = new XMLHttpRequest();
    const end = (problem) => failed(new Refusal(problem));
    asked.open("PATCH", address);
    const headers = { ...TUS, "Upload-Offset": offset, "Content-Type": "application/offset+octet-stream" };
    if (sha256) headers["Upload-Checksum"] = `sha256 ${sha256}`;
    for (const [name, value] of Object.entries(headers)) asked.setRequestHeader(name, value);
    asked.upload.onprogress = ({ loaded }) => onProgress(loaded);
    asked.onload = () => {
      if (asked.status === 204) return done(Number(asked.getResponseHeader("upload-offset")));
      let problem = {};
      try {
        problem = JSON.parse(asked.responseText);
      } catch {
        // No words of the server.
      }
      return end({ status: asked.status, ...problem });
    };
    asked.onerror = () => end({ detail: "The server does not answer." });
    asked.onabort = () => failed(new DOMException("stopped", "AbortError"));
    signal.addEventListener("abort", () => asked.abort(), { once: true });
    asked.send(piece);
  });
}

async function request(address, options) {
  let response;
  try {
    response = await fetch(address, options);
  } catch {
    throw new Refusal({ detail: "The server does not answer." });
  }
  if (!response.ok) {
    const problem = await response.json().catch(() => ({}));
    throw new Refusal({ status: response.status, ...problem });
  }
  return response;
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

/** The waves of all recordings that were listened through, coarse: `bins` a recording. */
export const eventPeaks = (eventId, bins) =>
  ask(`/events/${part(eventId)}/peaks?${new URLSearchParams({ bins_max: bins })}`);

/** A tile of a recording's wave: bytes, three a bin; null behind its end. */
export async function peakTile(recording, level, tile, { signal } = {}) {
  const path = `/recordings/${part(recording)}/peaks/${level}/${tile}`;
  const response = await fetch(BASE + path, { signal });
  if (response.status === 404) return null;
  if (!response.ok) throw new Refusal({ status: response.status, detail: "The wave is not drawn yet." });
  return new Uint8Array(await response.arrayBuffer());
}


/** Gives an event its parts in place of those it had; as they are kept. */
export const setParts = (eventId, all) =>
  send(`/events/${part(eventId)}/parts`, { parts: all }, "PUT").then((answer) => answer.parts);

/** Says where a recording lies, or takes that back; the clock is solved again. */
export const setPlace = (recording, fix) => send(`/recordings/${part(recording)}/clock`, fix, "PUT");
export const freePlace = (recording) =>
  ask(`/recordings/${part(recording)}/clock`, { method: "DELETE" });

// -- cut lists --------------------------------------------------------------------

const ofCut = (cut, rest = "") => `/cuts/${part(cut)}${rest}`;
const ofQuote = (cut, quote, rest = "") => ofCut(cut, `/quotes/${part(quote)}${rest}`);

/** A cut list with its quotes as everything lies now. */
export const cut = (id) => ask(ofCut(id));
export const makeCut = (eventId, { name, note = "" }) =>
  send(`/events/${part(eventId)}/cuts`, { name, note });
export const changeCut = (id, version, changes) => send(ofCut(id), { version, ...changes }, "PATCH");
export const removeCut = (id) => ask(ofCut(id), { method: "DELETE" });

/** Puts quotes into a list: hits, words of moments, or stretches; at the end without `place`. */
export const addQuotes = (id, version, quotes, place = null) =>
  send(ofCut(id, "/quotes"), place === null ? { version, quotes } : { version, place, quotes });
export const changeQuote = (id, version, quote, changes) =>
  send(ofQuote(id, quote), { version, ...changes }, "PATCH");
export const nudgeQuote = (id, version, quote, nudge) =>
  send(ofQuote(id, quote, "/nudge"), { version, ...nudge });
export const placeQuote = (id, version, quote, place) =>
  send(ofQuote(id, quote, "/place"), { version, place }, "PUT");
export const removeQuote = (id, version, quote) =>
  ask(`${ofQuote(id, quote)}?version=${version}`, { method: "DELETE" });

/** The versions of a list that are kept, the newest first. */
export const cutVersions = (id) => ask(ofCut(id, "/versions")).then((answer) => answer.versions);
export const nameVersion = (id, version, name) => send(ofCut(id, "/versions"), { version, name });
export const forgetVersion = (id, version) => ask(ofCut(id, `/versions/${version}`), { method: "DELETE" });
export const restoreCut = (id, version, to) => send(ofCut(id, "/restore"), { version, to });

/** `{files: [{name, media_type, text}], left_out}` of a list in an open format. */
export const cutFiles = (id, options) => ask(`${ofCut(id, "/files")}?${new URLSearchParams(options)}`);
/** The addresses of the page for a client, and of everything with its sound. */
export const clientPage = (id, options) => `${BASE}${ofCut(id, "/page")}?${new URLSearchParams(options)}`;
export const cutArchive = (id, options) => `${BASE}${ofCut(id, "/archive")}?${new URLSearchParams(options)}`;
