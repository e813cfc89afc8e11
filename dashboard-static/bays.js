// Which bay of the hall a page is about: its address says so (`?bay=south`), else the first. Where there are
// several, a page can go over to another one.

import { el } from "./element.js";

const asked = new URLSearchParams(location.search).get("bay");

/** The address of the socket of this page's bay. */
export const socketAddress = () => new URL(ofBay("/ws"), location.href.replace(/^http/, "ws"));

/** An address with the page's bay in it. */
export function ofBay(address, bay = asked) {
  if (!bay) return address;
  return `${address}${address.includes("?") ? "&" : "?"}bay=${encodeURIComponent(bay)}`;
}

let hall = [];
const told = [];

/** Calls `hear` when it is known which bays there are. Pages that offer no choice do not ask: a display may not. */
export function onBays(hear) {
  told.push(hear);
  if (told.length === 1) ask();
}

async function ask() {
  const answer = await fetch("/api/v1/bays").catch(() => null);
  // Without them the page shows the bay that it was asked for.
  if (!answer?.ok) return;
  hall = (await answer.json()).bays;
  for (const hear of told) hear();
}

// How much of every name is the hall's, which a choice need not repeat: up to the last comma that all share.
function common(bays) {
  const [{ name: first }] = bays;
  const shared = (end) => bays.every(({ name }) => name.startsWith(first.slice(0, end)));
  const ends = [...first.matchAll(/, /g)].map(({ index }) => index + 2).filter(shared);
  return ends.at(-1) ?? 0;
}

// Keys that choose another line of a closed choice, one after the other.
const STEPS = /^(Arrow(Up|Down|Left|Right)|Home|End|PageUp|PageDown|[^ ])$/;

/** A choice of bays for the way between pages; nothing where there is one bay. */
export function bayChoice() {
  if (hall.length < 2) return null;
  const current = hall.some((bay) => bay.id === asked) ? asked : hall[0].id;
  const option = ({ id, name }) => el("option", { value: id, selected: id === current }, name.slice(common(hall)));
  const go = (id) => id !== current && location.assign(ofBay(location.pathname, id));
  // By keys the page would be left at the first step, before the bay that is wanted: there Enter goes over.
  let stepping = false;
  return el("select.bays", {
    "aria-label": "Bay", title: "by keys: Enter goes over to the bay",
    onpointerdown: () => { stepping = false; },
    onkeydown: (e) => {
      if (e.key === "Enter" && e.target.value !== current) {
        e.preventDefault();
        go(e.target.value);
      } else if (e.key !== "Tab" && e.key !== "Shift") stepping = !e.altKey && STEPS.test(e.key);
    },
    onchange: ({ target }) => stepping || go(target.value),
    onblur: ({ target }) => { target.value = current; },
  }, hall.map(option));
}
