// A listener's page: plays what is presented, takes the answer, goes on. It knows names that say nothing, and no more.

/** Length of the fade when a sound begins or ends, in seconds. */
const FADE_S = 0.012;
/** Where the volume is kept between trials, so that nobody is startled by the next. */
const VOLUME = "fairtake-volume";

/** @type {AudioContext | null} */
let context = null;
/** @type {GainNode | null} */
let out = null;
/** What plays now. @type {{ source: AudioBufferSourceNode, gain: GainNode, button: HTMLElement } | null} */
let playing = null;
/** Sounds of this trial. @type {Map<string, AudioBuffer>} */
let sounds = new Map();
/** Names that were heard in this trial. @type {Set<string>} */
let heard = new Set();
/** An answer is on its way. */
let isSending = false;

/** @returns {HTMLElement} */
const main = () => /** @type {HTMLElement} */ (document.getElementById("main"));

/** @template {Element} T @param {string} selector @returns {T[]} */
const all = (selector) => [.../** @type {NodeListOf<any>} */ (main().querySelectorAll(selector))];

/** @param {string} words */
function say(words) {
  const state = document.getElementById("state");
  if (state) state.textContent = words;
}

/**
 * @param {string} address
 * @param {unknown} body
 * @returns {Promise<{ status: number, told: any }>}
 */
async function send(address, body) {
  const answer = await fetch(address, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  });
  const text = await answer.text();
  return { status: answer.status, told: text.startsWith("{") ? JSON.parse(text) : { what: text, hint: "" } };
}

/** The volume as chosen, as a factor. */
function volume() {
  const slider = /** @type {HTMLInputElement | null} */ (document.getElementById("volume"));
  const db = slider ? Number(slider.value) : -60;
  return db <= -60 ? 0 : 10 ** (db / 20);
}

function showVolume() {
  const slider = /** @type {HTMLInputElement | null} */ (document.getElementById("volume"));
  const told = document.getElementById("volume-db");
  if (!slider || !told) return;
  told.textContent = Number(slider.value) <= -60 ? "silent" : `${slider.value.replace("-", "−")} dB`;
  sessionStorage.setItem(VOLUME, slider.value);
  if (context && out) out.gain.setTargetAtTime(volume(), context.currentTime, 0.01);
}

function opened() {
  if (!context) {
    context = new AudioContext();
    out = context.createGain();
    out.gain.value = 0;
    out.connect(context.destination);
  }
  return context;
}

function stop() {
  if (!playing || !context) return;
  const { source, gain, button } = playing;
  const now = context.currentTime;
  gain.gain.cancelScheduledValues(now);
  gain.gain.setValueAtTime(gain.gain.value, now);
  gain.gain.linearRampToValueAtTime(0, now + FADE_S);
  source.stop(now + 2 * FADE_S);
  button.setAttribute("aria-pressed", "false");
  playing = null;
}

/** @param {HTMLElement} button */
async function play(button) {
  const name = button.dataset.sound ?? "";
  const buffer = sounds.get(name);
  if (!buffer) return;
  const at = opened();
  await at.resume();
  stop();
  if (out) out.gain.setValueAtTime(volume(), at.currentTime);
  const source = at.createBufferSource();
  const gain = at.createGain();
  source.buffer = buffer;
  gain.gain.setValueAtTime(0, at.currentTime);
  gain.gain.linearRampToValueAtTime(1, at.currentTime + FADE_S);
  source.connect(gain);
  gain.connect(/** @type {GainNode} */ (out));
  source.onended = () => {
    if (playing?.source === source) {
      playing.button.setAttribute("aria-pressed", "false");
      playing = null;
    }
  };
  source.start();
  button.setAttribute("aria-pressed", "true");
  playing = { source, gain, button };
  heard.add(name);
  button.classList.add("heard");
  const pebble = button.parentElement?.querySelector("input.pebble");
  if (pebble) choose(/** @type {HTMLInputElement} */ (pebble));
  settle();
}

