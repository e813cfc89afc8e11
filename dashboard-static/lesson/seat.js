// Who is taught: choose or add a student (consent first) and a club; guest, coach shows, end of the lesson.

import { send } from "./api.js";
import { act, fetchStudents, sit, withdraw } from "./acts.js";
import { calibrationCard } from "./calibration.js";
import { button, choice, el } from "./dom.js";
import { field, fold, numbers } from "./form.js";
import { club, model, session, student, ui } from "./model.js";
import { count, sentence, value, when } from "./say.js";

const CLUBS = ["driver", "5-wood", "7-iron"];
/** Who turns this age within the year still counts as a minor. */
const OF_AGE = 18;

export function seatPanel() {
  const asked = model.ui.ask;
  if (asked?.what === "consent") return consentBox(asked.student);
  if (asked?.what === "add") return addStudent();
  if (asked?.what === "other" || !student()) return pick();
  return [taught(), clubs(), calibrationCard()];
}

function taught() {
  const mine = onFile(student().id);
  return el(".card.taught", {},
    el("h2", {}, student().name),
    el("p.dim", {}, [`born ${student().born}`, mine?.minor && "minor", mine && count(mine.lessons, "lesson"), `this one since ${when(model.lesson.seat.since_utc_ns)}`].filter(Boolean).join(" · ")),
    consentLine(mine),
    el(".row", {},
      button("seat:other", "Another student", () => ui({ ask: { what: "other" } })),
      ending()));
}

// Ending stands apart from the rest, and the undo button takes it back.
const ending = () => button("seat:end", "End lesson", async () => {
  if (await sit({ mode: "nobody" }, `The lesson of ${student().name} ended`)) ui({ ask: null });
  fetchStudents();
});

const SCOPES = ["lesson", "research", "publication"];
const valid = (s, scope) => s.consents.find((c) => c.scope === scope && !c.withdrawn_utc_ns) ?? null;
const consented = (s) => Boolean(valid(s, "lesson"));

// Each consent with its day, who gave it and the way out of it; below, those that can be given.
function consentLine(mine) {
  if (!mine) return null;
  const more = SCOPES.filter((scope) => !valid(mine, scope));
  const line = (c) => el("li", {},
    el("p", {}, el("b", {}, c.scope), [` since ${when(c.given_utc_ns)}`, c.guardian && `by ${c.guardian}`, c.withdrawn_utc_ns && `withdrawn ${when(c.withdrawn_utc_ns)}`].filter(Boolean).join(" · ")),
    !c.withdrawn_utc_ns && asksWithdrawal(c.scope) && withdrawal(mine, c.scope),
    !c.withdrawn_utc_ns && !asksWithdrawal(c.scope) && button(`withdraw:${c.scope}`, "Withdraw …", () => ui({ ask: { what: "withdraw", scope: c.scope } }), { "aria-label": `Withdraw the consent to ${c.scope}` }));
  const stands = SCOPES.filter((scope) => valid(mine, scope));
  return [
    el("p", {}, stands.length ? `Consent on file: ${stands.join(", ")}` : "No consent stands."),
    fold("consent", "Consents, one by one", "consents",
      el("ul", {}, mine.consents.map(line)),
      more.length > 0 && mine.minor && guardianField(),
      more.length > 0 && el(".row", {}, more.map((scope) => button(`consent:${scope}`, `Put ${scope} on file`, () => putConsent(mine, scope))))),
  ];
}

const asksWithdrawal = (scope) => model.ui.ask?.what === "withdraw" && model.ui.ask.scope === scope;

const MEANS = {
  lesson: "From the next shot on nothing is recorded, and this lesson ends. Swings on file stay until they are erased at the computer of the bay, and leave it in no export.",
  research: "From now on these swings leave the archive in no export for research. What was exported before cannot be called back from here.",
  publication: "From now on these swings leave the archive in no export for publication. What was published before cannot be called back from here.",
};

