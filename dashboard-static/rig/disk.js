// The archive and its disk on the Rig page: room, what is recorded, what waits, and the check of everything
// in it. Asked of the bay every few seconds, where there is an archive.

import { ofBay } from "../bays.js";
import { el, fill } from "../element.js";
import { get, send } from "../lesson/api.js";
import { LIMITS, judgeLeast } from "./limits.js";
import { bytes, count, figure } from "./say.js";

const EVERY_MS = 4000;

export class Disk {
  /** `has` says whether the bay has an archive. */
  constructor(root, has) {
    Object.assign(this, { root, has, now: null, said: "" });
    this.button = root.querySelector("button");
    this.button.onclick = () => this.ask(() => send("POST", ofBay("archive/verify")));
    setInterval(() => this.ask(() => get(ofBay("archive"))), EVERY_MS);
  }

  async ask(question) {
    if (!this.has() || document.hidden) return;
    try {
      this.now = await question();
      this.said = "";
    } catch (error) {
      this.said = `■ ${error.message}`;
    }
    this.show();
  }

  show() {
    const { root, now } = this;
    if (!now) return;
    const rows = facts(now);
    fill(root.querySelector(".disk"), rows, () => rows.flatMap(([name, text, mark]) => [el("dt", {}, name), el("dd", {}, mark ? `${mark} ${text}` : text)]));
    this.button.disabled = now.verifying;
    fill(this.button, now.verifying, () => [now.verifying ? "Checking …" : "Check everything in it"]);
    const lines = [...verdict(now), ...(this.said ? [this.said] : []), now.backup];
    fill(root.querySelector(".verified"), lines, () => lines.map((text) => el("li", {}, text)));
  }
}

/** Minutes of recording that fit, as a state. */
export const minutesState = (now) => (now?.minutes_left === null || !now ? "unknown" : judgeLeast(now.minutes_left, LIMITS.minutes));

function facts(now) {
  const free = now.free_bytes - now.reserve_bytes;
  const minutes = now.minutes_left;
  const time = minutes >= 120 ? `${figure(minutes / 60)} hours` : `${figure(minutes)} minutes`;
  return [
    ["Folder", now.path],
    ["Free for recordings", `${bytes(Math.max(0, free))} (${bytes(now.reserve_bytes)} more are left alone)`, free > 0 ? "" : "■"],
    ["That is enough for", minutes === null ? "not known before something is recorded for ten seconds" : `${time} at the pace of the last minute (limit ${LIMITS.minutes.fine} minutes)`, { look: "▲", wrong: "■" }[minutesState(now)]],
    ["Recording now", now.recording ? `${now.recording.file}, ${bytes(now.recording.bytes)}` : `none: ${now.stopped ?? "nothing came yet"}`],
    ["Reports that wait for the disk", `${now.waiting}`],
  ];
}

function verdict({ verified }) {
  if (!verified) return ["○ Not checked since the program started. The check reads every recording and compares each swing to the byte; limit: nothing missing."];
  const when = new Date(verified.at_utc_ns / 1e6).toLocaleTimeString();
  const what = `${count(verified.sessions, "session")}, ${count(verified.recordings, "recording")}, ${count(verified.swings, "swing")} in ${figure(verified.took_s, 1)} s`;
  const mark = { error: "■", warning: "▲" };
  return [
    verified.damaged ? `■ wrong: at ${when} something was missing or damaged (${what}). What is lost of a recording is only in a copy; “whin archive recover” saves what is left of it.` : `● ok: at ${when} everything was there (${what}).`,
    ...verified.findings.map((f) => `${mark[f.severity] ?? "●"} ${f.text}`),
  ];
}
