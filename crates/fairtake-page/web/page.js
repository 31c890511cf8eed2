// @ts-check
// What all pages share: the main part is fetched anew when something changed, a field goes into the log when it is
// changed, and what went wrong is said in one place.

import { mountCut } from "./cut.js";
import { mountTakes } from "./takes.js";
import { mountCompare } from "./compare.js";
import { mountListen } from "./listen.js";

/** Text of the main part as it was last put in. @type {string | null} */
let shown = null;
/** Counts requests, so that only the newest is shown. */
let newest = 0;

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
    say(`${told.what}. ${told.hint ?? ""}`, "trouble");
    return;
  }
  if (push) history.pushState(null, "", address);
  else history.replaceState(null, "", address);
  if (text === shown) return;
  shown = text;
  const focused = document.activeElement?.id;
  const open = new Set([...main().querySelectorAll("details[open] > summary")].map((s) => s.textContent));
  const made = document.createRange().createContextualFragment(text).firstElementChild;
  if (!made) return;
  main().replaceWith(made);
  for (const summary of main().querySelectorAll("details > summary")) {
    if (open.has(summary.textContent)) /** @type {HTMLDetailsElement} */ (summary.parentElement).open = true;
  }
  mount();
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
}

/** The address of what is shown. */
export function here() {
  return location.pathname + location.search;
}

/** True while somebody types into a field or has something unsaved on the page. */
function isAtWork() {
  const active = document.activeElement;
  const typing = active instanceof HTMLInputElement || active instanceof HTMLTextAreaElement;
  const unsaved = typing && "edit" in active.dataset && active.value !== active.defaultValue;
  return unsaved || main().querySelector("[data-unsaved]") !== null;
}

/** Puts life into the main part. */
function mount() {
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
function valueOf(field) {
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

document.addEventListener("change", async (event) => {
  const field = event.target;
  if (
    !(field instanceof HTMLInputElement || field instanceof HTMLSelectElement || field instanceof HTMLTextAreaElement)
  )
    return;
  if (field.dataset.edit) {
    const { place, key } = JSON.parse(field.dataset.edit);
    const change = { place, key, was: JSON.parse(field.dataset.was ?? "null"), to: valueOf(field) };
    if (await send("/log", [change])) say("Saved.");
    // Also where it was refused: the page then shows what holds.
    shown = null;
    await show(here());
  } else if (field.form && "live" in field.form.dataset) {
    const form = field.form;
    const asked = new URLSearchParams(/** @type {any} */ (new FormData(form)));
    await show(`${new URL(form.action).pathname}?${asked}`, true);
  }
});

document.addEventListener("submit", (event) => {
  if (event.target instanceof HTMLFormElement && "live" in event.target.dataset) event.preventDefault();
});

document.addEventListener("click", async (event) => {
  const target = event.target instanceof Element ? event.target : null;
  const link = target?.closest("a[data-live]");
  if (link instanceof HTMLAnchorElement && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
    event.preventDefault();
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
    const told = document.getElementById("exported");
    if (made && told) told.textContent = `Written: ${made.file}`;
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
  const made = await send(`/${group}`, { name: field.value });
  if (!made) return;
  say(`${field.value} is in the log.`);
  field.value = "";
  await show(here());
  document.getElementById(`new-${group}`)?.focus();
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

window.addEventListener("popstate", () => show(here()));

const news = new EventSource("/events");
news.addEventListener("changed", () => {
  if (!isAtWork()) show(here());
  else say("The folder was changed elsewhere; this page follows when you are done here.");
});
news.addEventListener("progress", (event) => {
  const state = document.getElementById("state");
  if (event.data) say(`Measuring: ${event.data} takes.`);
  else if (state?.textContent?.startsWith("Measuring")) say("");
});
news.addEventListener("error", () => say("Not connected: is the program still running?", "trouble"));
news.addEventListener("open", () => say(""));
window.addEventListener("pagehide", () => news.close());

mount();
