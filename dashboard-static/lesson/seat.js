// Who is taught: choose or add a student (consent first) and a club; guest, coach shows, end of the lesson.

import { send } from "./api.js";
import { act, fetchStudents, sit } from "./acts.js";
import { button, choice, el } from "./dom.js";
import { field, fold } from "./form.js";
import { club, model, session, student, ui } from "./model.js";
import { count, when } from "./say.js";

const CLUBS = ["driver", "5-wood", "7-iron"];
/** Who turns this age within the year still counts as a minor. */
const OF_AGE = 18;

export function seatPanel() {
  const asked = model.ui.ask;
  if (asked?.what === "consent") return consentBox(asked.student);
  if (asked?.what === "add") return addStudent();
  if (asked?.what === "other" || !student()) return pick();
  return [taught(), clubs()];
}

function taught() {
  const mine = onFile(student().id);
  return el(".card.taught", {},
    el("h2", {}, student().name),
    el("p.dim", {}, [`born ${student().born}`, mine?.minor && "minor", mine && count(mine.lessons, "lesson"), `this one since ${when(model.lesson.seat.since_utc_ns)}`].filter(Boolean).join(" · ")),
    consentLine(mine),
    el(".row", {},
      button("seat:other", "Another student", () => ui({ ask: { what: "other" } })),
      ...ending()));
}

// Ending cannot be undone, so it takes two taps in two places.
function ending() {
  if (model.ui.ask?.what !== "end") return [button("seat:end", "End lesson", () => ui({ ask: { what: "end" } }))];
  return [
    button("seat:stay", "Go on", () => ui({ ask: null })),
    button("seat:end-now", "End now: nobody in the bay", async () => {
      if (await sit({ mode: "nobody" })) ui({ ask: null });
      fetchStudents();
    }, { kind: "strong" }),
  ];
}

function consentLine(mine) {
  if (!mine) return null;
  const scopes = [...new Set(mine.consents.map((c) => c.scope))];
  const by = mine.consents.find((c) => c.guardian)?.guardian;
  const more = ["research", "publication"].filter((s) => !scopes.includes(s));
  return [
    el("p", {}, `Consent on file: ${scopes.join(", ")}${by ? `, by ${by}` : ""}`),
    more.length > 0 && fold("consent", "Another consent", "",
      mine.minor && guardianField(),
      el(".row", {}, more.map((scope) => button(`consent:${scope}`, `Put ${scope} on file`, () => putConsent(mine, scope))))),
  ];
}

function clubs() {
  const mine = onFile(student().id)?.clubs ?? (club() ? [club()] : []);
  const choose = (id) => sit({ mode: "student", student: student().id, club: id });
  return el(".card.clubs", {},
    el("h2", {}, "Club"),
    !club() && el("p.hint", {}, "Choose a club: bands and focus belong to one."),
    el(".choice.wrap", { role: "group", "aria-label": "Club in hand" },
      mine.map((c) => button(`club:${c.id}`, c.name, () => choose(c.id), { "aria-pressed": String(c.id === club()?.id) }))),
    fold("club", "Add a club", "",
      el("form.row", { onsubmit: addClub },
        field("club.name", "Name", { list: "club-names", required: true }),
        el("datalist", { id: "club-names" }, CLUBS.map((name) => el("option", { value: name }))),
        field("club.length", "Length, m", { inputmode: "decimal" }),
        field("club.loft", "Loft, °", { inputmode: "decimal" }),
        el("button.strong", { type: "submit", "data-k": "club:add" }, "Add club"))));
}

async function addClub(event) {
  event.preventDefault();
  const told = { name: draft("club.name").trim(), length_m: number("club.length"), loft_deg: number("club.loft") };
  const added = await act(() => send("POST", `students/${student().id}/clubs`, told));
  if (!added) return;
  drop("club.");
  await fetchStudents();
  sit({ mode: "student", student: student().id, club: added.id });
}

function pick() {
  const wanted = draft("find").trim().toLowerCase();
  const all = (model.students ?? []).filter((s) => s.name.toLowerCase().includes(wanted));
  const one = (s) => button(`student:${s.id}`, [
    el("b", {}, s.name),
    el("span.sub", {}, [s.side && `${s.side}-handed`, s.minor && "minor", count(s.lessons, "lesson"), consented(s) ? null : "△ no consent on file"].filter(Boolean).join(" · ")),
  ], () => seat(s), { kind: "pick" });
  return el(".card.students", {},
    el("h2", {}, "Who is taught?"),
    model.students === null && el("p.dim", {}, "asking for the students on file"),
    (model.students?.length ?? 0) > 6 && field("find", "Find by name", { "data-live": true, oninput: (e) => find(e) }),
    el(".picks", {}, all.map(one)),
    el(".row", {},
      button("seat:add", "Add a student", () => ui({ ask: { what: "add" } }), { kind: "strong" }),
      button("seat:guest", [el("b", {}, "Guest"), el("span.sub", {}, unkept())], () => other("guest"), { "aria-pressed": String(model.lesson?.seat?.mode === "guest") }),
      button("seat:coach", [el("b", {}, "Coach shows"), el("span.sub", {}, unkept())], () => other("coach"), { "aria-pressed": String(model.lesson?.seat?.mode === "coach") }),
      model.lesson?.seat && !student() && button("seat:nobody", "Nobody", () => other("nobody")),
      student() && button("seat:back", `Back to ${student().name}`, () => ui({ ask: null }))));
}

