// The player: a performance in pieces of sound, each given to the browser at its very frame.
//
// The clock is the audio's. Pieces are laid well ahead, so that nothing depends on timers or on
// frames of animation; a change of mind cuts what is laid at one frame and goes on from there, and
// since a performance is the same whenever it is laid out, nothing is heard of the cut.

import { Performance, firstAfter } from "./performance.js";
import { readStroke } from "./tones.js";
import { struckIn } from "./struck.js";

/** @typedef {import("./performance.js").Section} Section */
/** @typedef {import("./performance.js").PlayedEvent} PlayedEvent */
/** @typedef {import("./performance.js").Click} Click */
/** @typedef {{chanter: number, drone: number, metronome: number}} Faders amplitude factors */

const FIRST_PIECE_S = 0.4;
const PIECE_S = 2;
const AHEAD_S = 20;
const START_S = 0.06;
const CUT_S = 0.15;
const FADE_S = 0.04;
const LATE_S = 0.005;
const TICK_MS = 200;

export class Player {
  /**
   * @param {any} sound
   * @param {number[][][]} gracenotes
   * @param {Float32Array} noise
   * @param {() => void} onEnd called when a performance has come to its end
   */
  constructor(sound, gracenotes, noise, onEnd) {
    this.sound = sound;
    this.gracenotes = gracenotes;
    this.noise = noise;
    this.onEnd = onEnd;
    /** Made by the first press. @type {AudioContext|null} */
    this.context = null;
    /** @type {Performance|null} */
    this.performance = null;
    /** @type {Faders} */
    this.faders = { chanter: 1, drone: 1, metronome: 1 };
    this.strokes = Object.fromEntries(
      Object.entries(sound.clicks).map(([kind, one]) => [kind, readStroke(/** @type {any} */ (one))]),
    );
    this._origin = 0;
    this._laidTo = 0;
    /** @type {{node: AudioBufferSourceNode, first: number, end: number}[]} */
    this._pieces = [];
    /** @type {number|null} */
    this._timer = null;
    /** @type {Record<keyof Faders, GainNode>|null} */
    this._gains = null;
    /** @type {GainNode|null} */
    this._master = null;
    /** @type {AudioBufferSourceNode[]} */
    this._drones = [];
    /** @type {import("./tones.js").Bank|null} */
    this._droneBank = null;
    this._clickGain = 1;
  }

  get isPlaying() {
    return this.performance !== null;
  }

  /** Set a fader; heard at once, without a click. @param {keyof Faders} name @param {number} gain */
  fade(name, gain) {
    this.faders[name] = gain;
    if (this._gains && this.context) {
      this._gains[name].gain.setTargetAtTime(gain, this.context.currentTime, 0.02);
    }
  }

  /**
   * Start playing. To be called by a press: browsers allow sound only then.
   * @param {(number: number, before: Section[]) => Section|null} decide the next section
   */
  start(decide) {
    this.stop();
    const { rate } = this.sound;
    this.context ??= new AudioContext({ sampleRate: rate, latencyHint: "interactive" });
    const context = this.context;
    void context.resume();
    const master = context.createGain();
    master.connect(context.destination);
    this._master = master;
    const gain = (/** @type {keyof Faders} */ name) => {
      const node = context.createGain();
      node.gain.value = this.faders[name];
      node.connect(master);
      return node;
    };
    this._gains = { chanter: gain("chanter"), drone: gain("drone"), metronome: gain("metronome") };
    const asked = { at: context.currentTime, ms: performance.now() };
    this._laidTo = 0;
    this._decide = decide;
    const first = decide(0, []);
    if (first) this._setBank(first.bank);
    this.performance = this._perform([]);
    // What takes time comes before the beginning is fixed: the clock runs on meanwhile.
    this.performance.chanter(0, Math.round(FIRST_PIECE_S * rate));
    this._droneBank?.drones();
    const meanwhile = "close" in context ? (performance.now() - asked.ms) / 1000 : 0;
    const now = Math.max(context.currentTime, asked.at + meanwhile);
    this._origin = Math.ceil((now + START_S) * rate);
    this._lay(FIRST_PIECE_S);
    this._startDrones(0, true);
    this._timer = setInterval(() => this._tick(), TICK_MS);
    setTimeout(() => this._tick(), 0);
  }

