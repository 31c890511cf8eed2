// The page Listen: buttons and keys around the player.

import { Player, SWITCH_S, soon, stretch, Voice } from "./audition.js";
import { say } from "./say.js";

/** @type {AudioContext | null} */
let context = null;
/** @type {GainNode | null} */
let volume = null;
/** @type {Player | null} */
let player = null;
/** Decoded clips of the moment that is shown, by address. @type {Map<string, Promise<{ buffer: AudioBuffer, trimDb: number, remarks: string[] }>>} */
let clips = new Map();
/** Volume in dB; quiet to begin with. */
let volumeDb = -30;

const factor = (/** @type {number} */ db) => 10 ** (db / 20);

/** @param {HTMLElement} main */
export function mountListen(main) {
  const audition = main.querySelector("#audition");
  player?.stop();
  if (!(audition instanceof HTMLElement)) return;
  clips = new Map();
  new Desk(audition);
}

class Desk {
  /** @param {HTMLElement} root */
  constructor(root) {
    this.root = root;
    this.onsets = /** @type {number[]} */ (JSON.parse(root.dataset.onsets ?? "[]"));
    this.seconds = Number(root.dataset.seconds);
    this.buttons = /** @type {HTMLButtonElement[]} */ ([...root.querySelectorAll("button.voice")]);
    this.play = /** @type {HTMLButtonElement} */ (root.querySelector("#play"));
    this.at = /** @type {HTMLElement} */ (root.querySelector("#at"));
    this.heard = 0;
    /** The one before, to go back and forth. */
    this.before = 0;
    this.isPlaying = false;
    this.offset = 0;
    /** Where the stretch that runs begins. */
    this.base = 0;
    this.play.addEventListener("click", () => this.toggle());
    for (const [i, button] of this.buttons.entries()) button.addEventListener("click", () => this.choose(i));
    for (const id of ["loop", "loop-what"])
      root.querySelector(`#${id}`)?.addEventListener("change", () => this.restart());
    root.querySelector("#matched")?.addEventListener("change", () => this.gains());
    const slider = /** @type {HTMLInputElement} */ (root.querySelector("#volume"));
    slider.value = String(volumeDb);
    const turn = () => {
      volumeDb = Number(slider.value);
      const told = root.querySelector("#volume-db");
      if (told) told.textContent = `${volumeDb < 0 ? "−" : ""}${Math.abs(volumeDb)} dB`;
      if (context && volume) volume.gain.setTargetAtTime(factor(volumeDb), context.currentTime, 0.02);
    };
    slider.addEventListener("input", turn);
    turn();
    this.canvas = /** @type {HTMLCanvasElement} */ (root.querySelector("#wave-lane"));
    this.canvas.parentElement?.addEventListener("click", (event) => {
      const box = this.canvas.getBoundingClientRect();
      this.jump(((event.clientX - box.left) / box.width) * this.seconds);
    });
    /** Second the read-out stands at, in tenths. @type {number | null} */
    this.told = null;
    this.onKey = (/** @type {KeyboardEvent} */ event) => this.key(event);
    document.addEventListener("keydown", this.onKey);
    this.mark();
    this.at.textContent = "Ready.";
    this.tick();
    this.fetchAhead();
  }

  /** The sound card, asked for once. */
  open() {
    if (context) return;
    context = new AudioContext();
    volume = new GainNode(context, { gain: factor(volumeDb) });
    volume.connect(context.destination);
    player = new Player(context, volume);
  }

  /**
   * The microphones' clips before they are asked for, one after the other, so that the page answers meanwhile: a browser
   * opens few connections at once, and twenty clips would hold up whatever is pressed.
   */
  async fetchAhead() {
    this.open();
    await this.draw();
    for (const button of this.buttons.filter((b) => b.dataset.mic)) {
      await new Promise((go) => setTimeout(go));
      if (!this.root.isConnected) return;
      // What cannot be fetched is said where it is fetched.
      await this.clip(button).catch(() => {});
    }
  }

  /** The microphones' clips, fetched and decoded. */
  async ready() {
    this.open();
    const mics = this.buttons.filter((b) => b.dataset.mic);
    return Promise.all(mics.map((b) => this.clip(b)));
  }

  /** @param {HTMLButtonElement} button */
  address(button) {
    const d = button.dataset;
    const asked = new URLSearchParams({
      source: this.root.dataset.source ?? "",
      moment: this.root.dataset.moment ?? "0",
    });
    if (d.mic) {
      asked.set("mic", d.mic);
      return `/listen/clip?${asked}`;
    }
    asked.set("reference", d.reference ?? "");
    asked.set("against", d.against ?? "");
    if (d.from && d.to) {
      asked.set("from_hz", d.from);
      asked.set("to_hz", d.to);
    }
    if (d.by) asked.set("by", d.by);
    const what = "left" in d ? "difference" : "corrected" in d ? "corrected" : "imposed";
    return `/listen/${what}?${asked}`;
  }

