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

/** A choice of bays for the way between pages; nothing where there is one bay. */
export function bayChoice() {
  if (hall.length < 2) return null;
  const current = hall.some((bay) => bay.id === asked) ? asked : hall[0].id;
  const option = ({ id, name }) => el("option", { value: id, selected: id === current }, name.slice(common(hall)));
  const onchange = ({ target }) => location.assign(ofBay(location.pathname, target.value));
  return el("select.bays", { "aria-label": "Bay", onchange }, hall.map(option));
}
