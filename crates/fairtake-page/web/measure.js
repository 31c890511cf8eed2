// The page Measure: recordings that are entered as takes of a measurement.

import { show } from "./redraw.js";
import { say, send } from "./say.js";

/** What is asked for where a field is empty. */
const WANTED = new Map([
  ["mic", "which microphone it is of"],
  ["excitation", "what was played"],
  ["source", "what played it"],
]);

/** @param {HTMLElement} main */
export function mountMeasure(main) {
  const form = main.querySelector("#assign-measured");
  if (!(form instanceof HTMLFormElement)) return;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const takes = [];
    for (const row of form.querySelectorAll("tr[data-file]")) {
      if (!(row instanceof HTMLElement)) continue;
      const field = (/** @type {string} */ name) =>
        /** @type {HTMLInputElement} */ (row.querySelector(`[name="${name}"]`));
      if (!field("take").checked) continue;
      const value = (/** @type {string} */ name) => field(name).value;
      const number = (/** @type {string} */ name) => (value(name) === "" ? null : Number(value(name)));
      const plays = value("role") === "response";
      const lacks = ["mic", ...(plays ? ["excitation", "source"] : [])].find((name) => !value(name));
      if (lacks) {
        say(`${row.dataset.file}: say ${WANTED.get(lacks)}.`, "trouble");
        field(lacks).focus();
        return;
      }
      takes.push({
        file: row.dataset.file,
        channel: Number(row.dataset.channel),
        mic: value("mic"),
        role: value("role"),
        source: plays ? value("source") : "",
        excitation: plays ? value("excitation") : null,
        placement: Number(value("placement")),
        performance: Number(value("performance")),
        gain_db: number("gain_db"),
        angle_deg: plays ? number("angle_deg") : null,
        distance_mm: plays ? number("distance_mm") : null,
      });
    }
    if (takes.length === 0) {
      say("Tick the recordings that you want to enter.", "trouble");
      return;
    }
    if (await send("/measure/assign", takes)) {
      say(takes.length === 1 ? "One take is in the log." : `${takes.length} takes are in the log.`);
      await show("/measure");
    }
  });
}
