// Wires the bay screen: socket → what the screen knows → words and figures; the keys for units and tone.

import { prepare, render, renderNote } from "./bay.js";
import { LessonPanel } from "./bay/panel.js";
import { Tone } from "./bay/tone.js";
import { shown } from "./figures.js";
import { byId, say } from "./page.js";
import { ReplayPanel } from "./replay.js";
import { socketAddress } from "./bays.js";
import { keepConnected } from "./socket.js";
import { apply, initial, shownSwing, link } from "./state.js";
import { chooseUnits, onUnits, units as chosen } from "./units.js";

chooseUnits(new URLSearchParams(location.search).get("units"));
let units = chosen();
let screen = initial;

prepare();
const tone = new Tone(byId("tone"));
const panel = new LessonPanel(tone);
const replay = new ReplayPanel();
draw();

keepConnected(socketAddress(), onMessage, onLink);
addEventListener("keydown", onKey);
onUnits((choice) => {
  units = choice;
  draw();
});

function onMessage(message) {
  screen = apply(screen, message);
  if (message.type === "live") {
    renderNote(screen, units);
    panel.renderLive(screen, units);
    if (screen.live) replay.watch(screen.landmarks, screen.live.points);
    return;
  }
  draw();
  const swing = shownSwing(screen);
  if (swing) replay.show(screen.bay, swing);
  else replay.clear();
}

function onLink(linked) {
  screen = link(screen, linked);
  draw();
}

function onKey({ key, ctrlKey, metaKey, altKey, repeat }) {
  if (ctrlKey || metaKey || altKey || repeat) return;
  if (key === "t") tone.toggle();
  if (key === "u") chooseUnits(units === "metric" ? "imperial" : "metric");
}

function draw() {
  render(screen, units);
  panel.render(screen, units);
  say(byId("units"), `${["m/s", "m"].map((unit) => shown(0, unit, units).unit).join(", ")} · key u`);
}
