// Wires the Rig page: socket → what the page knows → checks, tables and pictures. Words and figures change
// four times a second at most, pictures with the screen.

import { pages } from "../nav.js";
import { byId, say } from "../page.js";
import { socketAddress } from "../bays.js";
import { keepConnected } from "../socket.js";
import { apply, initial, lastSwing, link } from "../state.js";
import { onTheme } from "../theme.js";
import { keepAccess } from "./access.js";
import { checks, faults, serious, streams } from "./checks.js";
import { showChecks } from "./checklist.js";
import { showConfig } from "./config.js";
import { Disk } from "./disk.js";
import { showArchive, showFacts } from "./facts.js";
import { LengthCheck } from "./length.js";
import { LoadCheck } from "./load.js";
import { showMarkers } from "./markers.js";
import { PoseMemory } from "./memory.js";
import { PlatesNow, showNow } from "./now.js";
import { ClubWizard } from "./pendulum.js";
import { Picture } from "./picture.js";
import { PlaceWizard } from "./place.js";
import { loads, showPlates } from "./plates.js";
import { showStreams } from "./streams.js";
import { TapWizard } from "./taps.js";
import { TrialWizard } from "./trial.js";

const WORDS_MS = 250;
const CALM_MS = 500;
/** One second of arrivals is jumpy: the rate is the median of so many. */
const RATES_KEPT = 5;
/** So long after the last dropped datagram it is still news. */
const DROPS_MS = 60_000;
const STATES = { no_signal: "no signal", waiting: "waiting", at_address: "at address", in_motion: "in motion", measuring: "measuring", result: "result" };

const memory = new PoseMemory();
const known = { screen: initial, hello: null, lesson: null, replay: null, asked: null, lostAt: null, drops: null, rates: [], droppedAt: -Infinity };
const length = new LengthCheck(byId("length"));
const load = new LoadCheck(byId("load"));
// A bay with an archive shows a lesson; only such a one keeps the last minute of datagrams.
const archived = () => (known.screen.linked && known.lesson ? known.screen.bay : null);
const platesNow = new PlatesNow(() => (known.screen.linked && streams(known.screen, "forces").length ? known.screen.bay : null));
const disk = new Disk(byId("archive"), () => Boolean(archived()));
const club = new ClubWizard(byId("club"), () => Boolean(archived()));
const trial = new TrialWizard(byId("trial"), () => known.lesson?.seat?.student ?? null);
new TapWizard(byId("tap"), archived);
new PlaceWizard(byId("place"), archived);
const [front, above] = ["front", "above"].map((kind) => new Picture(byId(kind), kind));
const calm = matchMedia("(prefers-reduced-motion: reduce)");
let [drawn, moved] = [0, true];

pages(byId("pages"), "/rig");
setInterval(show, WORDS_MS);
requestAnimationFrame(draw);
addEventListener("resize", () => { moved = true; });
onTheme(() => { moved = true; });
keepAccess(byId("access"));
show();
keepConnected(socketAddress(), onMessage, onLink);

function onMessage(message) {
  known.screen = apply(known.screen, message);
  if (message.type === "hello") {
    Object.assign(known, { hello: message, lesson: message.lesson ?? null, replay: null, asked: null, rates: [] });
    memory.clear();
    showConfig(byId("config"));
    club.offer();
  }
  if (message.type === "lesson") known.lesson = message;
  if (message.type === "health") {
    countDrops(message.dropped);
    known.rates = [...known.rates, new Map(message.streams.map((s) => [s.stream, s.seen_hz]))].slice(-RATES_KEPT);
  }
  if (message.type === "live" && known.screen.live) {
    memory.see(known.screen.landmarks, known.screen.live);
    length.see(memory);
    moved = true;
  }
  fetchReplay(lastSwing(known.screen));
}

function onLink(linked) {
  known.screen = link(known.screen, linked);
  known.lostAt = linked ? null : performance.now();
  show();
}

// What was dropped before the page came is no news.
function countDrops(total) {
  if (known.drops !== null && total > known.drops) known.droppedAt = performance.now();
  known.drops = total;
}

// The plates of a swing are whole from the second report on.
async function fetchReplay(swing) {
  if (!swing || swing.revision < 2 || known.asked === swing.id) return;
  known.asked = swing.id;
  try {
    const answer = await fetch(`/api/v1/bays/${encodeURIComponent(known.screen.bay)}/swings/${encodeURIComponent(swing.id)}/replay`);
    if (answer.ok && known.asked === swing.id) known.replay = loads(await answer.json(), swing.measurement.events);
    moved = true;
  } catch {
    // The line went meanwhile; the next swing asks again.
  }
}

// The health with each stream's rate steadied; the one of the first message is no rate yet.
function steady(health) {
  if (!health || !known.rates.length) return health && { ...health, streams: health.streams.map((s) => ({ ...s, seen_hz: null })) };
  const median = (values) => values.sort((a, b) => a - b)[Math.floor(values.length / 2)] ?? null;
  const of = (id) => median(known.rates.map((r) => r.get(id)).filter((hz) => hz !== undefined));
  return { ...health, streams: health.streams.map((s) => ({ ...s, seen_hz: of(s.stream) })) };
}

function view() {
  const { screen, hello, lesson, replay } = known;
  return {
    ...screen, health: steady(screen.health), swing: screen.swings.findLast((s) => s.revision > 1) ?? lastSwing(screen), plates: replay, program: hello?.program, version: hello?.version,
    recording: lesson?.recording ?? screen.recording, student: lesson?.seat?.student?.name ?? null,
    platesNow: platesNow.plates, zeroing: platesNow.zeroing, disk: disk.now,
    dropsNow: performance.now() - known.droppedAt < DROPS_MS,
    markers: { known: memory.landmarks.length > 0, somebody: memory.somebody(), hidden: memory.hidden(), total: memory.landmarks.length },
  };
}

function show() {
  const now = view();
  const silentS = known.lostAt === null ? null : Math.round((performance.now() - known.lostAt) / 1000);
  document.body.dataset.linked = String(now.linked);
  say(byId("bay-name"), now.bayName);
  const state = byId("state");
  state.dataset.state = now.linked ? now.state : "no_signal";
  say(state, STATES[state.dataset.state] ?? now.state);
  byId("stale").hidden = now.linked || !known.hello;
  showChecks(checks(now), now.linked ? null : silentS);
  showStreams(now);
  showMarkers(now, memory);
  showPlates(now, memory);
  showArchive(now);
  showFacts(now);
  length.offer(memory.landmarks.length ? memory.landmarks : now.landmarks);
  length.show();
  showNow(now.platesNow);
  load.see(now.plates, now.platesNow);
  trial.show(memory);
}

function draw(time) {
  requestAnimationFrame(draw);
  if (!moved || time - drawn < (calm.matches ? CALM_MS : 0)) return;
  [drawn, moved] = [time, false];
  const now = view();
  const bad = new Set(faults(now).filter((f) => serious(f, now)).map((f) => f.landmark));
  for (const picture of [front, above]) picture.draw(memory, bad, now.platesNow.length ? now.platesNow : known.replay ?? []);
  trial.draw(memory);
}
