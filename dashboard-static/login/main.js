// Wires the login page: a passphrase or a code, and then on to the page that was asked for.

import { byId, say } from "../page.js";
import "../theme.js";

/** Only pages of this bay. */
const PAGE = /^\/[a-z]*(\?bay=[a-z0-9-]+)?$/;
const asked = new URLSearchParams(location.search).get("to") ?? "/";
const to = PAGE.test(asked) && !asked.startsWith("/login") ? asked : "/";

const tries = [["person", "login", "passphrase"], ["display", "pair", "code"]];
for (const [id, verb, name] of tries) {
  const form = byId(id);
  form.onsubmit = (event) => {
    event.preventDefault();
    enter(form, verb, name);
  };
}

// Whoever is logged in already goes on: the cookie does not come along on the way from another site.
const known = await fetch("/api/v1/access").catch(() => null);
if (known?.ok) goOn((await known.json()).role);

async function enter(form, verb, name) {
  const [field, button, said] = ["input", "button", ".said"].map((what) => form.querySelector(what));
  button.disabled = true;
  say(said, "");
  try {
    const answer = await fetch(`/api/v1/access/${verb}`, {
      method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ [name]: field.value }),
    });
    const told = await answer.json().catch(() => null);
    if (answer.ok) return goOn(told.role);
    say(said, told?.detail ?? `the bay refused (${answer.status})`);
    field.select();
  } catch {
    say(said, "the bay does not answer");
  } finally {
    button.disabled = false;
  }
}

// A display has one page.
function goOn(role) {
  location.replace(role === "display" ? to.replace(/^\/[a-z]*/, "/") : to);
}
