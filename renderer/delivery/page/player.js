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

import { HeardClock } from "./clock.js";
import { Rendition, firstAfter } from "./rendition.js";
import { struckIn } from "./struck.js";

/** @typedef {import("./music.js").Music} Music */
/** @typedef {import("./rendition.js").Section} Section */
/** @typedef {import("./rendition.js").PlayedEvent} PlayedEvent */
/** @typedef {import("./rendition.js").Click} Click */
/** @typedef {{chanter: number, drone: number, metronome: number}} Faders amplitude factors */
/**
 * @typedef {{buffer: AudioBuffer, to: AudioNode, first: number, loop: number}} Made what is to sound
 *   from a frame on, as a loop of so many frames or, with 0, once
 */

export const LOWEST_FADER_DB = -40;
const FIRST_PIECE_S = 0.4;
const PIECE_S = 2;
const AHEAD_S = 20;
const START_S = 0.06;
const MOST_START_S = 1;
const DRONES_S = 0.2;
const MEANWHILE_S = 6;
const CUT_S = 0.15;
const FADE_S = 0.04;
const LATE_S = 0.005;
const TICK_MS = 200;
/** What a script draws comes onto the screen with its next frame: of usual ones, at the latest. */
const SEEN_S = 1 / 60;

/** The amplitude factor of a fader, which at its lowest is silent. @param {number} db */
export function factor(db) {
  return db <= LOWEST_FADER_DB ? 0 : 10 ** (db / 20);
}