  /** @param {import("./tones.js").Bank} bank */
  _setBank(bank) {
    this._clickGain = bank.pitch.gains.clicks;
    this._droneBank = bank;
  }

  /** @param {Section[]} kept */
  _perform(kept) {
    const decide = /** @type {NonNullable<typeof this._decide>} */ (this._decide);
    /** @type {Section[]} */
    const before = [];
    return new Performance(this.sound, this.noise, this.gracenotes, (number) => {
      const section = kept[number] ?? decide(number, before);
      if (section) before.push(section);
      return section;
    });
  }

  /** @type {((number: number, before: Section[]) => Section|null)|undefined} */
  _decide;

  /** The frame of the performance that the clock is at. */
  get frame() {
    if (!this.context) return 0;
    return this.context.currentTime * this.sound.rate - this._origin;
  }

  /** The frame that is being heard: the clock, less the way to the ear. */
  get heardFrame() {
    const late = this.context ? this.context.outputLatency || this.context.baseLatency || 0 : 0;
    return this.frame - late * this.sound.rate;
  }

  /** @param {number} frame */
  _time(frame) {
    return (this._origin + frame) / this.sound.rate;
  }

  _tick() {
    const { performance } = this;
    if (!performance) return;
    const { rate } = this.sound;
    const now = this.frame;
    this._pieces = this._pieces.filter((piece) => piece.end > now - rate);
    if (this._laidTo < now + AHEAD_S * rate) this._lay(PIECE_S);
    if (performance.ended) {
      const last = performance.sections[performance.sections.length - 1];
      if (!last || now > last.endFrame + FADE_S * rate) {
        this.stop();
        this.onEnd();
      }
    }
  }

  /** Lay everything up to a frame, for whoever renders without a clock. @param {number} frame */
  layTo(frame) {
    while (this.performance && this._laidTo < frame) {
      const before = this._laidTo;
      this._lay(PIECE_S);
      if (this._laidTo === before) return;
    }
  }

  /** Lay the next piece. @param {number} seconds */
  _lay(seconds) {
    const { context, performance, _gains: gains } = this;
    if (!context || !performance || !gains) return;
    const { rate } = this.sound;
    const first = this._laidTo;
    let end = first + Math.round(seconds * rate);
    performance.extendTo(end);
    if (performance.ended) {
      const last = performance.sections[performance.sections.length - 1];
      end = Math.min(end, last ? last.endFrame : first);
    }
    if (end <= first) return;
    const strokes = Object.fromEntries(
      Object.entries(this.strokes).map(([kind, one]) => [kind, one.map((x) => x * this._clickGain)]),
    );
    this._give(performance.chanter(first, end), first, gains.chanter);
    this._give(performance.metronome(first, end, strokes), first, gains.metronome);
    this._laidTo = end;
  }

  /** @param {Float32Array} samples @param {number} first @param {AudioNode} to */
  _give(samples, first, to) {
    const context = /** @type {AudioContext} */ (this.context);
    const buffer = context.createBuffer(1, samples.length, this.sound.rate);
    buffer.getChannelData(0).set(samples);
    const node = context.createBufferSource();
    node.buffer = buffer;
    node.connect(to);
    this._begin(node, first, 0);
    this._pieces.push({ node, first, end: first + samples.length });
  }

  /**
   * Begin a sound at its frame, or, if that is over on a busy machine, within it: never late.
   * @param {AudioBufferSourceNode} node @param {number} frame @param {number} from in the sound
   */
  _begin(node, frame, from) {
    const { rate } = this.sound;
    const context = /** @type {AudioContext} */ (this.context);
    const now = Math.ceil(context.currentTime * rate) - this._origin;
    const missed = frame < now ? now + Math.round(LATE_S * rate) - frame : 0;
    node.start(this._time(frame + missed), (from + missed) / rate);
  }

