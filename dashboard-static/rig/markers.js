// The tables of markers: each landmark now, in the last ten seconds and in the last swing, and how stiff
// the sets stayed. The live picture is in picture.js.

import { el, fill } from "../element.js";
import { say } from "../page.js";
import { clusters, faults } from "./checks.js";
import { LIMITS, judgeLeast } from "./limits.js";
import { figure, landmark } from "./say.js";
import { cell } from "./streams.js";

const KINDS = { skin: "on skin", stiff: "on a stiff body" };

export function showMarkers(view, memory) {
  const root = document.getElementById("markers");
  const sets = clusters(view);
  fill(root.querySelector(".sets tbody"), sets, () => sets.map(setRow));
  const bad = new Map(faults(view).map((f) => [f.landmark, f]));
  const rows = memory.landmarks.map((name) => marker(name, memory, bad.get(name)));
  // Worst first: hidden now, then bad in the swing, then as they come.
  rows.sort((a, b) => b.rank - a.rank);
  const frames = view.swing?.transport.frames;
  say(root.querySelector(".frames"), frames ? `of ${frames} frames, last swing` : "frames, last swing");
  fill(root.querySelector(".each tbody"), rows, () => (rows.length ? rows.map(markerRow) : [el("tr", {}, el("td", { colspan: 6 }, "No live pose has come yet."))]));
}

function marker(name, memory, fault) {
  const last = memory.lastOf(name);
  const seen = !memory.isHidden(name);
  const share = memory.visible(name);
  const bad = fault ? [fault.missing_frames, fault.rejected_frames, fault.exchanged_frames] : [0, 0, 0];
  return {
    name, bad, seen,
    now: seen ? "seen" : !last ? "never seen" : last.agoS < 1.5 ? "hidden" : `hidden for ${Math.floor(last.agoS)} s`,
    share: share === null ? null : Math.round(share),
    rank: (seen ? 0 : 1e6) + bad[0] + bad[1] + bad[2],
  };
}

function markerRow({ name, now, seen, share, bad }) {
  return el("tr", {},
    el("th", { scope: "row" }, landmark(name)),
    cell({ text: now, state: seen ? null : "look" }),
    cell({ text: figure(share, 0, "%"), state: judgeLeast(share, LIMITS.visible) === "ok" || !seen ? null : judgeLeast(share, LIMITS.visible) }),
    bad.map((n) => el("td", {}, n ? `${n}` : "0")));
}

function setRow({ name, kind, value, reason, limit, state }) {
  return el("tr", {},
    el("th", { scope: "row" }, name, el("span.small", {}, KINDS[kind])),
    cell({ text: figure(value, 1, value === null ? "" : "mm"), small: value === null ? reason : "", state: value === null ? null : state }),
    el("td", {}, `${limit} mm`));
}
