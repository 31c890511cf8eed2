// The page Takes: files that are dropped, whose they are, events set by hand.

import { show } from "./redraw.js";
import { here, say, send } from "./say.js";

/** Files on their way; one at a time, so that a slow disk is not asked for everything at once. @type {File[]} */
const queue = [];
let sending = false;

// Going to another page would break off what is on its way; the browser asks first.
window.addEventListener("beforeunload", (event) => {
  if (sending) event.preventDefault();
});

/** @param {HTMLElement} main */
export function mountTakes(main) {
  const drop = main.querySelector("#drop");
  // It stays through a redraw, and has its life already.
  if (drop instanceof HTMLElement && !("mounted" in drop.dataset)) mountDrop(drop);
  const form = main.querySelector("#assign");
  if (form instanceof HTMLFormElement) mountAssign(form);
  const wave = main.querySelector("#wave");
  if (wave instanceof HTMLElement) mountEvents(main, wave);
}

/** @param {HTMLElement} drop */
function mountDrop(drop) {
  drop.dataset.mounted = "";
  const input = /** @type {HTMLInputElement} */ (drop.querySelector("#files"));
  const over = (/** @type {boolean} */ is) => drop.classList.toggle("over", is);
  drop.addEventListener("dragover", (event) => {
    event.preventDefault();
    over(true);
  });
  drop.addEventListener("dragleave", () => over(false));
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    over(false);
    takeIn([...(event.dataTransfer?.files ?? [])]);
  });
  input.addEventListener("change", () => {
    takeIn([...(input.files ?? [])]);
    input.value = "";
  });
  for (const line of lines.values()) drop.querySelector("#incoming")?.append(line);
}

/** One line per file, kept while the page is redrawn. @type {Map<File, HTMLLIElement>} */
const lines = new Map();

/** @param {File[]} files */
export async function takeIn(files) {
  for (const file of files) {
    const line = document.createElement("li");
    line.textContent = `${file.name}: waits`;
    lines.set(file, line);
    document.getElementById("incoming")?.append(line);
  }
  queue.push(...files);
  if (sending) return;
  sending = true;
  for (let file = queue.shift(); file; file = queue.shift()) await sendOne(file);
  sending = false;
  await show(here());
}

/**
 * Sends one file; the browser reads it from disk as it goes.
 * @param {File} file
 * @returns {Promise<void>}
 */
function sendOne(file) {
  const line = /** @type {HTMLLIElement} */ (lines.get(file));
  const tell = (/** @type {string} */ words, /** @type {string} */ kind = "") => {
    line.textContent = `${file.name}: ${words}`;
    line.className = kind;
  };
  return new Promise((done) => {
    const request = new XMLHttpRequest();
    request.open("POST", `/takes/files?name=${encodeURIComponent(file.name)}`);
    request.upload.onprogress = (event) => {
      if (event.lengthComputable) tell(`${Math.floor((100 * event.loaded) / event.total)} %`);
    };
    request.onload = () => {
      let told;
      try {
        told = JSON.parse(request.responseText);
      } catch {
        told = { what: request.responseText || `refused (${request.status})` };
      }
      if (request.status === 200) {
        const there = told.was_there ? "was there already, the same bytes" : "is in the folder";
        tell(`${there}; SHA-256 begins ${told.sha256.slice(0, 12)}`, "done");
      } else tell(`${told.what}. ${told.hint ?? ""}`, "trouble");
      done();
    };
    request.onerror = () => {
      tell("did not arrive: is the program still running?", "trouble");
      done();
    };
    tell("0 %");
    request.send(file);
  });
}

/** What was chosen for files that are not in the log yet, kept while the page is redrawn. @type {Map<string, string | boolean>} */
const chosen = new Map();

/** @param {HTMLInputElement | HTMLSelectElement} field */
function choiceKey(field) {
  const row = field.closest("tr");
  return `${row?.dataset.file}:${row?.dataset.channel}:${field.name}`;
}

/** @param {HTMLFormElement} form */
function rememberChoices(form) {
  for (const field of form.querySelectorAll("tr[data-file] input, tr[data-file] select")) {
    if (!(field instanceof HTMLInputElement || field instanceof HTMLSelectElement)) continue;
    const isBox = field instanceof HTMLInputElement && field.type === "checkbox";
    const was = chosen.get(choiceKey(field));
    if (typeof was === "boolean" && isBox) field.checked = was;
    // A microphone that has left the log cannot be chosen any more.
    if (typeof was === "string" && (!("options" in field) || [...field.options].some((o) => o.value === was))) {
      field.value = was;
    }
    const keep = () => chosen.set(choiceKey(field), isBox ? field.checked : field.value);
    field.addEventListener("input", keep);
  }
}