  /** @param {number} frame @param {boolean} strikes */
  _startDrones(frame, strikes) {
    const { context, _gains: gains, _droneBank: bank } = this;
    if (!context || !gains || !bank) return;
    const loop = bank.drones();
    const size = /** @type {Float32Array} */ (loop[0]).length;
    const buffer = context.createBuffer(2, size, this.sound.rate);
    loop.forEach((channel, number) => buffer.getChannelData(number).set(channel));
    const struck = strikes && this.sound.strike ? struckIn(loop, frame % size, this.sound) : null;
    const length = struck ? /** @type {Float32Array} */ (struck[0]).length : 0;
    if (struck) {
      const beginning = context.createBuffer(2, length, this.sound.rate);
      struck.forEach((channel, number) => beginning.getChannelData(number).set(channel));
      const node = context.createBufferSource();
      node.buffer = beginning;
      node.connect(gains.drone);
      this._begin(node, frame, 0);
      this._drones.push(node);
    }
    const node = context.createBufferSource();
    node.buffer = buffer;
    node.loop = true;
    node.connect(gains.drone);
    const begins = frame + length;
    this._begin(node, begins, begins % size);
    this._drones.push(node);
  }

  /**
   * Decide anew from the first section on that begins late enough, keeping what is being played.
   */
  decideAgain() {
    const { performance } = this;
    if (!performance) return;
    const { rate } = this.sound;
    const cut = Math.max(0, Math.ceil(this.frame + CUT_S * rate));
    const kept = performance.sections.filter((section) => section.frame < cut + CUT_S * rate);
    this.performance = this._perform(kept);
    this._cut(cut);
    this._laidTo = Math.min(this._laidTo, cut);
    this._lay(FIRST_PIECE_S);
    this._lay(PIECE_S);
  }

  /** Take back what is laid from a frame on. @param {number} frame */
  _cut(frame) {
    for (const piece of this._pieces) {
      if (piece.end <= frame) continue;
      if (piece.first >= frame) piece.node.disconnect();
      else piece.node.stop(this._time(frame));
    }
    this._pieces = this._pieces.filter((piece) => piece.first < frame);
  }

  /** Stop, gently; safe to call at any time. */
  stop() {
    if (this._timer !== null) clearInterval(this._timer);
    this._timer = null;
    this.performance = null;
    const { context, _master: master } = this;
    if (context && master) {
      const end = context.currentTime + FADE_S;
      master.gain.setValueAtTime(1, context.currentTime);
      master.gain.linearRampToValueAtTime(0, end);
      const nodes = [...this._pieces.map((piece) => piece.node), ...this._drones];
      for (const node of nodes) node.stop(end);
      setTimeout(() => master.disconnect(), 1000 * FADE_S + 100);
    }
    this._pieces = [];
    this._drones = [];
    this._master = null;
    this._gains = null;
  }

  /** The event that sounds at a frame, or null. @param {number} frame @returns {PlayedEvent|null} */
  eventAt(frame) {
    const events = this.performance?.events ?? [];
    const event = events[firstAfter(events, frame, (one) => one.end)];
    return event && event.start <= frame ? event : null;
  }

  /** The last click before a frame, or null. @param {number} frame @returns {Click|null} */
  clickAt(frame) {
    const clicks = this.performance?.clicks ?? [];
    return clicks[firstAfter(clicks, frame, (one) => one.frame) - 1] ?? null;
  }

  /** The section that a frame lies in, or null. @param {number} frame */
  sectionAt(frame) {
    const sections = this.performance?.sections ?? [];
    const section = sections[firstAfter(sections, frame, (one) => one.endFrame)];
    return section && section.frame <= frame ? section : null;
  }
}
