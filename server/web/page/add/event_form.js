// Makes an event.

import { el } from "../dom.js";

const RATES = [
  ["", "not said"],
  ["24000/1001", "23.976"],
  ["24", "24"],
  ["25", "25"],
  ["30000/1001", "29.97"],
  ["30", "30"],
  ["50", "50"],
  ["60000/1001", "59.94"],
  ["60", "60"],
];

export class EventForm {
  #desk;
  #form;
  #title;
  #date;
  #rate;

  constructor(host, desk) {
    this.#desk = desk;
    this.#title = el("input", { id: "new-title", required: true, autocomplete: "off" });
    this.#date = el("input", { id: "new-date", type: "date" });
    this.#rate = el("select", { id: "new-rate" }, ...RATES.map(([value, text]) => el("option", { value }, text)));
    this.#form = el(
      "form",
      { class: "new-event", novalidate: true, onsubmit: (event) => this.#make(event) },
      field("new-title", "What it is called", this.#title),
      field("new-date", "Its day", this.#date),
      field("new-rate", "Frames a second", this.#rate),
      el("button", { type: "submit" }, "Make the event"),
    );
    host.append(this.#form);
  }

  async #make(event) {
    event.preventDefault();
    const title = this.#title.value.trim();
    this.#title.setAttribute("aria-invalid", String(title === ""));
    if (title === "") {
      this.#desk.tell("An event needs a name, such as the couple's and the place.", { trouble: true });
      this.#title.focus();
      return;
    }
    const asked = { title, date: this.#date.value || null, frame_rate: this.#rate.value || null };
    const made = await this.#desk.guarded(this.#desk.server.addEvent(asked));
    if (!made) return;
    this.#form.reset();
    await this.#desk.listEvents();
    await this.#desk.choose(made.id);
    this.#desk.tell(`${made.title} is made. Now add its recordings.`);
    this.#desk.go("add");
  }
}

const field = (id, text, input) => el("div", { class: "field" }, el("label", { for: id }, text), input);
