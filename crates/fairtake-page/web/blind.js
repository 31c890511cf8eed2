// The owner's pages on blind tests: makes one, opens and closes it, gives out codes, deletes.

import { show } from "./redraw.js";
import { here, say, send } from "./say.js";

/** @param {string} id */
const field = (id) => /** @type {HTMLInputElement} */ (document.getElementById(id));

/** @typedef {{ value: string, checked: boolean, typed: string | undefined }} Kept */

/** What was ticked and typed in the form, and for which source: news draws it again. @type {{ source: string, fields: Map<string, Kept> } | null} */
let kept = null;

/** @param {HTMLElement} main */
export function mountBlind(main) {
  const form = main.querySelector("#make-test");
  if (form instanceof HTMLFormElement) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      void make(form);
    });
    form.addEventListener("input", (event) => changed(form, /** @type {HTMLInputElement} */ (event.target)));
    form.addEventListener("focusout", () => fit(form));
    restore(form);
    fit(form);
  }
  for (const button of /** @type {NodeListOf<HTMLElement>} */ (main.querySelectorAll("[data-blind]"))) {
    button.addEventListener("click", () => void act(button));
  }
}

/** The microphones of the form. @param {HTMLFormElement} form */
const mics = (form) => /** @type {HTMLInputElement[]} */ ([...form.querySelectorAll("input[name=test-mic]")]);
/** Who plays where this one is ticked. @param {HTMLInputElement} mic */
const base = (mic) => mic.dataset.from ?? mic.value;
/** @param {HTMLInputElement} mic */
const called = (mic) => mic.labels?.[0]?.textContent?.trim() ?? mic.value;

/** Every field by what it is called. @param {HTMLFormElement} form */
function fields(form) {
  const all = [...form.querySelectorAll("input, select")].map((f) => /** @type {HTMLInputElement} */ (f));
  return all.map((f) => /** @type {const} */ ([f.id || `mic ${f.value}`, f]));
}

/** @param {HTMLFormElement} form @param {HTMLInputElement} field */
function changed(form, field) {
  if (field.name === "test-mic" && field.checked && field.dataset.to) pairUp(form, field);
  // A number that was typed stays, whatever is proposed; emptied, it is proposed again.
  if (field.id === "n-control") field.dataset.typed = field.value;
  if (field.id === "may-end-early" || field.id === "equal-spectrum") field.dataset.typed = field.checked ? "yes" : "";
  fit(form);
  const now = fields(form).map(
    ([name, f]) => /** @type {const} */ ([name, { value: f.value, checked: f.checked, typed: f.dataset.typed }]),
  );
  kept = { source: form.dataset.source ?? "", fields: new Map(now) };
}

/** @param {HTMLFormElement} form */
function restore(form) {
  if (!kept || kept.source !== form.dataset.source) return;
  for (const [name, field] of fields(form)) {
    const was = kept.fields.get(name);
    if (!was) continue;
    field.checked = was.checked;
    if (field.type !== "checkbox") field.value = was.value;
    if (was.typed !== undefined) field.dataset.typed = was.typed;
  }
}

/** A microphone with an equaliser is heard beside the one that it becomes like. @param {HTMLFormElement} form @param {HTMLInputElement} corrected */
function pairUp(form, corrected) {
  for (const mic of mics(form)) {
    if (mic.value === corrected.dataset.to) mic.checked = true;
    else if (hasRight() && mic !== corrected) mic.checked = false;
  }
}

/** Whether an answer is right or wrong: then two are told apart, there is a control, and it may end early. */
const hasRight = () => ["which", "odd_one"].includes(field("kind").value);

/** What is wrong with what is ticked; empty where nothing is. @param {HTMLFormElement} form */
function troubleOf(form) {
  const ticked = mics(form).filter((m) => m.checked);
  const n = ticked.length;
  if (hasRight() && n !== 2) return `This question takes two microphones; ${n} ${n === 1 ? "is" : "are"} ticked.`;
  const most = Number(form.dataset.mostMics);
  if (n < 2 || n > most) return `This question takes 2 to ${most} microphones; ${n} ${n === 1 ? "is" : "are"} ticked.`;
  const isThere = (/** @type {string | undefined} */ key) => ticked.some((m) => m.value === key);
  const alone = ticked.find((m) => m.dataset.from && !isThere(m.dataset.from) && !isThere(m.dataset.to));
  if (!alone) return "";
  const [from, to] = [alone.dataset.from, alone.dataset.to].map((key) => mics(form).find((m) => m.value === key));
  return `${called(alone)} is heard beside ${to ? called(to) : ""} or ${from ? called(from) : ""}: tick one of them too.`;
}

