// Small steps on the page that every screen takes.

/** The element with this id. */
export const byId = (id) => document.getElementById(id);

/** Writes a text once: writing the same again would make a screen reader speak again. */
export function say(node, text) {
  if (node && node.textContent !== (text || "")) node.textContent = text || "";
}

/** A new element with a class and a text. */
export function element(tag, name, text = "") {
  const made = document.createElement(tag);
  made.className = name;
  made.textContent = text;
  return made;
}
