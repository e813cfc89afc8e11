// One file that shows a sheet anywhere: its elements and the style of the report, nothing from outside.

const STYLE = "shelf/report.css";

/** The file as text. */
export async function fileOf(sheet) {
  const answer = await fetch(new URL(STYLE, new URL("/", location.href)));
  if (!answer.ok) throw new Error("the style of the report cannot be loaded");
  const made = document.implementation.createHTMLDocument(document.title);
  made.documentElement.lang = "en";
  made.documentElement.dataset.theme = "light";
  const meta = (attributes) => Object.assign(made.createElement("meta"), attributes);
  const charset = made.createElement("meta");
  charset.setAttribute("charset", "utf-8");
  const style = made.createElement("style");
  style.textContent = await answer.text();
  made.head.prepend(charset, meta({ name: "viewport", content: "width=device-width, initial-scale=1" }));
  made.head.append(style);
  const main = made.createElement("main");
  main.id = "report";
  main.append(made.importNode(sheet, true));
  made.body.append(main);
  return `<!doctype html>\n${made.documentElement.outerHTML}\n`;
}

/** Saves the file on this device. */
export async function save(sheet, name) {
  const address = URL.createObjectURL(new Blob([await fileOf(sheet)], { type: "text/html" }));
  const link = Object.assign(document.createElement("a"), { href: address, download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 10_000);
}
