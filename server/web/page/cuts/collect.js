// Puts quotes into the cut list in work, from wherever they were found. A list is made
// where the event has none.

import { count, length } from "../written.js";

/**
 * `quotes`: hits of a search as they are, or whatever else `NewQuote` of the API takes.
 * Returns `{cut, quotes, lengthMs, undo}`, or null after telling why nothing was added.
 */
export async function collect(desk, quotes) {
  const added = await desk.guarded(add(desk, quotes));
  if (!added) return null;
  const { cut, length_ms } = added;
  listed(desk, cut);
  const ids = added.quotes.map(({ id }) => id);
  const undo = () => takeBack(desk, cut, added.before, ids);
  const what = ids.length === 1 ? "Added" : `${count(ids.length, "quote", "quotes")} added`;
  const all = `${count(cut.quotes, "quote", "quotes")}, ${length(length_ms)} long`;
  desk.tell(`${what} to ${cut.name}: ${all}.`, { act: { name: "Undo", run: undo } });
  return { cut, quotes: added.quotes, lengthMs: length_ms, undo };
}

/** Adds to the list in work; looked at again and tried once more where somebody was quicker. */
async function add(desk, quotes) {
  const list = (await listInWork(desk)) ?? (await make(desk));
  const put = async (version) => ({
    before: version,
    ...(await desk.server.addQuotes(list.id, version, quotes)),
  });
  try {
    return await put(list.version);
  } catch (error) {
    if (error.status !== 409) throw error;
    // At the end of the list it goes whatever else was done to it.
    return put(error.problem.version ?? (await standing(desk, list.id)).version);
  }
}

async function listInWork(desk) {
  const { cuts, cut, eventId } = desk.state.known;
  const known = cuts.find(({ id }) => id === cut) ?? cuts[0];
  if (known) return known;
  // Somebody may have made one since.
  const now = await desk.server.cuts(eventId);
  if (now.length > 0) desk.state.set({ cuts: now, cut: now[0].id });
  return now[0] ?? null;
}

async function make(desk) {
  const made = await desk.server.makeCut(desk.state.known.eventId, { name: "Cut 1" });
  desk.state.set({ cuts: [...desk.state.known.cuts, made], cut: made.id });
  return made;
}

async function standing(desk, id) {
  const { cut } = await desk.server.cut(id);
  return cut;
}

/** Takes out what was added, and nothing that was done since. */
async function takeBack(desk, cut, before, ids) {
  const { server } = desk;
  const done = await desk.guarded(
    server.restoreCut(cut.id, cut.version, before).catch(async (error) => {
      if (error.status !== 409) throw error;
      let now = await standing(desk, cut.id);
      for (const id of ids) now = await server.removeQuote(cut.id, now.version, id);
      return now;
    }),
  );
  if (!done) return;
  listed(desk, done);
  desk.tell(`Taken out of ${done.name} again: ${count(done.quotes, "quote", "quotes")}.`);
}

function listed(desk, cut) {
  const { cuts } = desk.state.known;
  const others = cuts.map((one) => (one.id === cut.id ? cut : one));
  desk.state.set({ cuts: others });
}
