// Access on the Rig page: pairing a screen by a code, the screens that are paired, what was refused. Stays
// away where nobody has to log in.

import { el, fill } from "../element.js";
import { count } from "./say.js";

const ROOT = "/api/v1/access";
const EVERY_MS = 10_000;

/** Keeps the section fresh. */
export function keepAccess(root) {
  const part = (name) => root.querySelector(`[data-part="${name}"]`);
  const page = { root, code: null, until: 0, now: null, said: "", part };
  part("pair").onclick = () => act(page, "POST", "/pairing", {}, ({ code, seconds }) => Object.assign(page, { code, until: Date.now() + seconds * 1000 }));
  part("out").onclick = () => act(page, "POST", "/logout", {}, () => location.replace("/login"));
  refresh(page);
  setInterval(() => page.now?.login !== false && refresh(page), EVERY_MS);
  setInterval(() => show(page), 1000);
}

async function refresh(page) {
  const answer = await fetch(ROOT).catch(() => null);
  if (answer?.ok) page.now = await answer.json();
  show(page);
}

async function act(page, method, path, body = {}, done = () => {}) {
  const options = { method, headers: { "content-type": "application/json" }, body: JSON.stringify(body) };
  const answer = await fetch(ROOT + path, options).catch(() => null);
  const told = await answer?.json().catch(() => null);
  page.said = answer?.ok ? "" : told?.detail ?? "the bay does not answer";
  if (answer?.ok) done(told);
  await refresh(page);
}

function show(page) {
  const { now } = page;
  page.root.hidden = !now?.login;
  if (!now?.login) return;
  const left = Math.max(0, Math.round((page.until - Date.now()) / 1000));
  const open = page.code && left > 0;
  const code = open ? `${page.code.slice(0, 3)} ${page.code.slice(3)}` : "";
  fill(page.part("code"), [code, left], () => (open ? [el("b.code", {}, code), ` for one screen, ${left} s more`] : []));
  fill(page.part("said"), page.said, () => [page.said]);
  const facts = [["You are", now.role], ...(now.fingerprint ? [["Certificate SHA-256", now.fingerprint]] : [])];
  fill(page.part("facts"), facts, () => facts.flatMap(([name, text]) => [el("dt", {}, name), el("dd", {}, text)]));
  fill(page.part("displays"), now.displays.map((d) => [d.id, d.names]), () => (now.displays.length ? now.displays.map((d) => display(page, d)) : [el("li", {}, "No screen is paired.")]));
  const refused = now.refused.map((r) => `${r.meaning} ${count(r.count, "request")}.`);
  fill(page.part("refused"), refused, () => (refused.length ? refused : ["Nothing was refused."]).map((text) => el("li", {}, text)));
}

// Names on a screen that the hall sees are the owner's business.
function display(page, { id, names, paired_utc_ns: paired }) {
  const since = new Date(paired / 1e6).toLocaleDateString();
  const remove = el("button", { type: "button", onclick: () => act(page, "DELETE", `/displays/${id}`) }, "Remove");
  const toggle = page.now.role === "owner" && el("button", { type: "button", onclick: () => act(page, "PUT", `/displays/${id}/names`, { names: !names }) }, names ? "Hide names" : "Show names");
  return el("li", {}, `Screen ${id.slice(0, 4)}, since ${since}, names ${names ? "shown" : "hidden"} `, toggle, remove);
}
