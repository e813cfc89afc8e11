// The way between the pages: Lesson, Shelf, Rig, and the Bay, which has nothing to tap itself. A page
// gives a `<nav>`; nav.css makes it look the same everywhere.

import { bayChoice, ofBay, onBays } from "./bays.js";
import { el } from "./element.js";

const PAGES = [["/lesson", "Lesson"], ["/shelf", "Shelf"], ["/rig", "Rig"], ["/", "Bay"]];

/** The links into `root`, a `<nav>`; the page on show is marked as such. */
export function pages(root, path = location.pathname) {
  const here = path.replace(/\.html$/, "");
  root.className = "pages";
  root.setAttribute("aria-label", "Pages");
  const link = ([href, name]) => el("a", { href: ofBay(href), "aria-current": here === href ? "page" : null }, name);
  const paint = () => root.replaceChildren(...PAGES.map(link), bayChoice() ?? "");
  onBays(paint);
  paint();
}
