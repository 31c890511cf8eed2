// A field goes into the log when it is changed, with the value that it replaces.

import { follow, isBehind, isSwapping, named, show, showAgain } from "./redraw.js";
import { main, say, send } from "./say.js";

/**
 * The value of a field as the log would have it.
 * @param {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} field
 * @returns {unknown}
 */
function logValue(field) {
  const was = JSON.parse(field.dataset.was ?? "null");
  switch (field.dataset.kind) {
    case "number": {
      const text = field.value.trim();
      return text === "" ? null : Number(text);
    }
    case "switch":
      return /** @type {HTMLInputElement} */ (field).checked ? true : null;
    case "member": {
      const rest = (was ?? []).filter((/** @type {string} */ m) => m !== field.dataset.member);
      return /** @type {HTMLInputElement} */ (field).checked ? [...rest, field.dataset.member] : rest;
    }
    default:
      return field.value === "" ? null : field.value;
  }
}

/** Changes on their way to the log, in the order in which they were made. @type {Promise<unknown>} */
let underway = Promise.resolve();
let nUnderway = 0;
/** One of them was refused: fields hold what the log does not. */
let wasRefused = false;

/** Words at length that were refused, by the place in the log that they are for: every redraw brings them back. @type {Map<string, string>} */
const refused = new Map();

/**
 * Sends the change of one field after those that were made before it.
 * @param {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} field
 */
function keep(field) {
  if (field.validity.badInput) {
    say(`${named(field)}: this is not a number; nothing was changed.`, "trouble");
    return;
  }
  const { place, key } = JSON.parse(field.dataset.edit ?? "null");
  const change = { place, key, was: JSON.parse(field.dataset.was ?? "null"), to: logValue(field) };
  // The next change of the same list builds on this one, also before the page is shown anew.
  for (const same of main().querySelectorAll("[data-edit]")) {
    if (same instanceof HTMLElement && same.dataset.edit === field.dataset.edit) {
      same.dataset.was = JSON.stringify(change.to);
    }
  }
  refused.delete(placeOf(field));
  delete field.dataset.unsaved;
  delete field.dataset.carried;
  const sent = field.value;
  nUnderway += 1;
  underway = underway.then(async () => {
    const saved = await send("/log", [change]);
    nUnderway -= 1;
    if (saved) {
      if (!wasRefused) say("Saved.");
      // What was typed since is not kept yet.
      if (field instanceof HTMLTextAreaElement || field instanceof HTMLInputElement) field.defaultValue = sent;
    } else {
      wasRefused = true;
      if (field instanceof HTMLTextAreaElement) refused.set(placeOf(field), sent);
    }
    if (nUnderway > 0) return;
    // Not waited for: a page that is slow to come must not hold up what is saved next.
    if (wasRefused) showAgain();
    else follow();
    wasRefused = false;
  });
}

/** Where in the log a field belongs. @param {HTMLElement} field */
const placeOf = (field) => field.dataset.edit ?? "";

/**
 * Puts refused words back into the fields that now hold somebody else's; both can be seen, and nothing is lost of either.
 * @param {HTMLElement} root
 */
export function mountRefused(root) {
  for (const field of root.querySelectorAll("textarea[data-edit]")) {
    if (!(field instanceof HTMLTextAreaElement)) continue;
    const words = refused.get(placeOf(field));
    if (words === undefined) continue;
    if (words === field.value) {
      // Somebody wrote the same, or it was kept after all.
      refused.delete(placeOf(field));
      continue;
    }
    const other = document.createElement("p");
    other.textContent = `Now in the log: “${field.value}”. The words in the field are yours and are not kept yet.`;
    const put = document.createElement("button");
    put.type = "button";
    put.textContent = "Put mine in their place";
    put.addEventListener("click", () => keep(field));
    const leave = document.createElement("button");
    leave.type = "button";
    leave.textContent = "Leave what is in the log";
    leave.addEventListener("click", () => {
      refused.delete(placeOf(field));
      showAgain();
    });
    field.after(other, put, " ", leave);
    field.value = words;
    field.dataset.unsaved = "";
  }
}

document.addEventListener("change", async (event) => {
  const field = event.target;
  if (
    isSwapping() ||
    !(field instanceof HTMLInputElement || field instanceof HTMLSelectElement || field instanceof HTMLTextAreaElement)
  )
    return;
  if (field.dataset.edit) {
    keep(field);
  } else if (field.form && "live" in field.form.dataset) {
    const form = field.form;
    const asked = new URLSearchParams();
    for (const [name, value] of new FormData(form)) asked.append(name, String(value));
    await show(`${new URL(form.action).pathname}?${asked}`, true);
  }
});

document.addEventListener("focusout", (event) => {
  const left = event.target;
  if (isSwapping()) return;
  if ((left instanceof HTMLInputElement || left instanceof HTMLTextAreaElement) && "carried" in left.dataset)
    keep(left);
  // The field is left after this; what it holds is sent before the page follows.
  setTimeout(() => {
    if (isBehind() && nUnderway === 0) follow();
  });
});

/** Nothing that was refused comes back: somebody left it. */
export const giveUpRefused = () => refused.clear();

/** True while a change is on its way to the log. */
export const isSaving = () => nUnderway > 0;
