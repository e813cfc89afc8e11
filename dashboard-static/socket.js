// The line to the daemon: opens `/ws`, opens it again after a loss with growing pauses, and says
// when nothing has been heard for too long. What a message means lives in state.js.

import { knock } from "./door.js";

/** Silence after which the picture must not be taken for now. Health comes once a second. */
const STALE_MS = 1800;
/** Silence after which the socket is given up and opened anew (a half-open connection). */
const GIVE_UP_MS = 6000;
const FIRST_PAUSE_MS = 300;
const LONGEST_PAUSE_MS = 5000;

/**
 * Keeps a connection for the life of the page.
 * @param {URL|string} url address of the WebSocket
 * @param {(message: object) => void} onMessage each message, parsed
 * @param {(linked: boolean) => void} onLink true when messages flow, false when they stopped
 */
export function keepConnected(url, onMessage, onLink) {
  const line = { url, onMessage, onLink, socket: null, heard: 0, linked: false, pause: FIRST_PAUSE_MS };
  open(line);
  setInterval(() => watch(line), 200);
}

function open(line) {
  const socket = new WebSocket(line.url);
  line.socket = socket;
  line.heard = performance.now();
  socket.onmessage = (event) => hear(line, event.data);
  socket.onclose = () => {
    if (line.socket === socket) lose(line);
  };
}

function hear(line, text) {
  line.heard = performance.now();
  line.pause = FIRST_PAUSE_MS;
  setLinked(line, true);
  let message;
  try {
    message = JSON.parse(text);
  } catch {
    console.warn("a message from the bay is not JSON");
    return;
  }
  line.onMessage(message);
}

function lose(line) {
  line.socket = null;
  setLinked(line, false);
  knock();
  // A little randomness, so that many screens do not come back in the same instant.
  setTimeout(() => open(line), line.pause * (0.75 + Math.random() / 2));
  line.pause = Math.min(line.pause * 2, LONGEST_PAUSE_MS);
}

function watch(line) {
  const silence = performance.now() - line.heard;
  if (silence > STALE_MS) setLinked(line, false);
  if (silence > GIVE_UP_MS && line.socket) {
    const dead = line.socket;
    lose(line);
    dead.close();
  }
}

function setLinked(line, linked) {
  if (line.linked === linked) return;
  line.linked = linked;
  line.onLink(linked);
}
