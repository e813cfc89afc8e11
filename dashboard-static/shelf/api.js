// Asking the archive. A refusal becomes an error with its own words.

import { loginIfAsked } from "../door.js";

const ROOT = new URL("/api/v1/", location.href);

/**
 * `GET` as JSON.
 * @param {string} path below `/api/v1/`
 * @param {object} [query] what is empty is left out
 */
export async function get(path, query = {}) {
  const address = new URL(path, ROOT);
  for (const [name, value] of Object.entries(query)) {
    if (value !== "" && value != null) address.searchParams.set(name, value);
  }
  const answer = await fetch(address).catch(() => {
    throw new Error("the bay does not answer");
  });
  loginIfAsked(answer);
  const told = await answer.json().catch(() => null);
  if (!answer.ok) throw Object.assign(new Error(told?.detail ?? `the bay refused (${answer.status})`), { code: told?.code });
  return told;
}

/** A part of a path. */
export const part = (id) => encodeURIComponent(id);
