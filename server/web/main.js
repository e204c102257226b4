// Joins transport, state, views and player.

import { Player } from "./player.js";
import { Scripts } from "./scripts.js";
import { State } from "./state.js";
import * as server from "./transport.js";
import { brief, position } from "./words.js";
import { at } from "./view/dom.js";
import { showClock, showSaid } from "./view/clock.js";
import { showEmpty, showEvents } from "./view/events.js";
import { showHits, showPlaying, showSummary } from "./view/hits.js";
import { showPasses } from "./view/passes.js";
import { showProblems, showProgress } from "./view/progress.js";
import { showRecordings } from "./view/recordings.js";
import { showScripts } from "./view/scripts.js";

const TYPING_PAUSE_MS = 160;
const CHANGE_PAUSE_MS = 600;

const state = new State();
const player = new Player(at("audio"), {
  onChange: (spot) => state.set({ playing: spot }),
  onTime: showTime,
  onTrouble: (trouble) => state.set({ trouble }),
});
const scripts = new Scripts(state, { guarded, changed: () => refreshSoon() });

state.read((known, changed) => {
  const any = (...names) => names.some((name) => changed.has(name));
  if (any("events", "eventId")) showEvents(known);
  if (any("events", "detail")) showEmpty(known);
  if (any("answer")) showHits(known, (spot) => player.toggle(spot));
  if (any("answer", "asked", "query", "trouble", "busy", "status")) showSummary(known);
  if (any("clock", "detail")) showClock(known, server.clockPicture, solveAgain, stopSolving);
  if (any("clock", "said")) {
    showSaid(known, (spot) => player.toggle(spot));
    showPlaying(known);
  }
  if (any("detail", "scripts", "scriptId", "scriptNews")) showScripts(known, scripts);
  if (any("scripts", "scriptId", "passes")) {
    showPasses(known, {
      play: (spot) => player.toggle(spot),
      mark: (pass, name) => scripts.mark(pass, name),
      captions: server.captions,
    });
    showPlaying(known);
  }
  if (any("playing")) {
    showPlaying(known);
    showDeck(known);
  }
  if (any("detail")) showRecordings(known, (id) => act(server.first(id)));
  if (any("status")) showProgress(known);
  if (any("status", "detail")) showProblems(known, (job) => act(server.retry(job)));
  if (any("eventId", "query")) rememberInAddress(known);
});

// -- events and their work ---------------------------------------------------

let unfollow = () => {};

async function chooseEvent(eventId) {
  unfollow();
  player.stop();
  state.set({ eventId, detail: null, status: null, answer: null, clock: null, said: null });
  scripts.forget();
  unfollow = server.follow(eventId, {
    progress: (status) => state.set({ status: eventId ? status : null, trouble: null }),
    change: refreshSoon,
    lost: () => state.set({ trouble: "The server does not answer; trying again." }),
  });
  await refresh();
  await find();
}

/** Shows what is there now; the first event that comes is chosen. */
async function refresh() {
  const { eventId } = state.known;
  if (!eventId) {
    await listEvents();
    const first = state.known.events?.[0];
    if (first) await chooseEvent(first.id);
    return;
  }
  const [detail, clock] = await Promise.all([
    guarded(server.event(eventId)),
    guarded(server.clock(eventId)),
  ]);
  if (detail && clock && state.known.eventId === eventId) state.set({ detail, clock });
  await listSaid();
  await scripts.refresh();
}

/** What was said, as far as it was listed, while somebody looks at it. */
async function listSaid({ more = 0 } = {}) {
  const { eventId, said } = state.known;
  if (!eventId || !at("said").open) return;
  const wanted = Math.max(said?.moments.length ?? 0, 100) + more;
  const moments = [];
  let page;
  do {
    const limit = Math.min(wanted - moments.length, 1000);
    page = await guarded(server.moments(eventId, { offset: moments.length, limit }));
    if (!page || state.known.eventId !== eventId) return;
    moments.push(...page.moments);
  } while (page.moments.length > 0 && moments.length < Math.min(wanted, page.total));
  state.set({ said: { total: page.total, moments } });
}

const solveAgain = () => act(server.solve(state.known.eventId));
const stopSolving = (job) => act(server.cancel(job));

async function listEvents() {
  const events = await guarded(server.events());
  const names = (list) => JSON.stringify(list?.map((e) => [e.id, e.title, e.date]));
  if (events && names(events) !== names(state.known.events)) state.set({ events });
}

const refreshing = { soon: false, again: false, tookMs: 0 };

/** One refresh at a time, at rest ten times as long as the last one took. */
function refreshSoon() {
  refreshing.again = true;
  if (refreshing.soon) return;
  refreshing.soon = true;
  setTimeout(async () => {
    refreshing.again = false;
    const begun = performance.now();
    try {
      await refresh();
      // New words may have come; a list somebody paged through stays as it is.
      if ((state.known.answer?.hits.length ?? 0) <= 20) await find({ quietly: true });
    } finally {
      refreshing.tookMs = performance.now() - begun;
      refreshing.soon = false;
      if (refreshing.again) refreshSoon();
    }
  }, Math.max(CHANGE_PAUSE_MS, 10 * refreshing.tookMs));
}

