// The main part is fetched anew when something changed, and what is being typed, pressed or chosen stays.

import { released } from "./press.js";
import { here, main, say, sayAtLength } from "./say.js";

/** Text of the main part as it was last put in. @type {string | null} */
let shown = null;
/** Puts life into a main part that was put in. */
let mount = () => {};

/**
 * Has every main part that is put in from now on brought to life, and the one that is there.
 * @param {() => void} bring
 */
export function mountEach(bring) {
  mount = bring;
  mount();
}

/** Counts requests, so that only the newest is shown. */
let newest = 0;
/** True while the main part is taken away and the new one put in. */
let swapping = false;
/** The folder changed while somebody was at work here; the page follows when that is done. */
let behind = false;

/** Where the style shows a picture for narrow screens. */
export const narrow = matchMedia("(max-width: 640px)");

/**
 * The address to ask at: the page itself holds a picture for either width, a script asks for the one that is seen.
 * @param {string} address
 */
function withPicture(address) {
  const at = new URL(address, location.href);
  if (at.pathname === "/compare" || at.pathname === "/figure")
    at.searchParams.set("picture", narrow.matches ? "narrow" : "wide");
  return at.pathname + at.search;
}

/**
 * What the program answers, said aloud where that is no page; `null`: there is nothing to be shown.
 * @param {string} address
 */
async function answerOf(address) {
  const number = ++newest;
  let answer;
  try {
    answer = await fetch(withPicture(address), { headers: { "x-part": "main" } });
  } catch {
    say("The program does not answer. Is it still running?", "trouble");
    return null;
  }
  const text = await answer.text();
  if (number !== newest) return null;
  if (!answer.ok) {
    const told = text.startsWith("{") ? JSON.parse(text) : { what: text };
    // Several lines say where in the log, with a mark under the place: they need room.
    if (told.what.includes("\n")) sayAtLength(told);
    else say(`${told.what}. ${told.hint ?? ""}`, "trouble");
    return null;
  }
  await released();
  if (number !== newest) return null;
  if (document.getElementById("told")) {
    document.getElementById("told")?.remove();
    say("");
  }
  return text;
}

/**
 * Fetches one part of the page again and puts it in place of the one that is there.
 * @param {string} from address of the part
 * @param {string} address what the page is then
 * @param {string} id of the part
 * @param {(part: HTMLElement) => void} bring puts life into it
 */
export async function showPart(from, address, id, bring) {
  const text = await answerOf(from);
  const old = document.getElementById(id);
  if (text === null || !old) return;
  history.replaceState(null, "", address);
  // The main part is no more what was put in last.
  shown = null;
  const made = document.createRange().createContextualFragment(text).firstElementChild;
  if (!(made instanceof HTMLElement)) return;
  const focused = focus();
  old.replaceWith(made);
  bring(made);
  refocus(focused);
}

/**
 * Fetches the main part again, or that of another address, and puts it in place if it differs.
 * @param {string} address
 * @param {boolean} push make it a step in the browser's history
 */
export async function show(address, push = false) {
  const wasBehind = behind;
  // What changes from here on may not be in the answer.
  behind = false;
  const text = await answerOf(address);
  if (text === null) {
    behind ||= wasBehind;
    return;
  }
  if (push) history.pushState(null, "", address);
  else history.replaceState(null, "", address);
  if (text === shown) return;
  shown = text;
  const focused = focus();
  const written = unsent();
  const open = new Set([...main().querySelectorAll("details[open] > summary")].map((s) => s.textContent));
  const made = document.createRange().createContextualFragment(text).firstElementChild;
  if (!made) return;
  // A browser says of a field that is taken away in the middle of typing that it was changed: it is not, its letters go on
  // in the new one.
  swapping = true;
  // A choice of files that is being opened belongs to its field, and is gone with it: the field stays.
  const drop = main().querySelector("#drop");
  if (drop) made.querySelector("#drop")?.replaceWith(drop);
  put(/** @type {HTMLElement} */ (made));
  retitle();
  swapping = false;
  for (const summary of main().querySelectorAll("details > summary")) {
    if (open.has(summary.textContent)) /** @type {HTMLDetailsElement} */ (summary.parentElement).open = true;
  }
  mount();
  for (const [id, words] of written) {
    const field = document.getElementById(id);
    if (!(field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement)) continue;
    field.value = words;
    // The browser takes this for what was there; when the field is left, it is kept by hand.
    if (field.dataset.edit) field.dataset.carried = "";
  }
  refocus(focused);
}

/**
 * Puts a new main part in place of the one that is there. Tables come by their digest: those that are there stay, at least until
 * others are here, and are not even moved, since a browser would lay out anew what is moved.
 * @param {HTMLElement} made
 */
