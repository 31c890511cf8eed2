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
  delete field.dataset.unsaved;
  delete field.dataset.carried;
  nUnderway += 1;
  underway = underway.then(async () => {
    const saved = await send("/log", [change]);
    nUnderway -= 1;
    if (saved) say("Saved.");
    if (nUnderway > 0) return;
    if (saved) {
      if (field instanceof HTMLTextAreaElement || field instanceof HTMLInputElement) field.defaultValue = field.value;
      // Not waited for: a page that is slow to come must not hold up what is saved next.
      follow();
    } else showWhatHolds(field);
  });
}

/**
 * After a refusal: the page shows what holds. What was written at length is not thrown away.
 * @param {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} field
 */
async function showWhatHolds(field) {
  await showAgain();
  const again = document.getElementById(field.id);
  if (field instanceof HTMLTextAreaElement && again instanceof HTMLTextAreaElement) putBack(again, field.value);
}

/**
 * Puts words back into a field that now holds somebody else's; both can be seen, and nothing is lost of either.
 * @param {HTMLTextAreaElement} field
 * @param {string} words
 */
function putBack(field, words) {
  const other = document.createElement("p");
  other.textContent = `Now in the log: “${field.value}”. The words in the field are yours and are not kept yet.`;
  const put = document.createElement("button");
  put.type = "button";
  put.textContent = "Put mine in their place";
  put.addEventListener("click", () => keep(field));
  field.after(other, put);
  field.value = words;
  field.dataset.unsaved = "";
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

/** True while a change is on its way to the log. */
export const isSaving = () => nUnderway > 0;
