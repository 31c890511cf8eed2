// What all pages share: the main part is fetched anew when something changed, a field goes into the log when it is
// changed, and what went wrong is said in one place.

import { mountCompare } from "./compare.js";
import { mountCut } from "./cut.js";
import { mountListen } from "./listen.js";
import { mountTakes, takeIn } from "./takes.js";

/** Text of the main part as it was last put in. @type {string | null} */
let shown = null;
/** Counts requests, so that only the newest is shown. */
let newest = 0;
/** Keys and buttons that are held down. @type {Set<string>} */
const held = new Set();
/** Told when none is held any more. @type {(() => void)[]} */
let waiting = [];
/** Nobody presses longer than this in milliseconds, but for a key whose end the browser does not tell. */
const LONGEST_PRESS_MS = 1000;

/** What is pressed is pressed and let go on one thing: nothing is swapped away in between. @returns {Promise<void>} */
function released() {
  if (held.size === 0) return Promise.resolve();
  return new Promise((go) => {
    waiting.push(go);
    setTimeout(go, LONGEST_PRESS_MS);
  });
}

/** @param {string} what */
function letGo(what) {
  held.delete(what);
  if (held.size > 0) return;
  // What the release itself sets off comes first.
  const all = waiting;
  waiting = [];
  setTimeout(() => {
    for (const go of all) go();
  });
}

document.addEventListener("keydown", (event) => held.add(event.code), true);
document.addEventListener("keyup", (event) => letGo(event.code), true);
document.addEventListener("pointerdown", () => held.add("pointer"), true);
for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, () => letGo("pointer"), true);
window.addEventListener("blur", () => {
  held.clear();
  letGo("");
});

/** True while the main part is taken away and the new one put in. */
let isSwapping = false;
/** The folder changed while somebody was at work here; the page follows when that is done. */
let isBehind = false;

/**
 * The main part of the page.
 * @returns {HTMLElement}
 */
export function main() {
  return /** @type {HTMLElement} */ (document.getElementById("main"));
}

/**
 * Says something in the line at the top.
 * @param {string} words
 * @param {"" | "trouble"} kind
 */
export function say(words, kind = "") {
  said = { words, kind };
  write(words, kind);
}

/** What was said last. @type {{ words: string, kind: "" | "trouble" }} */
let said = { words: "", kind: "" };

/**
 * @param {string} words
 * @param {"" | "trouble"} kind
 */
function write(words, kind) {
  const state = document.getElementById("state");
  if (!state) return;
  state.textContent = words;
  state.className = kind ? `state ${kind}` : "state";
}

/**
 * Sends something to be done; says what went wrong.
 * @param {string} address
 * @param {unknown} body
 * @returns {Promise<any>} the answer, or null where it was not done
 */
export async function send(address, body) {
  try {
    const answer = await fetch(address, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(body),
    });
    const text = await answer.text();
    const told = text.startsWith("{") ? JSON.parse(text) : { what: text };
    if (answer.ok) return told;
    say(`${told.what}. ${told.hint ?? ""}`, "trouble");
  } catch {
    say("Not saved: the program does not answer. Is it still running?", "trouble");
  }
  return null;
}

/**
 * Fetches the main part again, or that of another address, and puts it in place if it differs.
 * @param {string} address
 * @param {boolean} push make it a step in the browser's history
 */
export async function show(address, push = false) {
  const number = ++newest;
  let answer;
  try {
    answer = await fetch(address, { headers: { "x-part": "main" } });
  } catch {
    say("The program does not answer. Is it still running?", "trouble");
    return;
  }
  const text = await answer.text();
  if (number !== newest) return;
  if (!answer.ok) {
    const told = text.startsWith("{") ? JSON.parse(text) : { what: text };
    // Several lines say where in the log, with a mark under the place: they need room.
    if (told.what.includes("\n")) sayAtLength(told);
    else say(`${told.what}. ${told.hint ?? ""}`, "trouble");
    return;
  }
  await released();
  if (number !== newest) return;
  isBehind = false;
  if (document.getElementById("told")) {
    document.getElementById("told")?.remove();
    say("");
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
  isSwapping = true;
  // A choice of files that is being opened belongs to its field, and is gone with it: the field stays.
  const drop = main().querySelector("#drop");
  if (drop) made.querySelector("#drop")?.replaceWith(drop);
  main().replaceWith(made);
  isSwapping = false;
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

/**
 * Says over the main part, which stays as it was, what has several lines.
 * @param {{ what: string, hint?: string }} told
 */
function sayAtLength({ what, hint }) {
  say("The log cannot be read; see below.", "trouble");
  const words = document.createElement("pre");
  words.textContent = what;
  const whatToDo = document.createElement("p");
  whatToDo.textContent = `${hint ? `${hint}. ` : ""}The page below shows what held before; it goes on as soon as the log is mended.`;
  const place = document.createElement("div");
  place.id = "told";
  place.className = "trouble";
  place.setAttribute("role", "alert");
  place.append(words, whatToDo);
  document.getElementById("told")?.remove();
  main().before(place);
}

/** What can have the focus in the main part. */
function focusable() {
  const found = main().querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex]");
  return [...found].filter((element) => element instanceof HTMLElement);
}

/** What somebody would call it. @param {HTMLElement} element */
const named = (element) => element.getAttribute("aria-label") ?? element.textContent ?? "";

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

/** The address of what is shown. */
export function here() {
  return location.pathname + location.search;
}

/** True while somebody types into a field or has something unsaved on the page. */
function isAtWork() {
  const active = document.activeElement;
  const writes = active instanceof HTMLTextAreaElement || active instanceof HTMLInputElement;
  // A box has no text: it is sent as it is ticked.
  const typing = writes && active.type !== "checkbox" && ("edit" in active.dataset || "new" in active.dataset);
  return (typing && active.value !== active.defaultValue) || main().querySelector("[data-unsaved]") !== null;
}

/** Shows the folder as it is now, or as soon as nobody is at work here any more. */
async function follow() {
  isBehind = isAtWork();
  if (!isBehind) await show(here());
}

/** What was written out, said also when the page is drawn anew. */
let exported = "";

function tellExported() {
  const told = document.getElementById("exported");
  if (told) told.textContent = exported;
}

/** Puts life into the main part. */
function mount() {
  tellExported();
  mountTakes(main());
  mountCut(main());
  mountCompare(main());
  mountListen(main());
}

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
  shown = null;
  await show(here());
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
    isSwapping ||
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
  if (isSwapping) return;
  if ((left instanceof HTMLInputElement || left instanceof HTMLTextAreaElement) && "carried" in left.dataset)
    keep(left);
  // The field is left after this; what it holds is sent before the page follows.
  setTimeout(() => {
    if (isBehind && nUnderway === 0) follow();
  });
});

