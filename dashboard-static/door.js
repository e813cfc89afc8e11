// Where the bay asks for a login: from any page to the login page and back.

// Of the address only the bay: the rest of it may tell of students.
function bayOnly() {
  const bay = new URLSearchParams(location.search).get("bay");
  return bay && /^[a-z0-9-]+$/.test(bay) ? `?bay=${bay}` : "";
}

/** Goes to the login page when an answer says that nobody is logged in. */
export function loginIfAsked(answer) {
  if (answer.status === 401) location.replace(`/login?to=${encodeURIComponent(location.pathname + bayOnly())}`);
}

/** Asks whether somebody is logged in: a socket that does not open cannot tell why. */
export async function knock() {
  const answer = await fetch("/api/v1/access").catch(() => null);
  if (answer) loginIfAsked(answer);
}
