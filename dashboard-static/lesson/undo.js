// What was entered last with a big undo beside it, what was refused, and the list of all entries.

import { undo, undoVerb } from "./acts.js";
import { button, el } from "./dom.js";
import { newest, newestFirst, target, undoable, words } from "./ledger.js";
import { model, session, ui } from "./model.js";
import { when } from "./say.js";

const LISTED = 60;

/** The bar above the tabs. */
export function undoBar() {
  const refused = model.ui.error && el(".refused", { role: "alert" }, el("span", {}, `△ ${model.ui.error}`), button("refused:ok", "OK", () => ui({ error: null })));
  const said = model.ui.said && el(".told", { role: "status" }, el("span", {}, model.ui.said), button("said:ok", "OK", () => ui({ said: null })));
  const last = newestFirst()[0];
  // What a verb did stands until something newer is entered; it may belong to another student, or to nobody
  // who stands in the bay now.
  const { verb } = model;
  if (verb && !(last?.n > verb.newest)) {
    return [refused, said, el(".undo", {}, el("p.last", {}, verb.words), button("undo:last", "Undo", undoVerb, { kind: "strong undo-button", title: verb.words }))];
  }
  if (!session()) return [refused, said];
  const next = target();
  const back = last?.undoes != null && newest().has(last.n) && undoable(last);
  return [
    refused, said,
    el(".undo", {},
      el("p.last", {}, last ? words(last) : "Nothing entered yet", last && el("span.dim", {}, ` · ${last.who}, ${when(last.at_utc_ns)}`)),
      back && button("undo:back", "Put back", () => undo(last.n)),
      button("undo:last", next && next !== last ? ["Undo", el("span.sub", {}, words(next))] : "Undo", () => undo(next.n), { kind: "strong undo-button", disabled: !next, title: next ? words(next) : null })),
  ];
}

/** Who entered what when. */
export function log() {
  if (!session()) return null;
  const entries = newestFirst();
  const open = newest();
  const line = (entry) => el("li", {},
    el("p", {}, words(entry), el("span.dim", {}, `${entry.who}, ${when(entry.at_utc_ns)}`)),
    open.has(entry.n) && undoable(entry) && button(`log:${entry.n}`, entry.undoes === null ? "Undo" : "Put back", () => undo(entry.n), { "aria-label": `${entry.undoes === null ? "Undo" : "Put back"} ${words(entry)}` }));
  return el(".card", {}, el("h2", {}, "Entries, newest first"),
    entries.length === 0 && el("p.dim", {}, "Nothing was entered for this student."),
    el("ol.log", {}, entries.slice(0, LISTED).map(line)));
}