/** Everything of a trial is fetched in the order in which it stands, before anything can be played. */
async function load() {
  const buttons = all("[data-sound]");
  for (const button of buttons) {
    const name = /** @type {HTMLElement} */ (button).dataset.sound ?? "";
    const answer = await fetch(`${main().dataset.at}/sound/${name}.wav`);
    if (!answer.ok) throw new Error(String(answer.status));
    sounds.set(name, await opened().decodeAudioData(await answer.arrayBuffer()));
  }
}

/** What was answered so far; null while something is missing. */
function given() {
  const kind = main().dataset.kind;
  if (kind === "odd_one") {
    const chosen = /** @type {HTMLInputElement | null} */ (main().querySelector("input[name=odd]:checked"));
    return chosen ? { choice: Number(chosen.value) } : null;
  }
  const stone = /** @type {HTMLInputElement | null} */ (document.getElementById("stone"));
  if (stone) return stone.value === "0" ? null : { choice: stone.value === "1" ? 1 : 0 };
  const pebbles = /** @type {HTMLInputElement[]} */ (all("input.pebble"));
  if (pebbles.some((p) => p.classList.contains("unlaid"))) return null;
  return { ratings: pebbles.map((p) => Number(p.value)) };
}

/** Says what is missing, and lets the answer be kept when nothing is. */
function settle() {
  const keep = /** @type {HTMLButtonElement | null} */ (document.getElementById("keep"));
  if (!keep) return;
  const n = all("[data-sound]").length;
  const answer = given();
  const isReady = sounds.size === n && heard.size === n && answer !== null && !isSending;
  keep.disabled = !isReady;
  if (sounds.size < n || isSending) return;
  if (heard.size < n)
    say(heard.size === 0 ? "Ready. Listen to each one at least once." : "Listen to each one at least once.");
  else if (answer === null)
    say(main().dataset.kind?.startsWith("lik") ? "Lay every pebble." : "Decide; a guess is an answer too.");
  else say("Keep the answer when you are sure; it cannot be changed afterwards.");
}

/** @param {HTMLInputElement} input */
function read(input) {
  const words = (input.dataset.words ?? "").split("|");
  if (input.id === "stone") {
    input.setAttribute("aria-valuetext", words[Number(input.value) + 1]);
    return;
  }
  const band = words[Math.min(Math.floor(Number(input.value) / 20), 4)];
  input.setAttribute("aria-valuetext", `${input.value}, ${band}`);
  input.classList.remove("unlaid");
  input.style.setProperty("--at", input.value);
}

/** @param {HTMLInputElement} pebble */
function choose(pebble) {
  for (const other of all("input.pebble")) other.classList.toggle("chosen", other === pebble);
}

/** @param {number} by */
function push(by) {
  const stone = /** @type {HTMLInputElement | null} */ (document.getElementById("stone"));
  const pebble = /** @type {HTMLInputElement | null} */ (main().querySelector("input.pebble.chosen"));
  const odd = /** @type {HTMLInputElement[]} */ (all("input[name=odd]"));
  if (odd.length > 0) {
    const at = odd.findIndex((o) => o.checked);
    const next = at < 0 ? (by > 0 ? 0 : odd.length - 1) : Math.min(Math.max(at + Math.sign(by), 0), odd.length - 1);
    odd[next].checked = true;
  } else {
    const input = stone ?? pebble;
    if (!input) return;
    input.value = String(Number(input.value) + (stone ? Math.sign(by) : by));
    read(input);
  }
  settle();
}

