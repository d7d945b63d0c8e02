// The player: a rendition in pieces of sound, each given to the browser at its very frame.
//
// Who else has such data, an editor in the browser for one, plays it by this same script:
//
//     const music = readMusic(data);                  // data: what `page_contents` has written
//     const lineOf = linesOf(data.exercises[0]);
//     const bank = new Bank(music.sound, data.pitches[0]);
//     const player = new Player(music, () => { ... });  // called when all is played
//     const choice = { ...usualChoice(data, lineOf, bank), mode: "loop", tempo };
//     player.start(decider(choice, readFraction));    // by a press: browsers want one
//
//     player.pause(); player.resume(); player.stop(); // all safe to call at any time
//     player.fade("drone", 0.5);
//     choice.from = ...; choice.to = ...;             // loop what lies between, in beats
//     choice.tempo = ...; choice.version += 1;
//     player.decideAgain();                           // from the next section on, without a gap
//     choice.startAt = ...; player.start(decider(choice, readFraction));  // seek: begin there
//
//     const { event, section, click } = player.heard();  // when a picture is drawn, as often
//                                                        // as it likes: what sounds by then
//
// The clock is the audio's. Pieces are laid well ahead, so that nothing depends on timers or on
// frames of animation; a change of mind cuts what is laid at one frame and goes on from there, and
// since a rendition is the same whenever it is laid out, nothing is heard of the cut.

import { Rendition, firstAfter } from "./rendition.js";
import { struckIn } from "./struck.js";

