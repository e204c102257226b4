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
export const outline = (eventId) => ask(`/events/${part(eventId)}/outline`);
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

export function search(eventId, query, { typing = false, offset = 0, limit = 20, signal } = {}) {
  const asked = new URLSearchParams({ q: query, event: eventId, typing, offset, limit });
  return ask(`/search?${asked}`, { signal });
}

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

const change = (method) => (path, body) =>
  ask(path, { method, headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
export const changeSource = (id, asked) => change("PATCH")(`/sources/${part(id)}`, asked);
export const addPerson = (eventId, name) => send(`/events/${part(eventId)}/people`, { name });
export const wearers = (source) => ask(`/sources/${part(source)}/wearers`);
export const setWearers = (source, wearing) => change("PUT")(`/sources/${part(source)}/wearers`, { wearers: wearing });

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

/** Follows the work on an event, or on all; returns what stops it. */
export function follow(eventId, { progress, change, lost }) {
  const whose = eventId ? `?event=${part(eventId)}` : "";
  const source = new EventSource(`${BASE}/progress${whose}`);
  source.addEventListener("progress", (message) => progress(JSON.parse(message.data)));
  source.addEventListener("change", () => change());
  source.addEventListener("error", () => lost());
  return () => source.close();
}
