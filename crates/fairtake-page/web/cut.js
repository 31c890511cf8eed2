// One long recording in which microphones were changed: look at its parts, say whose they are, cut.

import { show } from "./redraw.js";
import { say, send } from "./say.js";

/** @param {HTMLElement} main */
export function mountCut(main) {
  for (const form of main.querySelectorAll("form.cut")) if (form instanceof HTMLFormElement) mountOne(form);
}

/** @param {HTMLFormElement} form */
function mountOne(form) {
  const by = /** @type {HTMLSelectElement} */ (form.elements.namedItem("by"));
  const value = (/** @type {string} */ name) => /** @type {HTMLInputElement} */ (form.elements.namedItem(name)).value;
  const parts = /** @type {HTMLElement} */ (form.querySelector(".parts"));
  const cut = /** @type {HTMLButtonElement} */ (form.querySelector("button[data-cut]"));
  const template = /** @type {HTMLTemplateElement} */ (form.querySelector("template"));

  const asked = (/** @type {string[]} */ mics) => {
    const at =
      by.value === "gaps"
        ? { by: "gaps", gap_s: Number(value("gap_s")), quiet_dbfs: Number(value("quiet_dbfs")) }
        : by.value === "list"
          ? { by: "list", text: value("list") }
          : { by: "markers" };
    return { file: form.dataset.file, source: value("source"), at, mics };
  };
  const shown = () => {
    for (const part of form.querySelectorAll("[data-by]")) {
      if (part instanceof HTMLElement) part.hidden = part.dataset.by !== by.value;
    }
    parts.replaceChildren();
    cut.hidden = true;
    delete form.dataset.unsaved;
  };
  by.addEventListener("change", shown);
  shown();

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const told = await send("/takes/parts", asked([]));
    if (!told) return;
    form.dataset.unsaved = "";
    parts.replaceChildren(
      ...told.parts.map((/** @type {{ from: string, to: string, mic: string }} */ part, /** @type {number} */ i) => {
        const line = document.createElement("li");
        const pick = /** @type {HTMLSelectElement} */ (template.content.firstElementChild?.cloneNode(true));
        pick.setAttribute("aria-label", `microphone of part ${i + 1}`);
        if ([...pick.options].some((o) => o.value === part.mic)) pick.value = part.mic;
        line.append(`${part.from} to ${part.to}: `, pick);
        return line;
      }),
    );
    cut.hidden = false;
    say(`${told.parts.length} parts. Say whose each is.`);
  });
  cut.addEventListener("click", async () => {
    const mics = [...parts.querySelectorAll("select")].map((s) => s.value);
    if (mics.includes("")) {
      say("Choose a microphone for every part.", "trouble");
      return;
    }
    const done = await send("/takes/cut", asked(mics));
    if (!done) return;
    delete form.dataset.unsaved;
    say(`${done.n_parts} parts were cut and are in the log.`);
    await show("/takes");
  });
}