/** @typedef {import("./music.js").Music} Music */
/** @typedef {import("./rendition.js").Section} Section */
/** @typedef {import("./rendition.js").PlayedEvent} PlayedEvent */
/** @typedef {import("./rendition.js").Click} Click */
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
   * @param {Music} music
   * @param {() => void} onEnd called when a rendition has come to its end
   */
  constructor(music, onEnd) {
    this.music = music;
    this.sound = music.sound;
    this.onEnd = onEnd;
    /** Made by the first press. @type {AudioContext|null} */
    this.context = null;
    /** @type {Rendition|null} */
    this.rendition = null;
    /** @type {Faders} */
    this.faders = { chanter: 1, drone: 1, metronome: 1 };
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
    this._struckGains = { clicks: 1, rolls: 1 };
    this._isPaused = false;
  }

  /** Whether something is being played, or would be but for a pause. */
  get isPlaying() {
    return this.rendition !== null;
  }

  get isPaused() {
    return this._isPaused;
  }

  /** Hold everything where it is. */
  pause() {
    if (!this.isPlaying || this._isPaused) return;
    this._isPaused = true;
    void this.context?.suspend();
  }

  /** Go on from there, to the sample. */
  resume() {
    if (!this._isPaused) return;
    this._isPaused = false;
    void this.context?.resume();
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
    this.rendition = this._render([]);
    // What takes time comes before the beginning is fixed: the clock runs on meanwhile.
    this.rendition.chanter(0, Math.round(FIRST_PIECE_S * rate));
    const dronesStart = this.rendition.dronesStart;
    const struck = this._droneBank && this.struck(this._droneBank, dronesStart);
    const meanwhile = "close" in context ? (performance.now() - asked.ms) / 1000 : 0;
    const now = Math.max(context.currentTime, asked.at + meanwhile);
    this._origin = Math.ceil((now + START_S) * rate);
    this._lay(FIRST_PIECE_S);
    if (struck) this._startDrones(dronesStart, struck);
    this._timer = setInterval(() => this._tick(), TICK_MS);
    setTimeout(() => this._tick(), 0);
  }

  /** @param {import("./tones.js").Bank} bank */
  _setBank(bank) {
    const { clicks, rolls } = bank.pitch.gains;
    this._struckGains = { clicks, rolls };
    this._droneBank = bank;
  }

  /** @param {Section[]} kept */
  _render(kept) {
    const decide = /** @type {NonNullable<typeof this._decide>} */ (this._decide);
    /** @type {Section[]} */
    const before = [];
    return new Rendition(this.music, (number) => {
      const section = kept[number] ?? decide(number, before);
      if (section) before.push(section);
      return section;
    });
  }

  /** @type {((number: number, before: Section[]) => Section|null)|undefined} */
  _decide;

  /** The frame of the rendition that the clock is at. */
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
    const { rendition } = this;
    if (!rendition) return;
    const { rate } = this.sound;
    const now = this.frame;
    this._pieces = this._pieces.filter((piece) => piece.end > now - rate);
    if (this._laidTo < now + AHEAD_S * rate) this._lay(PIECE_S);
    if (rendition.ended) {
      const last = rendition.sections[rendition.sections.length - 1];
      if (!last || now > last.endFrame + FADE_S * rate) {
        this.stop();
        this.onEnd();
      }
    }
  }

  /** Lay everything up to a frame, for whoever renders without a clock. @param {number} frame */
  layTo(frame) {
    while (this.rendition && this._laidTo < frame) {
      const before = this._laidTo;
      this._lay(PIECE_S);
      if (this._laidTo === before) return;
    }
  }

  /** Lay the next piece. @param {number} seconds */
  _lay(seconds) {
    const { context, rendition, _gains: gains } = this;
    if (!context || !rendition || !gains) return;
    const { rate } = this.sound;
    const first = this._laidTo;
    let end = first + Math.round(seconds * rate);
    rendition.extendTo(end);
    if (rendition.ended) {
      const last = rendition.sections[rendition.sections.length - 1];
      end = Math.min(end, last ? last.endFrame : first);
    }
    if (end <= first) return;
    this._give(rendition.chanter(first, end), first, gains.chanter);
    this._give(rendition.metronome(first, end, this._struckGains), first, gains.metronome);
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
    this._begin(node, first, null);
    this._pieces.push({ node, first, end: first + samples.length });
  }

  /**
   * Begin a sound at its frame, or, if that is over on a busy machine, within it: never late.
   * @param {AudioBufferSourceNode} node @param {number} frame
   * @param {{from: number, size: number}|null} loop where in a loop of how many frames it begins
   */
  _begin(node, frame, loop) {
    const { rate } = this.sound;
    const context = /** @type {AudioContext} */ (this.context);
    const now = Math.ceil(context.currentTime * rate) - this._origin;
    const missed = frame < now ? now + Math.round(LATE_S * rate) - frame : 0;
    const into = loop ? (loop.from + missed) % loop.size : missed;
    node.start(this._time(frame + missed), into / rate);
  }

  /**
   * The drones as they begin at a frame; worked out once, ahead of the first press if it is asked.
   * @param {import("./tones.js").Bank} bank @param {number} frame
   */
  struck(bank, frame = 0) {
    const known = this._known;
    if (known && known.bank === bank && known.frame === frame) return known;
    const loop = bank.drones();
    const size = /** @type {Float32Array} */ (loop[0]).length;
    const beginning = struckIn(loop, frame % size, this.sound);
    return (this._known = { bank, frame, loop, size, beginning });
  }

  /** @type {{bank: import("./tones.js").Bank, frame: number, loop: Float32Array[], size: number,
   *   beginning: Float32Array[]}|undefined} */
  _known;

  /** @param {number} frame @param {{loop: Float32Array[], size: number, beginning: Float32Array[]}} drones */
  _startDrones(frame, { loop, size, beginning }) {
    const { context, _gains: gains } = this;
    if (!context || !gains) return;
    const give = (/** @type {Float32Array[]} */ channels, /** @type {boolean} */ loops) => {
      const frames = /** @type {Float32Array} */ (channels[0]).length;
      const buffer = context.createBuffer(channels.length, frames, this.sound.rate);
      channels.forEach((channel, number) => buffer.getChannelData(number).set(channel));
      const node = context.createBufferSource();
      // Only now: what a buffer holds when it is given to a node is what sounds.
      node.buffer = buffer;
      node.loop = loops;
      node.connect(gains.drone);
      this._drones.push(node);
      return node;
    };
    this._begin(give(beginning, false), frame, null);
    const begins = frame + /** @type {Float32Array} */ (beginning[0]).length;
    this._begin(give(loop, true), begins, { from: begins % size, size });
  }

  /**
   * Decide anew from the first section on that begins late enough, keeping what is being played.
   */
  decideAgain() {
    const { rendition } = this;
    if (!rendition) return;
    const { rate } = this.sound;
    const cut = Math.max(0, Math.ceil(this.frame + CUT_S * rate));
    const kept = rendition.sections.filter((section) => section.frame < cut + CUT_S * rate);
    this.rendition = this._render(kept);
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
    this.rendition = null;
    this._isPaused = false;
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

  /** What is heard now: the event that sounds, the section it lies in and the last click. */
  heard() {
    const frame = this.heardFrame;
    return {
      frame,
      event: this.eventAt(frame),
      section: this.sectionAt(frame),
      click: this.clickAt(frame),
    };
  }

  /** The event that sounds at a frame, or null. @param {number} frame @returns {PlayedEvent|null} */
  eventAt(frame) {
    const events = this.rendition?.events ?? [];
    const event = events[firstAfter(events, frame, (one) => one.end)];
    return event && event.start <= frame ? event : null;
  }

  /** The last click before a frame, or null. @param {number} frame @returns {Click|null} */
  clickAt(frame) {
    const clicks = this.rendition?.clicks ?? [];
    return clicks[firstAfter(clicks, frame, (one) => one.frame) - 1] ?? null;
  }

  /** The section that a frame lies in, or null. @param {number} frame */
  sectionAt(frame) {
    const sections = this.rendition?.sections ?? [];
    const section = sections[firstAfter(sections, frame, (one) => one.endFrame)];
    return section && section.frame <= frame ? section : null;
  }
}
