import { el } from "../dom.js";

export class AddView {
  constructor(host, desk) {
    this.desk = desk;
    host.append(el("p", { class: "about" }, "Add"));
  }
  show(known, changed) {}
}
