import { el } from "../dom.js";

export class DayView {
  constructor(host, desk) {
    this.desk = desk;
    host.append(el("p", { class: "about" }, "Day"));
  }
  show(known, changed) {}
}
