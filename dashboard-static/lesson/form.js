// Fields and folds that keep what was typed or opened over repaints.

import { el } from "./dom.js";
import { faultOf, typed } from "../number.js";
import { model, ui } from "./model.js";

/** A labelled text field; what is typed stands in `model.ui.drafts[key]`. */
export function field(key, label, attributes = {}) {
  const input = el("input", { type: "text", "data-k": key, oninput: (e) => { model.ui.drafts[key] = e.target.value; }, ...attributes });
  input.value = model.ui.drafts[key] ?? "";
  return el("label.field", {}, el("span", {}, label), input);
}

/** Something that folds away behind a line of words. */
export function fold(key, words, kind, ...children) {
  const kept = model.ui.drafts[`fold.${key}`];
  const opened = kept ?? false;
  return el(`details${kind ? `.${kind}` : ""}`, { open: opened, ontoggle: (e) => { model.ui.drafts[`fold.${key}`] = e.target.open; } }, el("summary", { "data-k": `fold:${key}` }, words), ...children);
}

/** The numbers typed in fields, each told as key, label, least and most; or nothing, after saying what is wrong. */
export function numbers(...fields) {
  const told = fields.map(([key, label, ...range]) => {
    const text = model.ui.drafts[key] ?? "";
    return { value: typed(text), fault: faultOf(label, typed(text), text, ...range) };
  });
  const error = told.find(({ fault }) => fault)?.fault;
  if (error) ui({ error });
  return error ? null : told.map(({ value }) => value);
}
