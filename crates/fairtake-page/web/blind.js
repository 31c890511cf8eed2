// The owner's pages on blind tests: makes one, opens and closes it, gives out codes, deletes.

import { show } from "./redraw.js";
import { here, say, send } from "./say.js";

/** @param {string} id */
const field = (id) => /** @type {HTMLInputElement} */ (document.getElementById(id));

/** @param {HTMLElement} main */
export function mountBlind(main) {
  main.querySelector("#make-test")?.addEventListener("submit", (event) => {
    event.preventDefault();
    void make(/** @type {HTMLFormElement} */ (event.target));
  });
  main.querySelector("#kind")?.addEventListener("change", fit);
  for (const button of /** @type {NodeListOf<HTMLElement>} */ (main.querySelectorAll("[data-blind]"))) {
    button.addEventListener("click", () => void act(button));
  }
}

/** Control trials and an early end belong to questions with a right answer. */
function fit() {
  const isRight = ["which", "odd_one"].includes(field("kind").value);
  const [control, early] = [field("n-control"), field("may-end-early")];
  control.disabled = !isRight;
  control.value = isRight ? (control.dataset.proposed ?? "0") : "0";
  early.disabled = !isRight;
  if (!isRight) early.checked = false;
}

/** @param {HTMLFormElement} form */
async function make(form) {
  const mics = [...form.querySelectorAll("input[name=test-mic]:checked")];
  say("Cutting the excerpts …");
  const made = await send("/blind/tests", {
    source: form.dataset.source,
    kind: field("kind").value,
    mics: mics.map((m) => /** @type {HTMLInputElement} */ (m).value),
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
    if (await send("/blind/test/delete", { id })) location.assign("/blind");
    else history.replaceState(null, "", was);
  } else if (what === "delete-sitting") {
    if (!window.confirm("Delete this sitting with its answers? This cannot be undone.")) return;
    if (await send("/blind/sitting/delete", { id: button.dataset.sitting })) await show(here());
  }
}