// Whoever else takes the bay ends the lesson that runs; the student's next seat begins a new one.
const unkept = () => (student() ? "not kept, ends this lesson" : "measured, not kept");

const find = (event) => {
  model.ui.drafts.find = event.target.value;
  ui({});
};

async function other(mode) {
  if (await sit({ mode })) ui({ ask: null });
}

const consented = (s) => s.consents.some((c) => c.scope === "lesson");

/** Seats a student, or says first that nothing will be recorded. */
async function seat(s) {
  if (!consented(s)) return ui({ ask: { what: "consent", student: s.id } });
  if (await sit({ mode: "student", student: s.id, club: s.clubs.length === 1 ? s.clubs[0].id : null })) ui({ ask: null, tab: "student" });
}

function consentBox(id) {
  const s = onFile(id);
  if (!s) return null;
  return el(".card.consent", {},
    el("h2", {}, s.name),
    el("p.loud", {}, "△ Nothing will be recorded: there is no consent to lessons on file."),
    el("p", {}, "With the consent, movements and lessons are measured and kept in this archive, for this student's lessons only. It can be withdrawn and everything erased at any time."),
    s.minor && guardianField(),
    el(".row", {},
      button("consent:lesson", "Put the consent on file", async () => {
        if (await putConsent(s, "lesson")) seat(onFile(id));
      }, { kind: "strong" }),
      button("consent:guest", "Go on as a guest, not kept", () => other("guest")),
      button("consent:back", "Back", () => ui({ ask: { what: "other" } }))));
}

async function putConsent(s, scope) {
  const guardian = draft("guardian").trim() || null;
  const done = await act(() => send("POST", `students/${s.id}/consents`, { scope, guardian }));
  if (done) drop("guardian");
  await fetchStudents();
  return done;
}

function addStudent() {
  const d = model.ui.drafts;
  const minor = new Date().getFullYear() - Number(draft("born")) <= OF_AGE && draft("born").length === 4;
  const pressed = (key, label, options) => choice(key, label, options, d[key] ?? null, (v) => {
    d[key] = v;
    ui({});
  });
  return el(".card.add", {},
    el("h2", {}, "Add a student"),
    el("form", { onsubmit: enroll },
      el(".row", {},
        field("name", "Name", { required: true, autocomplete: "off" }),
        field("born", "Year of birth", { required: true, inputmode: "numeric", maxlength: 4, "data-live": true, oninput: (e) => { d.born = e.target.value; ui({}); } })),
      el(".row", {}, el("span.lead-in", {}, "Plays"), pressed("side", "Plays", [["right", "right-handed"], ["left", "left-handed"]])),
      el(".consent", {},
        el("h3", {}, "Consent first"),
        pressed("consent", "Consent to lessons", [["yes", "Consents to being measured and kept"], ["no", "No consent yet"]]),
        d.consent !== "yes" && el("p.loud", {}, "△ Nothing will be recorded without it."),
        minor && el("p", {}, "A minor: a guardian consents."),
        minor && guardianField()),
      fold("sizes", "Height, mass, sex (for segment masses)", "",
        el(".row", {}, field("height", "Height, m", { inputmode: "decimal" }), field("mass", "Mass, kg", { inputmode: "decimal" }),
          pressed("sex", "Sex", [["female", "female"], ["male", "male"]]))),
      el(".row", {},
        el("button.strong", { type: "submit", "data-k": "add:done" }, "Add student"),
        button("add:back", "Back", () => ui({ ask: student() ? { what: "other" } : null })))));
}

async function enroll(event) {
  event.preventDefault();
  const d = model.ui.drafts;
  const told = {
    name: draft("name").trim(), born: Number(draft("born")) || 0, side: d.side ?? null, sex: d.sex ?? null,
    height_m: number("height"), mass_kg: number("mass"), consents: d.consent === "yes" ? ["lesson"] : [], guardian: draft("guardian").trim() || null,
  };
  const added = await act(() => send("POST", "students", told));
  if (!added) return;
  for (const key of ["name", "born", "side", "sex", "height", "mass", "consent", "guardian"]) delete d[key];
  await fetchStudents();
  seat(onFile(added.id) ?? added);
}

const guardianField = () => field("guardian", "Guardian's name", { autocomplete: "off" });
const onFile = (id) => model.students?.find((s) => s.id === id) ?? null;
const draft = (key) => model.ui.drafts[key] ?? "";
const drop = (begins) => Object.keys(model.ui.drafts).filter((k) => k.startsWith(begins)).forEach((k) => delete model.ui.drafts[k]);

function number(key) {
  const text = draft(key).trim().replace(",", ".");
  return text === "" ? null : Number(text);
}
