// Archive and bay on the Rig page: what is kept and why not, and the facts that the bay tells of itself.

import { el, fill } from "../element.js";
import { findingsOf } from "./checks.js";
import { bytes, count } from "./say.js";

export function showArchive(view) {
  const root = document.getElementById("archive");
  const shown = view.swings.map((s) => ({ id: s.id, kind: s.measurement.kind, said: view.archived.findLast((a) => a.id === s.id) ?? null }));
  const kept = shown.filter((s) => s.said?.archived).length;
  const open = shown.filter((s) => !s.said).length;
  const rows = [
    ["Recording", view.recording || "not known yet"],
    ["Last swings archived", shown.length ? `${kept} of ${shown.length}${open ? `, ${open} not told yet` : ""}` : "no swing yet"],
    ["Student", view.student ?? "nobody chosen"],
  ];
  fill(root.querySelector(".kept"), rows, () => rows.flatMap(([name, text]) => [el("dt", {}, name), el("dd", {}, text)]));
  const not = shown.filter((s) => s.said && !s.said.archived).map((s) => `■ ${s.kind} ${s.id}: not archived, ${s.said.reason}`);
  const lines = [...findingsOf(view, "kept").map((f) => `▲ ${f.text}`), ...not.slice(-5)];
  fill(root.querySelector(".findings"), lines, () => (lines.length ? lines : ["No remark of archive or disk."]).map((text) => el("li", {}, text)));
}

export function showFacts(view) {
  const buffer = view.health?.receive_buffer;
  const rows = [
    ["Bay", view.bayName ? `${view.bayName} (${view.bay})` : "—"],
    ["Program", view.program ? `whin ${view.program}` : "—"],
    ["Messages", view.version ? `version ${view.version}` : "—"],
    ["Landmarks", view.landmarks.length ? count(view.landmarks.length, "landmark") : "—"],
    ["Receive buffer", buffer ? `${bytes(buffer.granted)} granted of ${bytes(buffer.asked)}` : "—"],
  ];
  fill(document.querySelector("#facts dl"), rows, () => rows.flatMap(([name, text]) => [el("dt", {}, name), el("dd", {}, text)]));
}
