// Asking the daemon. A refusal becomes an error with its own words.

import { loginIfAsked } from "../door.js";

const ROOT = new URL("api/v1/", new URL("/", location.href));

/** `GET` as JSON. */
export const get = (path) => ask("GET", path);
/** The other verbs, with a body of JSON. */
export const send = (method, path, body = {}) => ask(method, path, body);

async function ask(method, path, body) {
  const options = { method, headers: {} };
  if (body !== undefined) {
    options.headers["content-type"] = "application/json";
    options.body = JSON.stringify(body);
  }
  let answer;
  try {
    answer = await fetch(new URL(path, ROOT), options);
  } catch {
    throw new Error("the bay does not answer: nothing was entered");
  }
  loginIfAsked(answer);
  const told = await answer.json().catch(() => null);
  if (!answer.ok) throw Object.assign(new Error(told?.detail ?? `the bay refused (${answer.status})`), { code: told?.code });
  return told;
}