// -- search ------------------------------------------------------------------

let asking = new AbortController();

async function find({ quietly = false } = {}) {
  asking.abort();
  asking = new AbortController();
  const { signal } = asking;
  const { eventId } = state.known;
  const query = state.known.query.trim();
  if (!eventId || !query) {
    state.set({ answer: null, asked: "", busy: false });
    return;
  }
  if (!quietly) state.set({ busy: true });
  // Somebody still types: the last word may be a beginning.
  const answer = await guarded(server.search(eventId, query, { typing: true, signal }));
  if (signal.aborted) return;
  if (quietly && same(answer, state.known.answer)) return;
  state.set({ answer, asked: query, busy: false });
}

/** Whether two answers hold the same hits, however long they took. */
function same(a, b) {
  return a && b && JSON.stringify([a.total, a.hits]) === JSON.stringify([b.total, b.hits]);
}

async function more() {
  const { eventId, asked, answer } = state.known;
  const offset = answer.hits.length;
  const next = await guarded(
    server.search(eventId, asked, { typing: true, offset, signal: asking.signal }),
  );
  if (!next || state.known.answer !== answer) return;
  // Behind the last that is paged through there may be more, but none to be shown.
  const goesOn = next.more && next.hits.length > 0;
  state.set({ answer: { ...next, more: goesOn, hits: [...answer.hits, ...next.hits] } });
  at("hits").querySelectorAll(".hit")[offset]?.querySelector("button.play")?.focus();
}

// -- the deck ----------------------------------------------------------------

function showDeck({ playing }) {
  at("stop").disabled = !playing;
  at("deck-text").textContent = playing
    ? `${playing.hearing.source.label}, ${playing.hearing.recording.file}`
    : "";
  if (!playing) {
    at("deck-bar").value = 0;
    at("deck-clock").textContent = "";
  }
}

function showTime(spot, playedMs) {
  const { start_ms, end_ms } = spot.hearing;
  at("deck-bar").value = Math.min(playedMs / Math.max(end_ms - start_ms, 1), 1);
  at("deck-clock").textContent = `${position(start_ms + playedMs)}  of ${brief(end_ms - start_ms)}`;
}

// -- keys --------------------------------------------------------------------

function onKey(event) {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  const buttons = [...at("hits").querySelectorAll("button.play")];
  const here = buttons.indexOf(document.activeElement);
  const inQuery = document.activeElement === at("query");
  let next = null;
  if (event.key === "ArrowDown" && (here >= 0 || inQuery)) next = buttons[here + 1];
  else if (event.key === "ArrowUp" && here >= 0) next = here === 0 ? at("query") : buttons[here - 1];
  else if (event.key === "Escape" && (player.current || here >= 0)) {
    if (player.current) player.stop();
    else next = at("query");
    event.preventDefault();
  }
  if (next) {
    event.preventDefault();
    next.focus();
    next.scrollIntoView({ block: "nearest" });
  }
}

// -- small parts -------------------------------------------------------------

/** The answer, or null after telling the user why there is none. */
async function guarded(promise) {
  try {
    const answer = await promise;
    if (state.known.trouble) state.set({ trouble: null });
    return answer;
  } catch (error) {
    if (error.name !== "AbortError") state.set({ trouble: error.message, busy: false });
    return null;
  }
}

async function act(promise) {
  await guarded(promise);
  refreshSoon();
}

function rememberInAddress({ eventId, query }) {
  const address = new URLSearchParams();
  if (eventId) address.set("event", eventId);
  if (query) address.set("q", query);
  history.replaceState(null, "", address.size ? `/?${address}` : "/");
}

async function start() {
  const address = new URLSearchParams(location.search);
  at("query").value = address.get("q") ?? "";
  state.set({ query: at("query").value });
  let typing = 0;
  at("query").addEventListener("input", () => {
    clearTimeout(typing);
    state.set({ query: at("query").value });
    typing = setTimeout(find, TYPING_PAUSE_MS);
  });
  at("event").addEventListener("change", () => chooseEvent(at("event").value));
  at("event").addEventListener("focus", listEvents);
  at("more").addEventListener("click", more);
  at("stop").addEventListener("click", () => player.stop());
  at("said").addEventListener("toggle", () => listSaid());
  at("said-more").addEventListener("click", () => listSaid({ more: 100 }));
  scripts.listen();
  at("work-pause").addEventListener("click", () =>
    act(state.known.status?.paused ? server.resume() : server.pause()),
  );
  document.addEventListener("keydown", onKey);

  await listEvents();
  const events = state.known.events ?? [];
  const wanted = events.find((event) => event.id === address.get("event")) ?? events[0];
  await chooseEvent(wanted?.id ?? null);
  at("query").focus();
}

start();
