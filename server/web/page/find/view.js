// Finding a line: hits, each with every recording that heard it.

import { el } from "../dom.js";
import { showHits } from "./hits.js";

export class FindView {
  constructor(host, desk) {
    this.desk = desk;
    host.append(
      el("p", { id: "summary", class: "summary", role: "status", "aria-live": "polite" }),
      el("ol", { id: "hits", class: "hits", "aria-label": "Lines found" }),
      el("button", { id: "more", type: "button", class: "quiet", hidden: true }, "More lines"),
    );
  }
  async show(known, changed) {
    if (!changed.has("query") && !changed.has("eventId")) return;
    if (!known.eventId || !known.query.trim()) return;
    const answer = await this.desk.guarded(this.desk.server.search(known.eventId, known.query, { typing: true }));
    if (answer) showHits({ answer }, ({ key, line, hearing }) => this.desk.hearFile(hearing.recording.id, hearing.start_ms, hearing.end_ms, { key, title: line }));
  }
}
