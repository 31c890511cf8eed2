// The page Compare: reading the picture out, looking closer, hiding parts, and from a finding to its evidence. Every number
// that is read out comes with the picture; none is computed here.

import { narrow, show, showPart } from "./redraw.js";
import { here } from "./say.js";

/** What is hidden, kept while the picture is redrawn. @type {Set<string>} */
const hidden = new Set();

/** @param {HTMLElement} main */
export function mountCompare(main) {
  const figure = main.querySelector("#picture");
  if (figure instanceof HTMLElement) mountPicture(figure);
  for (const button of main.querySelectorAll("button.finding")) {
    if (button instanceof HTMLButtonElement) button.addEventListener("click", () => evidence(button));
  }
  const others = main.querySelector("#others");
  if (others instanceof HTMLElement) fetchOthers(others);
  const tables = main.querySelector("#evidence[data-later]");
  if (tables instanceof HTMLElement) fetchTables(tables);
}

// A picture that was fetched is of one width: where the screen becomes wide or narrow, the other one is needed.
narrow.addEventListener("change", () => {
  if (document.querySelector("#picture .one")) show(here());
});

/** @param {HTMLElement} figure */
function mountPicture(figure) {
  // Of two that came with the page, for wide screens and for narrow ones, the style shows one.
  const svg =
    figure.querySelector(".one > svg") ??
    [...figure.querySelectorAll("svg.corridor")].find((s) => s.getClientRects().length > 0);
  const readout = figure.querySelector("#readout");
  if (!(svg instanceof SVGSVGElement) || !readout) return;
  const readings = [...svg.querySelectorAll("rect.reading")];
  const whole = { from: Number(figure.dataset.from), to: Number(figure.dataset.to) };
  let at = -1;

  const read = (/** @type {number} */ i) => {
    readings[at]?.classList.remove("read");
    at = Math.min(Math.max(i, 0), readings.length - 1);
    readings[at]?.classList.add("read");
    readout.textContent = readings[at]?.getAttribute("data-words") ?? "";
  };
  figure.addEventListener("keydown", (event) => {
    if (event.target !== figure) return;
    const step = { ArrowLeft: -1, ArrowRight: 1, Home: -1e6, End: 1e6 }[event.key];
    if (step === undefined) return;
    event.preventDefault();
    read(at < 0 && step > 0 ? 0 : at + step);
  });

  /** Frequency under a point of the picture. @param {number} clientX */
  const frequency = (clientX) => {
    const first = readings[0]?.getBoundingClientRect();
    const last = readings.at(-1)?.getBoundingClientRect();
    if (!first || !last) return whole.from;
    // The readings fill the axis but for what lies beyond the first and the last band.
    const x = (/** @type {Element} */ r) => {
      const box = r.getBoundingClientRect();
      return (box.left + box.right) / 2;
    };
    const hz = (/** @type {Element} */ r) => Number(r.getAttribute("data-centre"));
    const [a, b] = [readings[0], /** @type {Element} */ (readings.at(-1))];
    const share = (clientX - x(a)) / Math.max(x(b) - x(a), 1);
    return hz(a) * (hz(b) / hz(a)) ** share;
  };
  /** @type {number | null} */
  let from = null;
  const veil = document.createElement("div");
  veil.className = "veil";
  svg.parentElement?.append(veil);
  const release = (/** @type {PointerEvent} */ event) => {
    if (from === null) return;
    const [start, end] = [from, event.clientX];
    from = null;
    veil.style.width = "0";
    if (svg.isConnected && Math.abs(end - start) > 12) look(frequency(start), frequency(end));
  };
  svg.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || event.pointerType === "touch") return;
    from = event.clientX;
    window.addEventListener("pointerup", release, { once: true });
  });
  svg.addEventListener("pointermove", (event) => {
    const reading = event.target instanceof Element ? event.target.closest("rect.reading") : null;
    if (reading) read(readings.indexOf(reading));
    if (from === null) return;
    const box = svg.getBoundingClientRect();
    veil.style.left = `${Math.min(from, event.clientX) - box.left}px`;
    veil.style.width = `${Math.abs(event.clientX - from)}px`;
  });

  figure.querySelector(".zooms")?.addEventListener("click", (event) => {
    const way = event.target instanceof HTMLElement ? event.target.dataset.zoom : undefined;
    if (!way) return;
    const octaves = Math.log2(whole.to / whole.from);
    const middle = Math.sqrt(whole.from * whole.to) * 2 ** ({ left: -octaves / 3, right: octaves / 3 }[way] ?? 0);
    const half = { in: octaves / 4, out: octaves, all: 20 }[way] ?? octaves / 2;
    look(middle / 2 ** half, middle * 2 ** half);
  });

  const apply = () => {
    for (const part of ["reference", "against", "ranges", "bands"])
      figure.classList.toggle(`no-${part}`, hidden.has(part));
  };
  for (const box of figure.querySelectorAll("input[data-show]")) {
    if (!(box instanceof HTMLInputElement)) continue;
    const part = box.dataset.show ?? "";
    box.checked = !hidden.has(part);
    box.addEventListener("change", () => {
      if (box.checked) hidden.delete(part);
      else hidden.add(part);
      apply();
    });
  }
  apply();
}

