// Joins server, state, player and views.

import { Address } from "./shell/address.js";
import { Desk } from "./shell/desk.js";
import { Keys } from "./shell/keys.js";
import { listenToScheme } from "./shell/scheme.js";
import { showEvents } from "./shell/events.js";
import { showProgress } from "./shell/progress.js";
import { Views } from "./shell/views.js";
import { Panel } from "./panel/panel.js";
import { Strip } from "./panel/strip.js";
import { at, el } from "./dom.js";
import { AddView } from "./add/view.js";
import { CoverView } from "./cover/view.js";
import { CutsView } from "./cuts/view.js";
import { DayView } from "./day/view.js";
import { FindView } from "./find/view.js";
import { ReadView } from "./read/view.js";
import { TextsView } from "./texts/view.js";

/** Letters are typed together; the search waits for a rest of so long. */
const TYPING_PAUSE_MS = 120;

const desk = new Desk();
const { state } = desk;
const views = new Views(desk, [
  ["find", "Find", FindView],
  ["day", "Day", DayView],
  ["read", "Read", ReadView],
  ["texts", "Texts", TextsView],
  ["cuts", "Cut lists", CutsView],
  ["cover", "Coverage", CoverView],
  ["add", "Add", AddView],
]);
const panel = new Panel(at("deck"), desk);
const strip = new Strip(at("strip"), desk);
const address = new Address(desk);
const keys = new Keys(desk);

state.read((known, changed) => {
  const any = (...names) => names.some((name) => changed.has(name));
  if (any("events", "eventId")) showEvents(known);
  if (any("status")) showProgress(known);
  if (any("news")) showNews(known);
  panel.show(known, changed);
  strip.show(known, changed);
  views.show(known, changed);
  if (any("eventId", "view", "query", "narrow", "place", "cut")) address.remember(known);
});

function showNews({ news }) {
  at("news").textContent = news?.text ?? "";
  if (news?.act) {
    const button = el("button", { type: "button", class: "quiet", onclick: news.act.run }, news.act.name);
    at("news").append(" ", button);
  }
  at("news").classList.toggle("trouble", news?.trouble ?? false);
}

function listen() {
  let typing;
  at("query").addEventListener("input", () => {
    clearTimeout(typing);
    typing = setTimeout(() => {
      state.set({ query: at("query").value, view: "find" });
    }, TYPING_PAUSE_MS);
  });
  at("event").addEventListener("change", () => desk.choose(at("event").value));
  at("event").addEventListener("focus", () => desk.listEvents());
  at("work-pause").addEventListener("click", () => desk.pauseOrGoOn());
  desk.onTime((ms) => {
    panel.time(ms);
    strip.time(ms);
    views.time(ms);
  });
  listenToScheme(at("scheme"));
  keys.listen();
}

async function start() {
  listen();
  const wanted = address.read();
  at("query").value = wanted.query;
  state.set({ query: wanted.query, narrow: wanted.narrow, view: wanted.view });
  await desk.start(wanted);
  if (state.known.view === "find") at("query").focus();
}

start();
