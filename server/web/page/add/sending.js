// The files that are being sent: each and all, how far, how fast, how long.

import { about, count } from "../written.js";
import { el, update } from "../dom.js";
import { amount } from "./bytes.js";

/** Rows shown at once: a card may hold thousands of files. */
const SHOWN = 60;

const WORDS = {
  waiting: "waits",
  sending: "is being sent",
  lost: "waits for the server",
  done: "is sent",
  failed: "could not be sent",
};

export class Sending {
  #sender;
  #host;
  #bar;
  #told;
  #pause;
  #clear;
  #list;
  #more;
  #left;
  #news;
  #lastNews = "";
  #bars = new Map(); // item -> its bar, moved without being made again
  #eventId = null;

  constructor(host, sender) {
    this.#sender = sender;
    this.#bar = el("progress", { max: 1, value: 0, "aria-label": "All files that are sent" });
    this.#told = el("p", { id: "sending-told" });
    this.#pause = el("button", { type: "button", class: "quiet", id: "sending-pause", onclick: () => this.#pauseOrGoOn() });
    this.#clear = el("button", { type: "button", class: "quiet", onclick: () => sender.clear() }, "clear what is sent");
    this.#list = el("ul", { id: "sending-list", class: "sending" });
    this.#more = el("p", { class: "about" });
    this.#left = el("ul", { class: "sending left", "aria-label": "Half-sent files" });
    this.#news = el("p", { class: "unseen", role: "status", "aria-live": "polite" });
    this.#host = el(
      "section",
      { id: "sending", "aria-labelledby": "sending-title", hidden: true },
      el("h3", { id: "sending-title" }, "Sending"),
      el("div", { class: "whole" }, this.#bar, this.#told, this.#pause, this.#clear),
      this.#list,
      this.#more,
      this.#left,
      this.#news,
    );
    host.append(this.#host);
  }

  show(eventId = this.#eventId) {
    this.#eventId = eventId;
    const { items, paused } = this.#sender;
    const left = eventId ? this.#sender.leftOver(eventId) : [];
    this.#host.hidden = items.length === 0 && left.length === 0;
    if (this.#host.hidden) return;
    this.#showWhole(items, paused);
    const open = items.filter(({ state }) => state !== "done");
    const shown = [...open, ...items.filter(({ state }) => state === "done")].slice(0, SHOWN);
    const facts = shown.map(({ key, state, why, file, about: { filename, source } }) => ({
      key,
      state,
      why,
      filename,
      source,
      size: file.size,
    }));
    update(this.#list, facts, (fact) => this.#row(fact));
    for (const item of shown) {
      const bar = this.#bars.get(item.key);
      if (bar) bar.value = item.file.size > 0 ? item.sent / item.file.size : 0;
    }
    const hidden = items.length - shown.length;
    this.#more.textContent = hidden > 0 ? `and ${count(hidden, "more file", "more files")}` : "";
    update(this.#left, left, (one) => this.#leftRow(one));
  }

  #showWhole(items, paused) {
    const whole = this.#sender.whole;
    const over = items.length > 0 && !this.#sender.busy;
    this.#bar.hidden = items.length === 0;
    this.#bar.value = whole.bytes > 0 ? whole.sent / whole.bytes : 0;
    const facts = [
      `${whole.done} of ${count(whole.files, "file", "files")}`,
      whole.bytes > 0 ? `${amount(whole.sent)} of ${amount(whole.bytes)}` : null,
      paused ? "paused" : null,
      !paused && whole.rate ? `${amount(whole.rate)} a second` : null,
      !paused && whole.leftMs !== null && !over ? about(whole.leftMs) : null,
      whole.failed > 0 ? `${whole.failed} could not be sent` : null,
    ];
    this.#told.textContent = items.length > 0 ? facts.filter(Boolean).join(" · ") : "";
    this.#pause.hidden = items.length === 0 || over;
    this.#pause.textContent = paused ? "Go on" : "Pause";
    this.#clear.hidden = whole.done === 0;
    const news = over ? `All files are through: ${whole.done} sent, ${whole.failed} not.` : "";
    if (news !== this.#lastNews) this.#news.textContent = news;
    this.#lastNews = news;
  }

  #pauseOrGoOn() {
    if (this.#sender.paused) this.#sender.resume();
    else this.#sender.pause();
  }

  #row({ key, state, why, filename, source, size }) {
    const item = () => this.#sender.items.find((one) => one.key === key);
    const bar = el("progress", { max: 1, value: state === "done" ? 1 : 0, "aria-label": `${filename}: how much of it is sent` });
    this.#bars.set(key, bar);
    const button = (text, label, act) =>
      el("button", { type: "button", class: "quiet", "data-key": `${text}/${key}`, "aria-label": label, onclick: () => item() && act(item()) }, text);
    return el(
      "li",
      { class: state },
      bar,
      el("span", { class: "name" }, el("strong", {}, filename), ` (${source}, ${amount(size)}) `),
      el("span", { class: "how" }, WORDS[state] ?? state, why ? `: ${why}` : ""),
      state === "failed" ? button("again", `Send ${filename} again`, (one) => this.#sender.again(one)) : null,
      state === "done" ? null : button("give up", `Do not send ${filename}`, (one) => this.#sender.remove(one)),
    );
  }

  #leftRow(left) {
    return el(
      "li",
      {},
      el("span", { class: "name" }, el("strong", {}, left.name), ` (${left.source}, ${amount(left.size)}) `),
      el("span", { class: "how" }, "is half-sent. Choose the same file again and it goes on where it was."),
      el(
        "button",
        { type: "button", class: "quiet", "aria-label": `Forget ${left.name}`, onclick: () => this.#sender.forget(left) },
        "forget",
      ),
    );
  }
}
