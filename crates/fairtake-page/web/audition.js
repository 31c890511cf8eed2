// All clips run at once on one clock; switching only moves gains. So whatever is switched to is where the others are, and
// no sample is skipped or repeated.

/** Length of a switch in seconds: long enough not to click, short enough to be at once. */
export const SWITCH_S = 0.012;
/** Length of a fade at the ends of a looped stretch in seconds. */
const FADE_S = 0.005;
/** Straight pieces that a switch is made of. */
const PIECES = 32;
/** How far ahead a move is ordered at least, in seconds: what is ordered for a moment that is over is a step. */
const AHEAD_S = 0.005;

/** One thing that can be heard. */
export class Voice {
  /**
   * @param {AudioBuffer} buffer
   * @param {number} gain factor
   */
  constructor(buffer, gain = 1) {
    this.buffer = buffer;
    this.gain = gain;
  }
}

/**
 * A move of a gain: from one height to another, begun at a moment.
 * @typedef {{ at: number, from: number, to: number }} Move
 */

/** Height of a raised cosine from 0 to 1. @param {number} share */
const risen = (share) => (1 - Math.cos(Math.PI * Math.min(Math.max(share, 0), 1))) / 2;

/** Where a move stands at a moment. @param {Move} move @param {number} at */
const standing = ({ at: begun, from, to }, at) => from + (to - from) * risen((at - begun) / SWITCH_S);

/** Moves a gain along a raised cosine. @param {AudioParam} gain @param {Move} move */
function carryOut(gain, { at, from, to }) {
  gain.cancelScheduledValues(at);
  // A ramp, not a step: where an earlier move was cut short, it is joined without a jump.
  gain.linearRampToValueAtTime(from, at);
  for (let k = 1; k <= PIECES; k++) {
    gain.linearRampToValueAtTime(from + (to - from) * risen(k / PIECES), at + (SWITCH_S * k) / PIECES);
  }
}

/**
 * The soonest moment for which something can be ordered: the sound card takes a buffer at a time, and what it took is gone.
 * @param {BaseAudioContext} context
 */
export function soon(context) {
  return context.currentTime + AHEAD_S + ("baseLatency" in context ? Number(context.baseLatency) : 0);
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
    /** Each with the last move of its gain. @type {{ voice: Voice, source: AudioBufferSourceNode, gain: GainNode, move: Move }[]} */
    this.lanes = [];
    this.started = 0;
    this.from = 0;
    this.seconds = 0;
    this.loop = false;
    /** Which lane is heard. */
    this.heard = 0;
  }

  /**
   * Starts every voice at the same moment, on whole samples: between samples the browser would have to invent some.
   * @param {Voice[]} voices
   * @param {{ at: number, offset: number, loop: boolean, heard: number }} how `offset` in seconds into the buffers
   */
  start(voices, { at, offset, loop, heard }) {
    this.stop();
    const rate = this.context.sampleRate;
    const whole = (/** @type {number} */ seconds) => Math.round(seconds * rate) / rate;
    this.started = whole(at);
    this.seconds = Math.min(...voices.map((v) => v.buffer.duration));
    this.from = whole(Math.min(offset, this.seconds));
    this.loop = loop;
    this.heard = heard;
    this.lanes = voices.map((voice, i) => {
      const source = new AudioBufferSourceNode(this.context, { buffer: voice.buffer, loop });
      // Clips of one moment agree to a sample; should one be longer, all go round together.
      if (loop && voice.buffer.duration > this.seconds) source.loopEnd = this.seconds;
      const gain = new GainNode(this.context, { gain: 0 });
      source.connect(gain).connect(this.out);
      source.start(this.started, this.from);
      // From silence, since the clip may begin in the middle of a sound.
      gain.gain.setValueAtTime(0, this.context.currentTime);
      const move = { at: this.started, from: 0, to: i === heard ? voice.gain : 0 };
      carryOut(gain.gain, move);
      return { voice, source, gain, move };
    });
  }

  /**
   * Lets another voice be heard from a moment on: all gains move over the same raised-cosine stretch, and their shares
   * add up to one, so that sound which is the same in all stays at its level; also where a switch is cut short.
   * @param {number} lane
   * @param {number} at
   */
  hear(lane, at) {
    if (lane === this.heard || !this.lanes[lane]) return;
    this.heard = lane;
    for (const [i, { voice }] of this.lanes.entries()) this.#move(i, i === lane ? voice.gain : 0, at);
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
   * @param {number} i
   * @param {number} to
   * @param {number} asked when; before the start there is nothing to be moved
   */
  #move(i, to, asked) {
    const lane = this.lanes[i];
    const at = Math.max(asked, this.started);
    const from = standing(lane.move, at);
    if (from === to && lane.move.to === to) return;
    lane.move = { at, from, to };
    carryOut(lane.gain.gain, lane.move);
  }

  /** Seconds into the buffers at a moment of the clock. @param {number} now */
  position(now) {
    const gone = this.from + Math.max(now - this.started, 0);
    return this.loop ? gone % this.seconds : gone;
  }

  /** Ends as soon as it can, with a fade of the length of a switch. */
  stop() {
    const at = soon(this.context);
    for (const { source, gain, move } of this.lanes) {
      carryOut(gain.gain, { at, from: standing(move, at), to: 0 });
      source.stop(at + 2 * SWITCH_S);
    }
    this.lanes = [];
  }
}