  /** @param {HTMLButtonElement} button */
  clip(button) {
    const address = this.address(button);
    const known = clips.get(address);
    if (known) return known;
    const made = fetchClip(address);
    clips.set(address, made);
    made.catch((e) => {
      clips.delete(address);
      say(e.message, "trouble");
      this.at.textContent = e.message;
    });
    return made;
  }

  /** Buttons whose clips run: the microphones and whatever else was chosen. */
  async voices() {
    const wanted = this.buttons.filter((b, i) => b.dataset.mic || i === this.heard || clips.has(this.address(b)));
    const ready = await Promise.all(wanted.map(async (button) => ({ button, clip: await this.clip(button) })));
    // Where a clip with an imposed difference had to be turned down, all are, so that it is compared fairly.
    const trimDb = Math.min(0, ...ready.map((r) => r.clip.trimDb));
    return ready.map(({ button, clip }) => ({ button, clip, trimDb }));
  }

  /**
   * Gain of a voice beside its clip's own, as a factor.
   * @param {{ button: HTMLButtonElement, clip: { trimDb: number }, trimDb: number }} voice
   */
  gainOf({ button, clip, trimDb }) {
    const matched = /** @type {HTMLInputElement} */ (this.root.querySelector("#matched")).checked;
    // The clip comes turned down to the match; unmatched is as it was recorded.
    const back = matched ? 0 : -Number(button.dataset.gain ?? 0);
    return factor(trimDb - clip.trimDb + back);
  }

  loop() {
    const on = /** @type {HTMLInputElement} */ (this.root.querySelector("#loop")).checked;
    const what = /** @type {HTMLSelectElement} */ (this.root.querySelector("#loop-what")).value;
    if (what === "all") return { on, span: /** @type {[number, number]} */ ([0, this.seconds]) };
    const i = Number(what);
    const start = Math.max(this.onsets[i] - 0.04, 0);
    const end = i + 1 < this.onsets.length ? Math.max(this.onsets[i + 1] - 0.04, start + 0.05) : this.seconds;
    return { on, span: /** @type {[number, number]} */ ([start, end]) };
  }

  async toggle() {
    if (this.isPlaying) {
      this.offset = this.now();
      this.halt();
    } else await this.begin(this.offset >= this.seconds ? 0 : this.offset);
  }

  /** Seconds into the moment. */
  now() {
    return context && player ? this.base + player.position(context.currentTime) : this.offset;
  }

  halt() {
    player?.stop();
    this.isPlaying = false;
    this.play.textContent = "Play";
  }

  /** @param {number} offset */
  async begin(offset) {
    await this.ready();
    if (!context || !player) return;
    await context.resume();
    const voices = await this.voices();
    this.running = voices;
    const { on, span } = this.loop();
    const from = on && (offset < span[0] || offset >= span[1]) ? span[0] : offset;
    const heard = voices.findIndex((v) => v.button === this.buttons[this.heard]);
    const isPart = on && (span[0] > 0 || span[1] < this.seconds);
    this.base = isPart ? span[0] : 0;
    const of = context;
    player.start(
      voices.map((v) => new Voice(isPart ? stretch(of, v.clip.buffer, span) : v.clip.buffer, this.gainOf(v))),
      // What ran before has faded by then.
      { at: soon(context) + SWITCH_S, offset: from - this.base, loop: on, heard },
    );
    this.isPlaying = true;
    this.play.textContent = "Stop";
  }

  async restart() {
    if (this.isPlaying) await this.begin(this.now());
  }

  /** @param {number} seconds */
  async jump(seconds) {
    this.offset = Math.min(Math.max(seconds, 0), this.seconds);
    if (this.isPlaying) await this.begin(this.offset);
  }

  /** @param {number} i */
  async choose(i) {
    if (i !== this.heard) this.before = this.heard;
    this.heard = i;
    this.mark();
    if (!this.isPlaying || !context || !player) {
      if (!this.buttons[i].dataset.mic) await this.clip(this.buttons[i]);
      return;
    }
    const lane = (this.running ?? []).findIndex((v) => v.button === this.buttons[i]);
    if (lane >= 0) player.hear(lane, soon(context));
    else await this.restart();
    this.draw();
  }

  gains() {
    if (!context || !player) return;
    for (const [lane, voice] of (this.running ?? []).entries()) {
      if (player.lanes[lane]) player.setGain(lane, this.gainOf(voice), soon(context));
    }
  }

