// Everything in one folder: what is chosen, how large the moving picture would be, how far it has come.

import { show } from "./redraw.js";
import { here, say, send, write } from "./say.js";

/** What is chosen, by the id of its field: a page that is drawn anew shows it again. @type {Map<string, string | boolean>} */
const chosen = new Map();
/** What is said under the button, and the remarks of the last write-up. */
let [writing, remarks] = ["", /** @type {string[]} */ ([])];
/** Lines on the moving picture. @type {string[]} */
let lines = [];
let isWriting = false;
/** Fields on which length and size of the moving picture depend. */
const SIZED_BY = ["moving", "moving_size", "frame_rate", "pieces", "gap_s", "moments"];
/** Counts questions for sizes, so that only the newest answer is shown. */
let newest = 0;

/** @returns {HTMLFormElement | null} */
function form() {
  const found = document.getElementById("write-up");
  return found instanceof HTMLFormElement ? found : null;
}

/** @param {string} id @param {string[]} words */
function list(id, words) {
  document.getElementById(id)?.replaceChildren(
    ...words.map((line) => {
      const item = document.createElement("li");
      item.textContent = line;
      return item;
    }),
  );
}

function tell() {
  const said = document.getElementById("writing");
  if (said) said.textContent = writing;
  list("remarks", remarks);
  list("moving-lines", lines);
  const button = document.getElementById("write-everything");
  if (button instanceof HTMLButtonElement) button.disabled = isWriting;
}

/** What is asked for, as the program reads it. @param {HTMLFormElement} of */
function asked(of) {
  const data = new FormData(of);
  const text = (/** @type {string} */ name) => String(data.get(name) ?? "");
  return {
    sizes: data.getAll("sizes").map(String),
    colours: text("colours"),
    transparent: data.has("transparent"),
    decade: text("decade"),
    pieces: text("pieces"),
    gap_s: Number(text("gap_s")),
    moments: Number(text("moments")),
    blind: data.has("blind"),
    moving: text("moving") || null,
    moving_size: text("moving_size"),
    frame_rate: Number(text("frame_rate")),
    licence: text("licence"),
  };
}

/** Says how long and large the moving pictures would be, before anything is made. @param {HTMLFormElement} of */
async function askSizes(of) {
  const number = ++newest;
  const wanted = asked(of);
  // A number that is being typed may be none yet.
  const can = wanted.moving && of.checkValidity();
  lines = can ? ["…"] : [];
  tell();
  if (!can) return;
  const told = await send("/write-up/sizes", wanted);
  if (number !== newest) return;
  lines = told ? told.lines : [];
  tell();
}

/** @param {HTMLFormElement} of */
async function writeAll(of) {
  const wanted = asked(of);
  if (wanted.sizes.length === 0) {
    say("Choose at least one size for the pictures.", "trouble");
    return;
  }
  [isWriting, writing, remarks] = [true, "Writing …", []];
  tell();
  const made = await send("/write-up/everything", wanted);
  isWriting = false;
  writing = made ? `Written: ${made.n_files} files in ${made.folder}` : "";
  remarks = made ? made.remarks : [];
  if (made) say(writing);
  await show(here());
  tell();
}

/** Told by the program while it writes. @param {string} words */
export function tellWriting(words) {
  if (words === "done") return;
  if (isWriting) {
    writing = `Writing ${words}`;
    tell();
  } else if (form()) write(`Writing ${words}`, "");
}

/** @param {HTMLElement} inside */
export function mountWriteUp(inside) {
  const of = form();
  if (!of || !inside.contains(of)) return;
  for (const field of of.elements) {
    const was = chosen.get(field.id);
    if (field instanceof HTMLInputElement && field.type === "checkbox" && typeof was === "boolean") field.checked = was;
    else if ((field instanceof HTMLInputElement || field instanceof HTMLSelectElement) && typeof was === "string")
      field.value = was;
  }
  tell();
  of.addEventListener("input", (event) => {
    const field = event.target;
    if (field instanceof HTMLInputElement && field.type === "checkbox") chosen.set(field.id, field.checked);
    else if (field instanceof HTMLInputElement || field instanceof HTMLSelectElement) chosen.set(field.id, field.value);
    if (field instanceof HTMLElement && SIZED_BY.includes(field.id)) askSizes(of);
  });
  of.addEventListener("submit", (event) => {
    event.preventDefault();
    if (!isWriting) writeAll(of);
  });
}
