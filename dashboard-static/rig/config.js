// The configuration in force, read only, with the path of its file. Asked for once a connection.

import { get } from "../lesson/api.js";
import { say } from "../page.js";

export async function showConfig(root) {
  const part = (name) => root.querySelector(`[data-part="${name}"]`);
  try {
    const { path, text } = await get("config");
    say(part("path"), path ?? "no file: the defaults, and what the command line says");
    say(part("text"), text);
  } catch (error) {
    say(part("path"), `■ ${error.message}`);
  }
}
