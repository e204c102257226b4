import { el } from "../dom.js";

export class CoverView {
  constructor(host, desk) {
    this.desk = desk;
    host.append(el("p", { class: "about" }, "Cover"));
  }
  show(known, changed) {}
}