export class Player {
  /**
   * @param {Music} music
   * @param {() => void} onEnd called when a rendition has come to its end
   * @param {AudioContext|null} context the device's sound where it is open already
   */
  constructor(music, onEnd, context = null) {
    this.music = music;
    this.sound = music.sound;
    this.onEnd = onEnd;
    /** Made by the first press. @type {AudioContext|null} */
    this.context = context;
    /** @type {Rendition|null} */
    this.rendition = null;
    /** @type {Faders} */
    this.faders = { chanter: 1, drone: 1, metronome: 1 };
    this._origin = 0;
    this._laidTo = 0;
    /** @type {{node: AudioBufferSourceNode, first: number, end: number, isDrone: boolean}[]} */
    this._pieces = [];
    this._mark = { at: 0, ms: 0 };
    this._heard = new HeardClock();
    /** @type {number|null} */
    this._timer = null;
    /** @type {Record<keyof Faders, GainNode>|null} */
    this._gains = null;
    /** @type {GainNode|null} */
    this._master = null;
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
   * Open the device's sound, which in some browsers takes a second. To be called by a press of
   * whatever kind: browsers allow sound only then.
   */
  open() {
    this.context ??= new AudioContext({ sampleRate: this.sound.rate, latencyHint: "interactive" });
    if (!this._isPaused) void this.context.resume();
    return this.context;
  }

  /** Let go of the device's sound while nothing plays, as when nobody sees the page: it costs power. */
  rest() {
    if (!this.isPlaying) void this.context?.suspend();
  }

  /**
   * Start playing. To be called by a press, as `open`.
   * @param {(number: number, before: Section[]) => Section|null} decide the next section
   */
  start(decide) {
    this.stop();
    const { rate } = this.sound;
    const context = this.open();
    this._heard = new HeardClock();
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
    this._setMark();
    this._laidTo = 0;
    this._decide = decide;
    const first = decide(0, []);
    if (first) this._setBank(first.bank);
    this.rendition = this._render([]);
    // What takes time comes before the beginning is fixed: the clock runs on meanwhile.
    const { dronesStart } = this.rendition;
    // Pressed before the drones are made, they strike in as soon as they are: nobody waits for them.
    const isWhole = !("close" in context) || this._droneBank?.hasDrones;
    const made = this._make(FIRST_PIECE_S);
    if (isWhole) made.push(...this._makeDrones(dronesStart));
    for (let ahead = START_S; ; ahead *= 2) {
      this._origin = Math.ceil((this._now() + ahead) * rate);
      for (const one of made) this._begin(one);
      if (this._isAhead(0) || ahead > MOST_START_S) break;
      // Held up meanwhile, on a busy machine: once more, with more time.
      this._takeBack();
    }
    this._timer = setInterval(() => this._tick(), TICK_MS);
    setTimeout(() => this._tick(), 0);
    if (!isWhole) setTimeout(() => this._strikeIn(dronesStart), 0);
  }

  /** Make the drones while all else sounds, and let them strike in. @param {number} first the frame before
   *   which they do not */
  _strikeIn(first) {
    const gains = this._gains;
    for (let laid = 0; laid < MEANWHILE_S; laid += PIECE_S) this._lay(PIECE_S);
    setTimeout(() => {
      const { _droneBank: bank } = this;
      if (!gains || this._gains !== gains || !bank) return;
      bank.drones();
      this._setMark();
      const { rate } = this.sound;
      for (let ahead = DRONES_S; ; ahead *= 2) {
        const frame = Math.max(first, Math.ceil((this._now() + ahead) * rate) - this._origin);
        const made = this._makeDrones(frame);
        if (this._isAhead(frame) || ahead > MOST_START_S) {
          for (const one of made) this._begin(one);
          return;
        }
      }
    }, 0);
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

  /** Note what time it is: within one task of the script a context's own clock may stand still. */
  _setMark() {
    const { context } = this;
    if (context) this._mark = { at: context.currentTime, ms: performance.now() };
  }

  /** The clock's seconds, within a task, too. */
  _now() {
    const context = /** @type {AudioContext} */ (this.context);
    // One that renders without a clock waits.
    const since = "close" in context ? (performance.now() - this._mark.ms) / 1000 : 0;
    return Math.max(context.currentTime, this._mark.at + since);
  }

  /** The frame of the rendition that the clock is at. */
  get frame() {
    if (!this.context) return 0;
    return this.context.currentTime * this.sound.rate - this._origin;
  }

  /** The frame that is being heard: the clock, made even, less the way to the ear. */
  get heardFrame() {
    const { context } = this;
    if (!context) return 0;
    const late = context.outputLatency || context.baseLatency || 0;
    const seconds = this._heard.at(context.currentTime, performance.now());
    return (seconds - late) * this.sound.rate - this._origin;
  }

  /** The frame that will be heard when what is drawn now is seen. */
  get shownFrame() {
    return this.heardFrame + SEEN_S * this.sound.rate;
  }

  /** @param {number} frame */
  _time(frame) {
    return (this._origin + frame) / this.sound.rate;
  }

  _tick() {
    const { rendition } = this;
    if (!rendition) return;
    this._setMark();
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
    for (const one of this._make(seconds)) this._begin(one);
  }

  /** Make the next piece, not begun yet. @param {number} seconds @returns {Made[]} */
  _make(seconds) {
    const { rendition, _gains: gains } = this;
    if (!rendition || !gains) return [];
    const { rate } = this.sound;
    const first = this._laidTo;
    let end = first + Math.round(seconds * rate);
    rendition.extendTo(end);
    if (rendition.ended) {
      const last = rendition.sections[rendition.sections.length - 1];
      end = Math.min(end, last ? last.endFrame : first);
    }
    if (end <= first) return [];
    this._laidTo = end;
    return [
      this._made([rendition.chanter(first, end)], first, gains.chanter),
      this._made([rendition.metronome(first, end, this._struckGains)], first, gains.metronome),
    ];
  }

  /** @param {Float32Array[]} channels @param {number} first @param {AudioNode} to @returns {Made} */
  _made(channels, first, to, loop = 0) {
    const context = /** @type {AudioContext} */ (this.context);
    const frames = /** @type {Float32Array} */ (channels[0]).length;
    const buffer = context.createBuffer(channels.length, frames, this.sound.rate);
    channels.forEach((channel, number) => buffer.getChannelData(number).set(channel));
    return { buffer, to, first, loop };
  }

  /** How long before a time a browser has to be told of it: it works sound out a buffer at a time. */
  get _notice() {
    return LATE_S + (this.context?.baseLatency ?? 0);
  }

  /** Whether it can still be told of a frame. @param {number} frame */
  _isAhead(frame) {
    return this._now() + this._notice < this._time(frame);
  }

  /**
   * Begin a sound at its frame, or, if that is over on a busy machine, within it: never late.
   * @param {Made} made
   */
  _begin(made) {
    const { first } = made;
    let missed = 0;
    for (let more = this._notice; ; more *= 2) {
      if (!this._isAhead(first + missed)) missed = this._soonest(more) - first;
      const node = this._started(made, missed);
      // Held up between the two, it would sound as late as that: once more, from further within.
      if (this._isAhead(first + missed) || more > MOST_START_S) return;
      this._takeBack(node);
    }
  }

  /** The first frame that is so much further off than it must be. @param {number} more seconds */
  _soonest(more) {
    return Math.ceil((this._now() + this._notice + more) * this.sound.rate) - this._origin;
  }

  /**
   * Start a sound so many frames within it.
   * @param {Made} made @param {number} missed
   */
  _started({ buffer, to, first, loop }, missed) {
    const context = /** @type {AudioContext} */ (this.context);
    const node = context.createBufferSource();
    // Only now: what a buffer holds when it is given to a node is what sounds.
    node.buffer = buffer;
    node.loop = loop > 0;
    node.connect(to);
    const into = loop ? (first + missed) % loop : missed;
    node.start(this._time(first + missed), into / this.sound.rate);
    const end = loop ? Infinity : first + buffer.length;
    this._pieces.push({ node, first, end, isDrone: to === this._gains?.drone });
    return node;
  }

  /** Take back what has been begun: all, or one. @param {AudioBufferSourceNode|null} one */
  _takeBack(one = null) {
    const isTaken = (/** @type {AudioBufferSourceNode} */ node) => one === null || node === one;
    for (const { node } of this._pieces) if (isTaken(node)) node.disconnect();
    this._pieces = this._pieces.filter(({ node }) => !isTaken(node));
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

  /** Make the drones, not begun yet: as they strike in at a frame, then their loop.
   * @param {number} frame @returns {Made[]} */
  _makeDrones(frame) {
    const { _gains: gains, _droneBank: bank } = this;
    if (!gains || !bank) return [];
    const { loop, size, beginning } = this.struck(bank, frame);
    const begins = frame + /** @type {Float32Array} */ (beginning[0]).length;
    return [this._made(beginning, frame, gains.drone), this._made(loop, begins, gains.drone, size)];
  }

  /**
   * Decide anew from the first section on that begins late enough, keeping what is being played.
   */
  decideAgain() {
    const { rendition } = this;
    if (!rendition) return;
    const { rate } = this.sound;
    this._setMark();
    const frame = () => this._now() * rate - this._origin;
    let cut = 0;
    for (let ahead = CUT_S; ; ahead *= 2) {
      cut = Math.max(0, Math.ceil(frame() + ahead * rate));
      const kept = rendition.sections.filter((section) => section.frame < cut + CUT_S * rate);
      this.rendition = this._render(kept);
      this.rendition.chanter(cut, cut + Math.round(FIRST_PIECE_S * rate));
      // Where laying it out anew took too long, once more, with more time.
      if (frame() + (CUT_S / 2) * rate < cut || ahead > MOST_START_S) break;
    }
    this._cut(cut);
    this._laidTo = Math.min(this._laidTo, cut);
    this._lay(FIRST_PIECE_S);
    this._lay(PIECE_S);
  }

  /** Take back what is laid from a frame on, drones apart. @param {number} frame */
  _cut(frame) {
    for (const piece of this._pieces) {
      if (piece.end <= frame || piece.isDrone) continue;
      if (piece.first >= frame) piece.node.disconnect();
      else piece.node.stop(this._time(frame));
    }
    this._pieces = this._pieces.filter((piece) => piece.first < frame || piece.isDrone);
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
      for (const { node } of this._pieces) node.stop(end);
      setTimeout(() => master.disconnect(), 1000 * FADE_S + 100);
    }
    this._pieces = [];
    this._master = null;
    this._gains = null;
  }

  /** What is heard when it is seen: the event that sounds, the section it lies in and the last click. */
  heard() {
    const frame = this.shownFrame;
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
