// The choice of event, and what to do when there is none.

import { at, el, replace } from "./dom.js";

export function showEvents({ events, eventId }) {
  const select = at("event");
  const options = (events ?? []).map((event) =>
    el("option", { value: event.id }, event.date ? `${event.title}, ${event.date}` : event.title),
  );
  select.disabled = options.length === 0;
  if (options.length === 0) options.push(el("option", {}, "none yet"));
  replace(select, options);
  if (eventId) select.value = eventId;
}

export function showEmpty({ events, detail }) {
  const box = at("empty");
  const noEvent = events !== null && events.length === 0;
  const noSound =
    detail !== null && detail.recordings.length === 0 && detail.intakes.length === 0;
  box.hidden = !(noEvent || noSound);
  if (noEvent) {
    replace(box, [
      el("h2", {}, "No event yet"),
      el("p", {}, "Make one in a terminal, then point it at the recordings:"),
      command('sayback event new "Ferry landing"'),
      command('sayback add "Ferry landing" --source "Camera left" --placement camera /cards/A'),
    ]);
  } else if (noSound) {
    replace(box, [
      el("h2", {}, "No recordings yet"),
      el("p", {}, "Add a folder for each recorder:"),
      command(`sayback add "${detail.title}" --source "Camera left" --placement camera /cards/A`),
    ]);
  }
}

const command = (text) => el("pre", {}, el("code", {}, text));
