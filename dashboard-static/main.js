// Wires the bay screen: socket → what the screen knows → words and figures.

import { prepare, render, renderNote } from "./bay.js";
import { ReplayPanel } from "./replay.js";
import { keepConnected } from "./socket.js";
import { apply, initial, lastSwing, link } from "./state.js";
import { chosenUnits } from "./words.js";

const units = chosenUnits(location.search, localStorage);
let screen = initial;

prepare();
render(screen, units);
const replay = new ReplayPanel();

keepConnected(new URL("ws", location.href.replace(/^http/, "ws")), onMessage, onLink);

function onMessage(message) {
  screen = apply(screen, message);
  if (message.type === "live") {
    renderNote(screen, units);
    if (screen.live) replay.watch(screen.landmarks, screen.live.points);
    return;
  }
  render(screen, units);
  const swing = lastSwing(screen);
  if (swing) replay.show(screen.bay, swing);
  else replay.clear();
}

function onLink(linked) {
  screen = link(screen, linked);
  render(screen, units);
}
