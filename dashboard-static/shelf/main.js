// Wires the Shelf: the address says what is open (`?a=block:3&b=swing:…`, `?view=trends`, `?report=…`), the
// page follows it.

import { el } from "../element.js";
import { pages } from "../nav.js";
import { byId, say } from "../page.js";
import { socketAddress } from "../bays.js";
import { keepConnected } from "../socket.js";
import { chooseTheme, onTheme, theme } from "../theme.js";
import { chooseUnits, onUnits, units } from "../units.js";
import { get } from "./api.js";
import { Compare } from "./compare.js";
import { toggle } from "./dom.js";
import { Finder } from "./finder.js";
import { parse, written } from "./pick.js";
import { showReport } from "./report.js";
import { startingPicks } from "./start.js";
import { Trends } from "./trends.js";

let [parts, started] = [null, false];

start();

async function start() {
  const asked = new URLSearchParams(location.search);
  // Nothing here is live; the line only tells whether questions would be answered.
  keepConnected(socketAddress(), () => {}, onLink);
  document.body.dataset.view = asked.has("report") ? "report" : "shelf";
  if (asked.has("report")) {
    byId("report").hidden = false;
    await showReport(byId("report"), asked.get("report"), units());
    return;
  }
  byId("shelf").hidden = byId("top").hidden = false;
  pages(byId("pages"), "/shelf");
  tools();
  onTheme(tools);
  onUnits(() => {
    tools();
    for (const one of [parts?.compare, parts?.trends]) one?.setUnits(units());
    if (parts) [parts.finder.units] = [units(), parts.finder.find()];
  });
  try {
    parts = await build();
  } catch (error) {
    // Asked again as soon as the line is back.
    started = true;
    byId("names").replaceChildren(el("p.problem", {}, error.message));
    return;
  }
  addEventListener("popstate", follow);
  narrow();
  parts.finder.find();
  await follow();
}

function onLink(linked) {
  byId("link").hidden = linked;
  say(byId("link"), linked ? "" : "No signal: the bay does not answer. What is open stays; nothing new can be opened.");
  if (linked && !parts && started) location.reload();
}

async function build() {
  const [{ students }, { metrics }] = await Promise.all([get("students"), get("metrics")]);
  const known = new Map(students.map((s) => [s.id, s]));
  const compare = new Compare(Object.fromEntries(["names", "verdict", "stages", "transport", "floors", "table", "curves"].map((id) => [id, byId(id)])), known, units(), (picks) => go(picks));
  const finder = new Finder({ form: byId("filters"), lessons: byId("lessons"), swings: byId("swings"), students: known, metrics, units: units(), opened: (side, pick) => go({ ...compare.picks, [side]: pick }) });
  return { compare, finder, trends: new Trends(byId("trends"), known, metrics, units()) };
}

// Puts what is open into the address, so that it can be sent and found again.
function go(picks, view = "") {
  const address = new URL("/shelf", location.href);
  for (const side of ["a", "b"]) if (picks[side]) address.searchParams.set(side, written(picks[side]));
  if (view) address.searchParams.set("view", view);
  history.pushState(null, "", address);
  follow();
}

async function follow() {
  const asked = new URLSearchParams(location.search);
  const trends = asked.get("view") === "trends";
  byId("compare").hidden = trends;
  byId("trends").hidden = !trends;
  byId("shelf").classList.toggle("wide", trends);
  tools();
  if (trends) {
    const { b } = parts.compare.shown;
    parts.trends.show(b?.student.id, b?.student.clubs.find((c) => c.name === b.kept.club)?.id);
    return;
  }
  let picks = { a: parse(asked.get("a")), b: parse(asked.get("b")) };
  if (!picks.a && !picks.b) picks = await startingPicks().catch(() => picks);
  if (!picks.a && !picks.b) {
    parts.compare.hide("Nothing is kept yet: the shots of a student's lesson appear here.");
    return;
  }
  await parts.compare.show(picks);
  mark(picks);
}

// In the lists it is seen what is open.
function mark(picks) {
  for (const row of document.querySelectorAll("#find .row")) {
    for (const button of row.querySelectorAll(".pick")) {
      const pick = picks[button.dataset.side];
      button.setAttribute("aria-pressed", String(pick?.of === row.dataset.of && pick?.id === row.dataset.id));
    }
  }
}

function tools() {
  const trends = new URLSearchParams(location.search).get("view") === "trends";
  const picks = parts?.compare.picks ?? {};
  // Who works with keys stays on the button that they pressed.
  const had = [...byId("tools").querySelectorAll("button")].indexOf(document.activeElement);
  byId("tools").replaceChildren(
    el(".choice", { role: "group", "aria-label": "Page" }, toggle("side by side", !trends, () => go(picks)), toggle("months", trends, () => go(picks, "trends"))),
    el(".choice", { role: "group", "aria-label": "Units" }, toggle("metric", units() === "metric", () => chooseUnits("metric")), toggle("imperial", units() === "imperial", () => chooseUnits("imperial"))),
    el(".choice", { role: "group", "aria-label": "Light or dark" }, toggle("light", theme() === "light", () => chooseTheme("light")), toggle("dark", theme() === "dark", () => chooseTheme("dark"))),
  );
  byId("tools").querySelectorAll("button")[had]?.focus();
}

// On narrow screens the lists stand folded above the figures.
function narrow() {
  const small = matchMedia("(max-width: 1100px)");
  const fold = () => {
    byId("find").open = !small.matches;
  };
  small.addEventListener("change", fold);
  fold();
  new MutationObserver(() => parts && mark(parts.compare.picks)).observe(byId("find"), { childList: true, subtree: true });
}
