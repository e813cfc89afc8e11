// Wires the Lesson page: socket and fetches → model → the parts of the page.

import { onBays, socketAddress } from "../bays.js";
import { keepConnected } from "../socket.js";
import { onUnits } from "../units.js";
import { fetchCatalogue, fetchPast, fetchStudents } from "./acts.js";
import { blockBar } from "./block.js";
import { carePanel, careStrip } from "./care.js";
import { changePanel } from "./change.js";
import { button, el, paint } from "./dom.js";
import { focusPanel } from "./focus.js";
import { leaksPanel } from "./leaks.js";
import { refresh } from "./ledger.js";
import { changed, hear, link, model, onChange, session, student, ui } from "./model.js";
import { seatPanel } from "./seat.js";
import { lastShot, shotList } from "./shots.js";
import { topStrip } from "./top.js";
import { log, undoBar } from "./undo.js";

const TABS = [["shots", "Shots"], ["focus", "Focus"], ["leaks", "Leaks"], ["change", "Change"], ["student", "Student"], ["log", "Log"]];
const PARTS = {
  top: topStrip, care: careStrip, block: blockBar, last: lastShot, shots: shotList, focus: focusPanel,
  leaks: leaksPanel, change: changePanel, student: () => [seatPanel(), carePanel()], log, undo: undoBar, tabs, cautions: () => model.lesson?.cautions.join(" ") ?? "",
};
const byId = (id) => document.getElementById(id);

onChange(() => {
  // Without a lesson there is one thing to do: choose who is taught.
  document.body.dataset.tab = session() ? model.ui.tab : "student";
  document.body.dataset.lesson = session() ? "runs" : "none";
  for (const [id, make] of Object.entries(PARTS)) if (inSight(byId(id))) paint(byId(id), make);
});
// Beside the open part only a wide page has room for the shots.
const wide = matchMedia("(min-width: 1100px)");
const inSight = ({ id, dataset }) => !dataset.tab || dataset.tab === document.body.dataset.tab || (id === "shots" && wide.matches);
wide.onchange = changed;
onUnits(changed);
onBays(changed);
changed();

keepConnected(socketAddress(), onMessage, onLink);

// A page that is opened in the middle of a block begins with what the block is about.
let opened = false;

function onMessage(message) {
  if (!opened && message.type === "hello") {
    opened = true;
    if (message.lesson?.block) model.ui.tab = wide.matches ? "focus" : "shots";
  }
  const lessonNew = hear(message);
  if (message.type === "hello") fetchStudents();
  if (lessonNew) {
    refresh();
    fetchPast();
  }
  // Somebody whom another tablet added.
  if (lessonNew && student() && model.students && !model.students.some((s) => s.id === student().id)) fetchStudents();
  if (message.type === "hello") fetchCatalogue();
}

function onLink(linked) {
  link(linked);
}

function tabs() {
  const one = ([id, words]) => button(`tab:${id}`, words, () => {
    ui({ tab: id });
    byId("rest").scrollTop = 0;
    scrollTo(0, 0);
  }, { "aria-current": document.body.dataset.tab === id ? "page" : null, disabled: !session() && id !== "student", kind: `tab ${id}` });
  return el(".tabs", {}, TABS.map(one));
}
