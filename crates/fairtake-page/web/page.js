// Brings the page to life: what is pressed, what is dropped, what the program tells.

import { mountBlind } from "./blind.js";
import { mountCompare } from "./compare.js";
import { mountCut } from "./cut.js";
import { mountListen } from "./listen.js";
import { mountMeasure } from "./measure.js";
import { follow, isAtWork, mountEach, show } from "./redraw.js";
import { giveUpRefused, isSaving, mountRefused } from "./save.js";
import { here, main, say, send, unsay, write } from "./say.js";
import { mountTakes, takeIn } from "./takes.js";
import { mountWriteUp, tellWriting } from "./write-up.js";

/** What was written out, said also when the page is drawn anew. */
let exported = "";

function tellExported() {
  const told = document.getElementById("exported");
  if (told) told.textContent = exported;
}

/** Puts life into the main part. */
function mount() {
  tellExported();
  mountRefused(main());
  mountTakes(main());
  mountCut(main());
  mountCompare(main());
  mountListen(main());
  mountMeasure(main());
  mountBlind(main());
  mountWriteUp(main());
}

document.addEventListener("submit", (event) => {
  if (event.target instanceof HTMLFormElement && "live" in event.target.dataset) event.preventDefault();
});

document.addEventListener("click", async (event) => {
  const target = event.target instanceof Element ? event.target : null;
  const link = target?.closest("a[data-live]");
  if (link instanceof HTMLAnchorElement && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
    event.preventDefault();
    const question = "What you set or wrote here is not kept yet. Leave it?";
    if (main().querySelector("[data-unsaved]")) {
      if (!confirm(question)) return;
      giveUpRefused();
    }
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

// What changed since the page was made is told at once.
const news = new EventSource(`/events?since=${document.body.dataset.news}`);
news.addEventListener("changed", () => {
  // What was sent from here shows itself.
  if (isSaving()) return;
  if (isAtWork()) say("The folder was changed elsewhere; this page follows when you are done here.");
  follow();
});
// Measuring says where it stands; what was said before comes back when it is done.
news.addEventListener("progress", (event) => {
  if (event.data !== "done") write(`Measuring: ${event.data} takes.`, "");
  else unsay();
});
news.addEventListener("writing", (event) => tellWriting(event.data));
news.addEventListener("error", () => say("Not connected: is the program still running?", "trouble"));
news.addEventListener("open", () => say(""));
window.addEventListener("pagehide", () => news.close());

mountEach(mount);