/**
 * Shows a stretch of the axis.
 * @param {number} from
 * @param {number} to
 */
async function look(from, to) {
  const address = new URL(here(), location.href);
  const [low, high] = [Math.max(Math.min(from, to), 20), Math.min(Math.max(from, to), 20000)];
  if (low <= 20 && high >= 20000) {
    address.searchParams.delete("from");
    address.searchParams.delete("to");
  } else {
    address.searchParams.set("from", low.toFixed(1));
    address.searchParams.set("to", high.toFixed(1));
  }
  // Nothing else on the page depends on it.
  await showPart(`/figure${address.search}`, address.pathname + address.search, "picture", mountPicture);
}

/**
 * From a finding to what it rests on: its stretch of the axis, and its table.
 * @param {HTMLButtonElement} button
 */
async function evidence(button) {
  const { from, to, evidence: table } = button.dataset;
  if (from && to && table === "regions") {
    // An octave around it, so that it is seen beside its neighbours.
    await look(Number(from) / 2, Number(to) * 2);
  }
  const shown = document.getElementById(table ?? "");
  for (const old of document.querySelectorAll(".pointed")) old.classList.remove("pointed");
  const target = from && table === "regions" ? document.getElementById("picture") : shown;
  target?.scrollIntoView({ behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
  shown?.classList.add("pointed");
  // Who works with the keyboard goes along.
  if (target instanceof HTMLElement) {
    if (target.tabIndex < 0) target.tabIndex = -1;
    target.focus({ preventScroll: true });
  }
}

/**
 * All microphones at once, which may take a while: asked for when the pair is shown.
 * @param {HTMLElement} place
 */
async function fetchOthers(place) {
  try {
    const answer = await fetch(`/others${location.search}`);
    const told = await answer.json();
    if (!answer.ok) place.textContent = `${told.what}.`;
    else place.replaceChildren(document.createRange().createContextualFragment(told.html));
  } catch {
    place.textContent = "The program does not answer.";
  }
}

/**
 * The tables behind the picture, after it; until they are here, those of before are shown as such.
 * @param {HTMLElement} place
 */
async function fetchTables(place) {
  const digest = place.dataset.later;
  place.ariaBusy = "true";
  // The picture is drawn first.
  await new Promise((drawn) => requestAnimationFrame(() => setTimeout(drawn)));
  let text = "";
  try {
    const answer = await fetch(`/evidence${location.search}`);
    if (answer.ok) text = await answer.text();
  } catch {
    // Said below.
  }
  // Others may have been asked for meanwhile.
  if (!place.isConnected || place.dataset.later !== digest) return;
  delete place.dataset.later;
  place.ariaBusy = null;
  if (text) {
    place.replaceChildren(document.createRange().createContextualFragment(text));
    if (digest) place.dataset.digest = digest;
  } else {
    place.textContent = "The tables could not be fetched. Is the program still running?";
    // So that the next picture asks for them again.
    place.dataset.digest = "";
  }
}