/** The form follows what is asked and ticked. @param {HTMLFormElement} form */
function fit(form) {
  const ticked = mics(form).filter((m) => m.checked);
  const wrong = troubleOf(form);
  const said = field("mics-said");
  if (said.textContent !== wrong) said.textContent = wrong;
  const button = form.querySelector("button[type=submit]");
  if (button instanceof HTMLButtonElement) button.disabled = wrong !== "";
  const [control, early, equal] = [field("n-control"), field("may-end-early"), field("equal-spectrum")];
  const bases = ticked.map(base);
  /** @type {string[][]} */
  const inTurn = JSON.parse(form.dataset.inTurn ?? "[]");
  const isInTurn = hasRight() && ticked.length === 2 && inTurn.some((pair) => pair.every((key) => bases.includes(key)));
  const proposed = isInTurn ? `${Math.min(100, Number(field("n-trials").value))}` : "0";
  control.disabled = !hasRight();
  if (!hasRight()) control.value = "0";
  else if (document.activeElement !== control) control.value = control.dataset.typed || proposed;
  const note = document.getElementById("in-turn");
  if (note) note.hidden = !isInTurn;
  allow(early, hasRight() && Number(control.value) === 0);
  allow(equal, ticked.length === 2 && ticked.every((m) => !m.dataset.from));
}

/** A box that cannot be had is empty, and is as it was when it can be had again. @param {HTMLInputElement} box @param {boolean} isAllowed */
function allow(box, isAllowed) {
  box.disabled = !isAllowed;
  box.checked = isAllowed && box.dataset.typed === "yes";
}

/** @param {HTMLFormElement} form */
async function make(form) {
  say("Cutting the excerpts …");
  const made = await send("/blind/tests", {
    source: form.dataset.source,
    kind: field("kind").value,
    mics: mics(form)
      .filter((m) => m.checked)
      .map((m) => m.value),
    n_trials: Number(field("n-trials").value),
    n_control: Number(field("n-control").value),
    n_catch: Number(field("n-catch").value),
    may_end_early: field("may-end-early").checked,
    seconds: Number(field("seconds").value),
    equal_spectrum: field("equal-spectrum").checked,
    title: field("title").value,
    n_codes: Number(field("n-codes").value),
    n_sittings: Number(field("n-sittings").value) || null,
  });
  if (!made) return;
  kept = null;
  say("The test is made.");
  // A page of its own: news of the same change would else draw this one again.
  if (made.codes.length > 0) give(made.codes);
  else location.assign(`/blind/test?id=${made.id}`);
}

/** Codes are shown once: only their hashes are kept. They lie beside the main part, which news may draw again. @param {string[]} codes */
function give(codes) {
  document.getElementById("codes-given")?.remove();
  const given = document.createElement("aside");
  given.id = "codes-given";
  given.setAttribute("aria-label", "codes");
  given.tabIndex = -1;
  const words = document.createElement("p");
  words.textContent = "Codes, shown only this once; copy them now. Each begins one sitting:";
  const list = document.createElement("pre");
  list.id = "codes";
  list.textContent = codes.join("\n");
  const close = document.createElement("button");
  close.type = "button";
  close.textContent = "I have copied them";
  close.addEventListener("click", () => given.remove());
  given.append(words, list, close);
  document.body.append(given);
  given.focus();
}

/** @param {HTMLElement} button */
async function act(button) {
  const id = /** @type {HTMLElement | null} */ (button.closest("[data-test]"))?.dataset.test ?? "";
  const what = button.dataset.blind;
  if (what === "open") {
    if (await send("/blind/test/open", { id, is_open: button.dataset.open === "true" })) await show(here());
  } else if (what === "codes") {
    const made = await send("/blind/test/codes", { id, n: 10 });
    if (made) give(made.codes);
  } else if (what === "delete") {
    if (!window.confirm("Delete this test with every answer? This cannot be undone.")) return;
    // News of the deletion must not ask for a page that is gone.
    const was = here();
    history.replaceState(null, "", "/blind");
    const done = await send("/blind/test/delete", { id });
    if (done) {
      if (done.remark) window.alert(`${done.remark}.`);
      location.assign("/blind");
    } else history.replaceState(null, "", was);
  } else if (what === "delete-sitting") {
    if (!window.confirm("Delete this sitting with its answers? This cannot be undone.")) return;
    const done = await send("/blind/sitting/delete", { id: button.dataset.sitting });
    if (done) await show(here());
    if (done?.remark) say(`${done.remark}.`, "trouble");
  }
}