async function keep() {
  const answer = given();
  const button = /** @type {HTMLButtonElement | null} */ (document.getElementById("keep"));
  if (!answer || !button || button.disabled || isSending) return;
  isSending = true;
  button.disabled = true;
  stop();
  const comment = /** @type {HTMLTextAreaElement} */ (document.getElementById("comment")).value;
  try {
    const trial = Number(main().dataset.trial);
    const { status, told } = await send(`${main().dataset.at}/answer`, { trial, given: answer, comment });
    isSending = false;
    // Answered in another window, or ended: the page goes on where the sitting stands.
    if (status === 200 || status === 409 || status === 410) return await goOn();
    say(`Not kept: ${told.what}. ${told.hint ?? ""}`);
  } catch {
    isSending = false;
    say("Not kept: there is no connection. Your answer stands here; try again.");
  }
  button.disabled = false;
}

async function goOn() {
  const answer = await fetch(location.href, { headers: { "x-part": "main" } });
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const next = page.getElementById("main");
  if (!answer.ok || !next) return location.reload();
  main().replaceWith(next);
  main().focus();
  window.scrollTo(0, 0);
  mount();
}

async function leave() {
  if (!window.confirm("Leave? What you answered is kept, but the sitting counts as not finished.")) return;
  stop();
  try {
    await send(`${main().dataset.at}/leave`, {});
    await goOn();
  } catch {
    say("There is no connection; try again.");
  }
}

/** @param {SubmitEvent} event */
async function begin(event) {
  event.preventDefault();
  const value = (/** @type {string} */ id) =>
    /** @type {HTMLInputElement | null} */ (document.getElementById(id))?.value.trim() ?? "";
  try {
    const { status, told } = await send(main().dataset.begin ?? "", {
      listener: value("listener"),
      code: value("code") || null,
    });
    if (status === 200) location.assign(told.at);
    else say(`Not begun: ${told.what}. ${told.hint ?? ""}.`);
  } catch {
    say("Not begun: there is no connection. Try again.");
  }
}

/** @param {KeyboardEvent} event */
function key(event) {
  const at = /** @type {HTMLElement} */ (event.target);
  if (event.ctrlKey || event.altKey || event.metaKey || at.matches("textarea, [type=text], #volume, summary")) return;
  if (!main().dataset.at) return;
  const button = all(`[data-key="${event.key}"]`)[0];
  if (button) {
    void play(/** @type {HTMLElement} */ (button));
  } else if (event.key === "0" || event.key === "Escape") {
    stop();
  } else if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
    if (at.matches("input.pebble")) choose(/** @type {HTMLInputElement} */ (at));
    const by = (event.key === "ArrowRight" ? 1 : -1) * (event.shiftKey ? 10 : 1);
    push(by);
  } else if (event.key === "Enter" && !at.matches("button, a")) {
    void keep();
  } else {
    return;
  }
  event.preventDefault();
}

/** Sets up the part that is shown now. */
function mount() {
  sounds = new Map();
  heard = new Set();
  document
    .getElementById("begin")
    ?.addEventListener("submit", (event) => void begin(/** @type {SubmitEvent} */ (event)));
  if (!main().dataset.at) return;
  const slider = /** @type {HTMLInputElement} */ (document.getElementById("volume"));
  slider.value = sessionStorage.getItem(VOLUME) ?? slider.value;
  slider.addEventListener("input", showVolume);
  showVolume();
  for (const button of all("[data-sound]")) {
    button.addEventListener("click", () => void play(/** @type {HTMLElement} */ (button)));
  }
  for (const input of /** @type {HTMLInputElement[]} */ (all("#stone, input.pebble, input[name=odd]"))) {
    input.addEventListener("input", () => {
      if (input.name !== "odd") read(input);
      if (input.classList.contains("pebble")) choose(input);
      settle();
    });
    if (input.classList.contains("pebble")) input.addEventListener("focus", () => choose(input));
  }
  document.getElementById("keep")?.addEventListener("click", () => void keep());
  document.getElementById("leave")?.addEventListener("click", () => void leave());
  load().then(settle, () => say("The sounds could not be fetched; reload the page."));
}

document.addEventListener("keydown", key);
mount();