/** @param {HTMLFormElement} form */
function mountAssign(form) {
  rememberChoices(form);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const takes = [];
    for (const row of form.querySelectorAll("tr[data-file]")) {
      if (!(row instanceof HTMLElement)) continue;
      const value = (/** @type {string} */ name) =>
        /** @type {HTMLInputElement} */ (row.querySelector(`[name="${name}"]`)).value;
      const wanted = /** @type {HTMLInputElement} */ (row.querySelector('[name="take"]')).checked;
      if (!wanted) continue;
      if (!value("mic") || !value("source")) {
        say(`${row.dataset.file}: choose its microphone and source, or leave it out.`, "trouble");
        /** @type {HTMLElement | null} */ (row.querySelector("select"))?.focus();
        return;
      }
      takes.push({
        file: row.dataset.file,
        channel: Number(row.dataset.channel),
        order: Number(row.dataset.order),
        mic: value("mic"),
        source: value("source"),
        placement: Number(value("placement")),
        performance: Number(value("performance")),
        role: value("role"),
        gain_db: value("gain_db") === "" ? null : Number(value("gain_db")),
      });
    }
    if (takes.length === 0) {
      say("Tick the takes that you want to enter.", "trouble");
      return;
    }
    if (await send("/takes/assign", takes)) {
      lines.clear();
      chosen.clear();
      say(takes.length === 1 ? "One take is in the log." : `${takes.length} takes are in the log.`);
      await show("/takes");
    }
  });
  // Choosing a microphone for a row that had none means that it is wanted.
  form.addEventListener("change", (event) => {
    const row = event.target instanceof HTMLSelectElement ? event.target.closest("tr") : null;
    if (!row) return;
    const filled = ["mic", "source"].every(
      (name) => /** @type {HTMLSelectElement} */ (row.querySelector(`[name="${name}"]`)).value,
    );
    if (!filled) return;
    const box = /** @type {HTMLInputElement} */ (row.querySelector('[name="take"]'));
    box.checked = true;
    chosen.set(choiceKey(box), true);
  });
}

/** Room that a mark has at least, and width of a waveform at most, in CSS pixels. */
const [LEAST_MARK_PX, WIDEST_WAVE_PX] = [25, 6000];

/**
 * Onsets set, moved and taken out by hand.
 * @param {HTMLElement} main
 * @param {HTMLElement} wave
 */
function mountEvents(main, wave) {
  const seconds = Number(wave.dataset.seconds);
  const was = JSON.parse(wave.dataset.was ?? "null");
  const place = JSON.parse(wave.dataset.place ?? "null");
  /** @type {number[]} */
  let onsets = JSON.parse(wave.dataset.onsets ?? "[]");
  const save = /** @type {HTMLButtonElement} */ (main.querySelector("#save-events"));
  const marks = document.createElement("div");
  marks.className = "marks";
  wave.append(marks);
  // Marks that lie too close to be pressed apart get room; the waveform then scrolls sideways.
  const ends = [...onsets].sort((a, b) => a - b);
  const closest = Math.min(seconds, ...ends.slice(1).map((end, i) => end - ends[i]));
  const scroll = document.createElement("div");
  scroll.className = "scroll";
  wave.replaceWith(scroll);
  scroll.append(wave);
  wave.style.minWidth = `${Math.min((LEAST_MARK_PX * seconds) / closest, WIDEST_WAVE_PX)}px`;
  const another = document.createElement("button");
  another.type = "button";
  another.textContent = "Set another event";
  save.after(another);

  /** @param {number | null} focus */
  const draw = (focus = null) => {
    marks.replaceChildren(
      ...onsets.map((s, i) => {
        const mark = document.createElement("button");
        mark.type = "button";
        mark.className = "mark-onset";
        mark.style.left = `${(100 * s) / seconds}%`;
        mark.setAttribute("aria-label", `event ${i + 1} at ${s.toFixed(3)} s`);
        mark.title = `${s.toFixed(3)} s`;
        mark.addEventListener("click", (event) => event.stopPropagation());
        mark.addEventListener("keydown", (event) => key(event, i));
        return mark;
      }),
    );
    if (focus !== null) /** @type {HTMLElement | undefined} */ (marks.children[focus])?.focus();
  };
  const changed = () => {
    save.disabled = false;
    wave.dataset.unsaved = "";
  };
  /**
   * @param {KeyboardEvent} event
   * @param {number} i
   */
  const key = (event, i) => {
    const step = (event.shiftKey ? 0.01 : 0.001) * (event.key === "ArrowLeft" ? -1 : 1);
    if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
      const moved = Math.min(Math.max(onsets[i] + step, 0), seconds);
      onsets = onsets.with(i, moved).sort((a, b) => a - b);
      draw(onsets.indexOf(moved));
    } else if (event.key === "Delete" || event.key === "Backspace") {
      onsets = onsets.toSpliced(i, 1);
      draw(Math.min(i, onsets.length - 1));
    } else return;
    event.preventDefault();
    changed();
  };
  /** @param {number} at */
  const set = (at) => {
    onsets = [...onsets, at].sort((a, b) => a - b);
    draw(onsets.indexOf(at));
    changed();
  };
  wave.addEventListener("click", (event) => {
    const box = wave.getBoundingClientRect();
    set(((event.clientX - box.left) / box.width) * seconds);
  });
  // For the keyboard: in the middle of the longest stretch without one, to be moved from there.
  another.addEventListener("click", () => {
    const ends = [0, ...onsets, seconds];
    const gaps = ends.slice(1).map((end, i) => ({ middle: (end + ends[i]) / 2, length: end - ends[i] }));
    set(gaps.reduce((a, b) => (b.length > a.length ? b : a)).middle);
  });
  save.addEventListener("click", () => keep(onsets.map((s) => Math.round(s * 1e6) / 1e6)));
  main.querySelector("#detect-events")?.addEventListener("click", () => keep(null));
  /** @param {number[] | null} to */
  async function keep(to) {
    delete wave.dataset.unsaved;
    if (await send("/log", [{ place, key: "events_s", was, to }])) say("Saved.");
    await show(location.pathname + location.search);
  }
  draw();
}
