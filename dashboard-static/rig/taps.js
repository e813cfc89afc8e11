// The sync tap: the club's head strikes the plates, the bay reads the blows out of the last half minute and
// says how late the plates are, with the lines for its configuration.

import { el, fill } from "../element.js";
import { send } from "../lesson/api.js";
import { LIMITS, judge } from "./limits.js";
import { count, figure } from "./say.js";
import { cell } from "./streams.js";

const SECONDS = 30;

export class TapWizard {
  /** `bay` gives the bay's id, or null without an archive (which keeps the last minute). */
  constructor(root, bay) {
    Object.assign(this, { root, bay });
    this.button = root.querySelector("button");
    this.button.onclick = () => this.read();
  }

  async read() {
    const said = this.root.querySelector(".said");
    this.button.disabled = true;
    said.dataset.state = "unknown";
    said.textContent = "○ reading …";
    try {
      const bay = this.bay();
      if (!bay) throw new Error("this bay keeps no archive: record the taps (whin serve --record taps) and read the file (whin check --tap)");
      this.show(await send("POST", `bays/${encodeURIComponent(bay)}/tap`, { seconds: SECONDS }), said);
    } catch (error) {
      // What an earlier reading gave is not what this one did.
      this.root.querySelector(".outcome").hidden = this.root.querySelector("pre").hidden = true;
      this.root.querySelector(".beside").textContent = "";
      said.dataset.state = "wrong";
      said.textContent = `■ ${error.message}`;
    }
    this.button.disabled = false;
  }

  show(heard, said) {
    const sure = heard.lines !== null;
    said.dataset.state = sure ? "ok" : "look";
    said.textContent = `${sure ? "●" : "▲"} ${heard.words}`;
    const beside = heard.beside ? `${count(heard.beside, "blow")} met no plate.` : "";
    this.root.querySelector(".beside").textContent = beside;
    const body = this.root.querySelector("tbody");
    fill(body, heard.streams, () => (heard.streams.length ? heard.streams.map(row) : [el("tr", {}, el("td", { colspan: 4 }, `No tap in the last ${SECONDS} seconds.`))]));
    this.root.querySelector(".outcome").hidden = false;
    const lines = this.root.querySelector("pre");
    lines.hidden = !sure;
    lines.textContent = heard.lines ?? "";
  }
}

function row(stream) {
  const late = stream.late_ms;
  const words = late === null ? "too few taps" : `${figure(Math.abs(late), 1)} ms ${late < 0 ? "earlier" : "later"}`;
  return el("tr", {},
    el("th", { scope: "row" }, `stream ${stream.stream}`, el("span.small", {}, [...new Set(stream.taps.map((t) => t.plate))].join(", "))),
    cell({ text: `${stream.taps.length}`, small: stream.taps.map((t) => figure(t.late_ms, 1)).join(", ") }),
    cell({ text: words, small: stream.told_ms ? `beyond the ${figure(stream.told_ms, 1)} ms that are told` : "" }),
    cell({ text: stream.uncertainty_ms === null ? "—" : `± ${figure(stream.uncertainty_ms, 2)} ms`, state: judge(stream.uncertainty_ms, LIMITS.tap) }));
}