function put(made) {
  const old = main();
  const tables = old.querySelector(":scope > #evidence");
  const later = made.querySelector(":scope > #evidence[data-later]");
  if (!(tables instanceof HTMLElement && later instanceof HTMLElement)) {
    old.replaceWith(made);
    return;
  }
  if (tables.dataset.digest !== later.dataset.digest) tables.dataset.later = later.dataset.digest;
  else {
    delete tables.dataset.later;
    tables.ariaBusy = null;
  }
  old.dataset.title = made.dataset.title;
  for (const child of [...old.childNodes]) if (child !== tables) child.remove();
  let isBefore = true;
  for (const child of [...made.childNodes]) {
    if (child === later) isBefore = false;
    else if (isBefore) tables.before(child);
    else old.append(child);
  }
}

/** The title may have been changed, here or elsewhere. */
function retitle() {
  const title = main().dataset.title ?? "";
  document.title = `${document.title.split(" · ")[0]} · ${title}`;
  const head = document.querySelector(".shootout");
  if (!(head instanceof HTMLElement)) return;
  head.textContent = title;
  head.title = title;
}

/** What is written in fields and was not sent yet: a redraw in the middle of typing loses no letter. */
function unsent() {
  /** @type {Map<string, string>} */
  const out = new Map();
  for (const field of main().querySelectorAll("input[data-new], input[data-edit], textarea[data-edit]")) {
    if (!(field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement)) continue;
    const isTyped = field.type !== "checkbox" && field.value !== field.defaultValue;
    if (isTyped && (field.dataset.new || field === document.activeElement)) out.set(field.id, field.value);
  }
  return out;
}

/** What can have the focus in the main part. */
function focusable() {
  const found = main().querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex]");
  return [...found].filter((element) => element instanceof HTMLElement);
}

/** What somebody would call it. @param {HTMLElement} element */
export const named = (element) => element.getAttribute("aria-label") ?? element.textContent ?? "";

/** Where the focus is, so that it can be put there again when the main part is another. */
function focus() {
  const active = document.activeElement;
  if (!(active instanceof HTMLElement) || !main().contains(active)) return null;
  const writes = active instanceof HTMLInputElement || active instanceof HTMLTextAreaElement;
  const caret = writes && active.selectionStart !== null ? [active.selectionStart, active.selectionEnd] : null;
  return { id: active.id, name: named(active), place: focusable().indexOf(active), caret };
}

/**
 * Puts the caret back, so that what is typed goes on where it was: a redraw must not turn 200 into 002.
 * @param {Element | null | undefined} field
 * @param {(number | null)[] | null} caret
 */
function putCaret(field, caret) {
  if (field instanceof HTMLTextAreaElement || (field instanceof HTMLInputElement && field.selectionStart !== null)) {
    if (caret) field.setSelectionRange(caret[0], caret[1]);
  } else if (field instanceof HTMLInputElement && field.type === "number") {
    // A number does not tell its caret: untouched, all of it is chosen, as after Tab; else typing goes on at its end.
    if (field.value === field.defaultValue) field.select();
    else {
      const words = field.value;
      field.value = "";
      field.value = words;
    }
  }
}

/**
 * Puts the focus where it was: on what has the same id, or else the same name and is nearest to the same place.
 * @param {ReturnType<typeof focus>} was
 */
function refocus(was) {
  if (!was) return;
  const all = focusable();
  const far = (/** @type {HTMLElement} */ element) => Math.abs(all.indexOf(element) - was.place);
  const alike = all.filter((element) => !element.id && named(element) === was.name).sort((a, b) => far(a) - far(b));
  const target = document.getElementById(was.id) ?? alike[0];
  // A button that can be pressed no more hands it on to what it belongs to.
  const able = target?.matches(":disabled") ? target.closest("[tabindex]") : target;
  // Where what had it is gone, the work itself is the next best place.
  (able instanceof HTMLElement ? able : main()).focus({ preventScroll: true });
  putCaret(able, was.caret);
}

/** True while somebody types into a field or has something unsaved on the page. */
export function isAtWork() {
  const active = document.activeElement;
  const writes = active instanceof HTMLTextAreaElement || active instanceof HTMLInputElement;
  // A box has no text: it is sent as it is ticked.
  const typing = writes && active.type !== "checkbox" && ("edit" in active.dataset || "new" in active.dataset);
  return (typing && active.value !== active.defaultValue) || main().querySelector("[data-unsaved]") !== null;
}

/** Shows the folder as it is now, or as soon as nobody is at work here any more. */
export async function follow() {
  // Until it is seen that nothing is missed: where the program does not answer, the next step out of a field asks again.
  behind = true;
  if (!isAtWork()) await show(here());
}

/** True while a field that is taken away may say that it was changed. */
export const isSwapping = () => swapping;

/** True where the folder changed and the page did not follow yet. */
export const isBehind = () => behind;

/** Shows what holds, also where that is what was shown last: fields hold something else. */
export async function showAgain() {
  shown = null;
  await show(here());
}
