// @ts-check
// All clips run at once on one clock; switching only moves gains. So whatever is switched to is where the others are, and
// no sample is skipped or repeated.

/** Length of a switch in seconds: long enough not to click, short enough to be at once. */
export const SWITCH_S = 0.012;
/** Length of a fade at the ends of a looped stretch in seconds. */
const FADE_S = 0.005;

/** One thing that can be heard. */
export class Voice {
  /**
   * @param {AudioBuffer} buffer
   * @param {number} gain factor, 1 or less
   */
  constructor(buffer, gain = 1) {
    this.buffer = buffer;
    this.gain = gain;
  }
}

/** Straight pieces that a switch is made of. */
const PIECES = 32;

/** Height of a raised cosine from 0 to 1. @param {number} share */
const risen = (share) => (1 - Math.cos(Math.PI * Math.min(Math.max(share, 0), 1))) / 2;

/**
 * Moves a gain along a raised cosine.
 * @param {AudioParam} gain
 * @param {number} from
 * @param {number} to
 * @param {number} at
 */
function move(gain, from, to, at) {
  gain.cancelScheduledValues(at);
  // A ramp, not a step: where an earlier move was cut short, it is joined without a jump.
  gain.linearRampToValueAtTime(from, at);
  for (let k = 1; k <= PIECES; k++) {
    gain.linearRampToValueAtTime(from + (to - from) * risen(k / PIECES), at + (SWITCH_S * k) / PIECES);
  }
}

/**
 * A stretch of a clip that can be looped: its ends fade, so that the join is silent.
 * @param {BaseAudioContext} context
 * @param {AudioBuffer} buffer
 * @param {[number, number]} span in seconds
 */
export function stretch(context, buffer, [start, end]) {
  const rate = buffer.sampleRate;
  const x = buffer.getChannelData(0).slice(Math.round(start * rate), Math.round(end * rate));
  const n = Math.min(Math.round(FADE_S * rate), Math.floor(x.length / 2));
  for (let i = 0; i < n; i++) {
    const share = risen((i + 0.5) / n);
    x[i] *= share;
    x[x.length - 1 - i] *= share;
  }
  const made = context.createBuffer(1, Math.max(x.length, 1), rate);
  made.copyToChannel(x, 0);
  return made;
}

/** Plays voices in step. */
export class Player {
  /**
   * @param {BaseAudioContext} context
   * @param {AudioNode} out
   */
  constructor(context, out) {
    this.context = context;
    this.out = out;
    /** @type {{ voice: Voice, source: AudioBufferSourceNode, gain: GainNode, level: number }[]} */
    this.lanes = [];
    this.started = 0;
    this.from = 0;
    this.seconds = 0;
    this.loop = false;
    /** Which lane is heard. */
    this.heard = 0;
    /** @type {{ at: number, lane: number, from: number, to: number }[]} */
    this.moves = [];
  }

  /**
   * Starts every voice at the same moment.
   * @param {Voice[]} voices
   * @param {{ at: number, offset: number, loop: boolean, heard: number }} how `offset` in seconds into the buffers
   */
  start(voices, { at, offset, loop, heard }) {
    this.stop();
    this.started = at;
    this.from = offset;
    this.seconds = Math.min(...voices.map((v) => v.buffer.duration));
    this.loop = loop;
    this.heard = heard;
    this.lanes = voices.map((voice, i) => {
      const source = new AudioBufferSourceNode(this.context, { buffer: voice.buffer, loop });
      // Clips of one moment agree to a sample; all go round together.
      if (loop) source.loopEnd = this.seconds;
      const gain = new GainNode(this.context, { gain: 0 });
      source.connect(gain).connect(this.out);
      source.start(at, offset);
      const level = i === heard ? voice.gain : 0;
      // From silence, since the clip may begin in the middle of a sound.
      if (level > 0) {
        gain.gain.setValueAtTime(0, this.context.currentTime);
        move(gain.gain, 0, level, at);
      }
      return { voice, source, gain, level };
    });
  }

  /**
   * Lets another voice be heard from a moment on: both gains move over the same raised-cosine stretch, and their shares
   * add up to one, so that sound which is the same in both stays at its level.
   * @param {number} lane
   * @param {number} at
   */
  hear(lane, at) {
    if (lane === this.heard || !this.lanes[lane]) return;
    this.#move(this.heard, 0, at);
    this.#move(lane, this.lanes[lane].voice.gain, at);
    this.heard = lane;
  }

  /**
   * Changes the gain of a voice, heard or not.
   * @param {number} lane
   * @param {number} gain
   * @param {number} at
   */
  setGain(lane, gain, at) {
    this.lanes[lane].voice.gain = gain;
    if (lane === this.heard) this.#move(lane, gain, at);
  }

  /**
   * @param {number} lane
   * @param {number} to
   * @param {number} at
   */
  #move(lane, to, at) {
    const { gain, level } = this.lanes[lane];
    if (level === to) return;
    const from = this.#levelAt(lane, at);
    move(gain.gain, from, to, at);
    this.moves.push({ at, lane, from, to });
    this.lanes[lane].level = to;
  }

  /**
   * Where a gain stands, also in the middle of a move.
   * @param {number} lane
   * @param {number} at
   */
  #levelAt(lane, at) {
    const last = this.moves.findLast((m) => m.lane === lane);
    if (!last || at >= last.at + SWITCH_S) return this.lanes[lane].level;
    const share = (at - last.at) / SWITCH_S;
    return last.from + (last.to - last.from) * risen(share);
  }

  /** Seconds into the buffers at a moment of the clock. @param {number} now */
  position(now) {
    const gone = this.from + Math.max(now - this.started, 0);
    return this.loop ? gone % this.seconds : gone;
  }

  /** Ends at once, with a fade of the length of a switch. */
  stop() {
    const now = this.context.currentTime;
    for (const [i, { source, gain }] of this.lanes.entries()) {
      const from = this.#levelAt(i, now);
      move(gain.gain, from, 0, now);
      source.stop(now + 2 * SWITCH_S);
    }
    this.lanes = [];
    this.moves = [];
  }
}
