// The choice of event.

import { at, el, replace } from "../dom.js";

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