document.addEventListener("submit", (event) => {
  if (event.target instanceof HTMLFormElement && "live" in event.target.dataset) event.preventDefault();
});

document.addEventListener("click", async (event) => {
  const target = event.target instanceof Element ? event.target : null;
  const link = target?.closest("a[data-live]");
  if (link instanceof HTMLAnchorElement && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
    event.preventDefault();
    const question = "The events you set are not kept yet. Leave them?";
    if (main().querySelector("[data-unsaved]") && !confirm(question)) return;
    await show(link.pathname + link.search, true);
    return;
  }
  const button = target?.closest("button");
  if (!button) return;
  if (button.dataset.add) {
    await addNew(button.dataset.add);
  } else if (button.dataset.remove) {
    const what = button.getAttribute("aria-label") ?? "take it out of the log";
    if (!confirm(`${what}? The files stay where they are.`)) return;
    if (await send("/log", [{ place: JSON.parse(button.dataset.remove), key: null }])) say("Taken out of the log.");
    await show(here());
  } else if ("print" in button.dataset) {
    printOnly(button.closest("section"));
  } else if (button.id === "end-links") {
    if (await send("/links/end", {})) say("All links have ended.");
  } else if (button.id === "export" || button.id === "export-again") {
    const made = await send("/write-up/report", { replace: button.dataset.replace === "true" });
    if (made) exported = `Written: ${made.file}`;
    tellExported();
  }
});

document.addEventListener("keydown", async (event) => {
  const field = event.target;
  if (event.key === "Enter" && field instanceof HTMLInputElement && field.dataset.new) {
    event.preventDefault();
    await addNew(field.dataset.new);
  }
});

/**
 * A new microphone or source, by the name in its field.
 * @param {string} group
 */
async function addNew(group) {
  const field = document.getElementById(`new-${group}`);
  if (!(field instanceof HTMLInputElement)) return;
  const name = field.value;
  // Empty at once, for the next name.
  field.value = "";
  field.focus();
  const made = await send(`/${group}`, { name });
  if (!made) {
    if (field.value === "") field.value = name;
    return;
  }
  say(`${name} is in the log.`);
  await show(here());
}

/**
 * Prints one section and nothing else.
 * @param {HTMLElement | null} section
 */
function printOnly(section) {
  if (!section) return;
  document.body.classList.add("print-one");
  section.classList.add("printed");
  window.print();
  section.classList.remove("printed");
  document.body.classList.remove("print-one");
}

// A file that misses the place for it would otherwise open in the browser, in place of the page.
document.addEventListener("dragover", (event) => event.preventDefault());
document.addEventListener("drop", (event) => {
  if (event.defaultPrevented) return;
  event.preventDefault();
  const files = [...(event.dataTransfer?.files ?? [])];
  if (files.length === 0) return;
  if (document.getElementById("drop")) takeIn(files);
  else say("Recordings are taken in on the page Takes: drop them there.", "trouble");
});

window.addEventListener("popstate", () => show(here()));

const news = new EventSource("/events");
news.addEventListener("changed", () => {
  // What was sent from here shows itself.
  if (nUnderway > 0) return;
  if (isAtWork()) say("The folder was changed elsewhere; this page follows when you are done here.");
  follow();
});
// Measuring says where it stands; what was said before comes back when it is done.
news.addEventListener("progress", (event) => {
  if (event.data !== "done") write(`Measuring: ${event.data} takes.`, "");
  else write(said.words, said.kind);
});
news.addEventListener("error", () => say("Not connected: is the program still running?", "trouble"));
news.addEventListener("open", () => say(""));
window.addEventListener("pagehide", () => news.close());

mount();
