// The strip at the top: who is taught with which club, what the bay does, whether anything is kept.

import { bayChoice, ofBay } from "../bays.js";
import { chooseUnits, units } from "../units.js";
import { STATES } from "../words.js";
import { button, el } from "./dom.js";
import { club, model, student, ui } from "./model.js";

const SIDES = { right: "right-handed", left: "left-handed" };

export function topStrip() {
  return [
    el(".who", {}, button("top:who", [el("b.name", {}, who()), el("span.sub", {}, under())], () => ui({ tab: "student" }), { kind: "quiet" })),
    el(".bay", {},
      el("p.state", { role: "status", "data-state": state() }, model.problem ?? STATES[state()] ?? state()),
      el("p.recording", { "data-kept": String(Boolean(model.lesson?.seat?.session)), "data-linked": String(model.linked) }, recording())),
    el("nav.links", { "aria-label": "Screens" },
      [["/", "Bay"], ["/shelf", "Shelf"], ["/rig", "Rig"]].map(([href, words]) => el("a", { href: ofBay(href), "data-k": `top:${href}` }, words)),
      bayChoice(),
      button("top:units", units() === "metric" ? "cm, m/s" : "in, mph", () => chooseUnits(units() === "metric" ? "imperial" : "metric"), { kind: "quiet", title: "change units" })),
  ];
}

const state = () => (model.linked ? model.bayState : "no_signal");

function who() {
  const mode = model.lesson?.seat?.mode;
  if (student()) return student().name;
  return { guest: "Guest", coach: "Coach shows" }[mode] ?? "Nobody chosen";
}

function under() {
  const waits = model.lesson?.waiting?.student;
  if (waits) return `the lesson of ${waits.name} waits`;
  if (!student()) return model.bayName || "Lesson";
  return [SIDES[student().side] ?? "side found by itself", club()?.name ?? "no club chosen"].join(" · ");
}

function recording() {
  if (!model.linked) return model.bay ? "connection lost: trying again" : "connecting";
  const kept = model.lesson?.seat?.session;
  const words = model.lesson?.recording ?? "this bay keeps nothing: it has no archive";
  return `${kept ? "●" : "○"} ${words}`;
}
