import { el } from "../dom.js";

export class CutsView {
  constructor(host, desk) {
    this.desk = desk;
    host.append(el("p", { class: "about" }, "Cuts"));
  }
  show(known, changed) {}
}
