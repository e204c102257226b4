import { el } from "../dom.js";

export class ReadView {
  constructor(host, desk) {
    this.desk = desk;
    host.append(el("p", { class: "about" }, "Read"));
  }
  show(known, changed) {}
}