  mark() {
    for (const [i, button] of this.buttons.entries()) button.setAttribute("aria-pressed", String(i === this.heard));
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (!this.root.isConnected) {
      document.removeEventListener("keydown", this.onKey);
      return;
    }
    const field = event.target;
    const typing =
      field instanceof HTMLSelectElement || (field instanceof HTMLInputElement && field.type !== "checkbox");
    if (typing || event.ctrlKey || event.metaKey || event.altKey) return;
    // What has the focus and is pressed by the space bar keeps it, the button that plays among them.
    const isPressed = field instanceof Element && field.closest("button, input, summary, a[href]") !== null;
    const number = /^[1-9]$/.test(event.key) ? Number(event.key) - 1 : -1;
    const mics = this.buttons.filter((b) => b.dataset.mic);
    if (number >= 0 && mics[number]) this.choose(this.buttons.indexOf(mics[number]));
    else if (event.key === "d") {
      const imposed = this.buttons.findIndex((b) => "imposed" in b.dataset);
      if (imposed >= 0) this.choose(this.heard === imposed ? this.before : imposed);
    } else if (event.key === " " && !isPressed) this.toggle();
    else if (event.key === "l") {
      const box = /** @type {HTMLInputElement} */ (this.root.querySelector("#loop"));
      box.checked = !box.checked;
      this.restart();
    } else if (event.key === "ArrowRight" || event.key === "ArrowLeft") {
      const now = this.isPlaying ? this.now() : this.offset;
      const next =
        event.key === "ArrowRight"
          ? this.onsets.find((s) => s - 0.04 > now + 0.01)
          : this.onsets.findLast((s) => s - 0.04 < now - 0.2);
      this.jump(Math.max((next ?? (event.key === "ArrowLeft" ? 0.04 : now)) - 0.04, 0));
    } else return;
    event.preventDefault();
  }

  /** The waveform of what is heard, onsets and the cursor. */
  async draw() {
    const button = this.buttons[this.heard];
    const pen = this.canvas.getContext("2d");
    if (!button || !pen) return;
    let buffer;
    try {
      buffer = (await this.clip(button)).buffer;
    } catch {
      return;
    }
    const { width, height } = this.canvas;
    const style = getComputedStyle(this.root);
    const x = buffer.getChannelData(0);
    pen.clearRect(0, 0, width, height);
    pen.fillStyle = style.getPropertyValue("--rule");
    for (const s of this.onsets) pen.fillRect((s / this.seconds) * width, 0, 1.5, height);
    const shape = button.querySelector(".shape");
    pen.fillStyle = shape ? getComputedStyle(shape).stroke : style.color;
    let peak = 1e-9;
    for (const v of x) peak = Math.max(peak, Math.abs(v));
    const per = x.length / width;
    for (let column = 0; column < width; column++) {
      let [low, high] = [0, 0];
      for (let i = Math.floor(column * per); i < Math.min((column + 1) * per, x.length); i++) {
        low = Math.min(low, x[i]);
        high = Math.max(high, x[i]);
      }
      const top = (1 - high / peak) * (height / 2);
      pen.fillRect(column, top, 1, Math.max(((high - low) / peak) * (height / 2), 1));
    }
  }

  tick() {
    if (!this.root.isConnected) return;
    if (this.isPlaying) {
      const now = this.now();
      if (!this.loop().on && now >= this.seconds) {
        this.offset = 0;
        this.halt();
      }
      this.cursor(now);
    } else this.cursor(this.offset);
    requestAnimationFrame(() => this.tick());
  }

  /** @param {number} seconds */
  cursor(seconds) {
    const lanes = this.canvas.parentElement;
    lanes?.style.setProperty("--at", `${Math.min(100, (100 * seconds) / this.seconds)}%`);
    const tenth = Math.floor(seconds * 10) / 10;
    if (tenth === this.told) return;
    this.told = tenth;
    const event = this.onsets.findLastIndex((s) => s - 0.04 <= seconds) + 1;
    const button = this.buttons[this.heard];
    const name = button?.dataset.name ?? button?.querySelector("span")?.textContent ?? "";
    this.at.textContent = `${seconds.toFixed(1)} of ${this.seconds.toFixed(1)} s${event ? `, event ${event}` : ""}: ${name}`;
  }
}

/** @param {string} address */
async function fetchClip(address) {
  const answer = await fetch(address);
  if (!answer.ok) {
    const told = await answer.json();
    throw new Error(`${told.what}. ${told.hint ?? ""}`);
  }
  const about = JSON.parse(answer.headers.get("x-about") ?? "{}");
  const bytes = await answer.arrayBuffer();
  const buffer = await /** @type {AudioContext} */ (context).decodeAudioData(bytes);
  return { buffer, trimDb: Number(about.trim_db ?? 0), remarks: about.remarks ?? [] };
}