// It cannot be undone from the screen, only given anew by whom it concerns: so it is asked twice.
const withdrawal = (mine, scope) => el(".row.sub", { role: "group", "aria-label": `Withdraw the consent to ${scope}` },
  el("p", {}, `${MEANS[scope] ?? ""} A consent that was withdrawn is given anew by whom it concerns.`),
  button(`withdraw:${scope}:now`, `Withdraw the consent to ${scope}`, async () => {
    if (await withdraw(mine.id, scope)) ui({ ask: null, said: `${mine.name}: the consent to ${scope} is withdrawn.` });
    fetchStudents();
  }, { kind: "alarm" }),
  button(`withdraw:${scope}:no`, "It stays", () => ui({ ask: null })));

function clubs() {
  const mine = onFile(student().id)?.clubs ?? (club() ? [club()] : []);
  const choose = (c) => sit({ mode: "student", student: student().id, club: c.id }, `Club in hand: ${c.name}`);
  const other = model.lesson.club_length;
  return el(".card.clubs", {},
    el("h2", {}, "Club"),
    !club() && el("p.hint", {}, "Choose a club: bands and focus belong to one."),
    other && el("p.loud", {}, `△ ${sentence(other.words)}`),
    el(".choice.wrap", { role: "group", "aria-label": "Club in hand" },
      mine.map((c) => button(`club:${c.id}`, [c.name, c.length_m && el("span.sub", {}, value("length", c.length_m, "m"))], () => choose(c), { "aria-pressed": String(c.id === club()?.id) }))),
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
  const sizes = numbers(["club.length", "Length, m", 0.5, 1.3], ["club.loft", "Loft, °", 0, 70]);
  if (!sizes) return;
  const told = { name: draft("club.name").trim(), length_m: sizes[0], loft_deg: sizes[1] };
  const added = await act(() => send("POST", `students/${student().id}/clubs`, told));
  if (!added) return;
  drop("club.");
  await fetchStudents();
  sit({ mode: "student", student: student().id, club: added.id }, `Club in hand: ${added.name}`);
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

const UNKEPT = "measured, not kept";
// While somebody else swings the student's lesson waits, and goes on in the same block.
const unkept = () => (student() || model.lesson?.waiting ? "not kept, the lesson waits" : UNKEPT);

const find = (event) => {
  model.ui.drafts.find = event.target.value;
  ui({});
};

async function other(mode) {
  if (await sit({ mode }, { guest: "A guest swings", coach: "The coach shows something" }[mode] ?? "Nobody in the bay")) ui({ ask: null });
}

/** Seats a student, or says first that nothing will be recorded. */
async function seat(s) {
  if (!consented(s)) return ui({ ask: { what: "consent", student: s.id } });
  if (await sit({ mode: "student", student: s.id, club: s.clubs.length === 1 ? s.clubs[0].id : null }, `${s.name} in the bay`)) ui({ ask: null, tab: "student" });
}

function consentBox(id) {
  const s = onFile(id);
  if (!s) return null;
  return el(".card.consent", {},
    el("h2", {}, s.name),
    el("p.loud", {}, "△ Nothing will be recorded: there is no consent to lessons on file."),
    el("p", {}, "With the consent, movements and lessons are measured and kept in this archive, for this student's lessons only. It can be withdrawn here at any time; what was kept is erased at the computer of the bay when asked for."),
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
  const sizes = numbers(["born", "Year of birth", 1900, new Date().getFullYear()], ["height", "Height, m", 0.8, 2.5], ["mass", "Mass, kg", 15, 300]);
  if (!sizes) return;
  const [born, height_m, mass_kg] = sizes;
  const told = {
    name: draft("name").trim(), born: born ?? 0, side: d.side ?? null, sex: d.sex ?? null,
    height_m, mass_kg, consents: d.consent === "yes" ? ["lesson"] : [], guardian: draft("guardian").trim() || null,
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
