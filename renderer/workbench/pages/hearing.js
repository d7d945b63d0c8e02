// What sounds: the practice page's own player, over lines that change while they are played.

import { Banks, doBetween } from "../../delivery/page/banks.js";
import { ZERO, isLess, readFraction } from "../../delivery/page/exact.js";
import { readLine } from "../../delivery/page/moments.js";
import { readMusic } from "../../delivery/page/music.js";
import { LOWEST_FADER_DB, Player, factor } from "../../delivery/page/player.js";
import { decider, fitting, plainChoice, stretchOfBars, stretchOfNote } from "../../delivery/page/practice.js";
import { ask } from "./ask.js";

/** @typedef {import("../../delivery/page/exact.js").Fraction} Fraction */
/** @typedef {import("../../delivery/page/moments.js").Line} Line */
/** @typedef {{index: number, id: string, tone: number, isPlaying: boolean, beat: number}} Heard */

/** At which a noise between two notes can be told apart. */
const SLOW = readFraction("40");

export class Hearing {
  /** @param {(heard: Heard) => void} onHeard called whenever another note sounds, or none */
  constructor(onHeard) {
    this.onHeard = onHeard;
    /** @type {any} */
    this.data = null;
    /** @type {Player|null} */
    this.player = null;
    this.pitches = ["A", "B flat"];
    this.chanter = "practice";
    this.pitchIndex = 0;
    this.cents = 0;
    this.faders = { chanter: 0, drone: LOWEST_FADER_DB, metronome: LOWEST_FADER_DB };
    this.countsIn = false;
    /** Plain music by line, as `StavesView.music` has it. @type {(any|null|undefined)[]} */
    this.music = [];
    /** Plays what was pressed before it could sound. @type {(() => void)|null} */
    this._wish = null;
    /** @type {WeakMap<object, Line>} */
    this.lines = new WeakMap();
    /** @type {Banks|null} */
    this.banks = null;
    /** @type {Heard} */
    this.heard = { index: -1, id: "", tone: -1, isPlaying: false, beat: -1 };
    /** @type {Promise<boolean>|null} */
    this.loading = null;
    /** How often sound was asked for: what comes late of an older question is not taken. */
    this._asked = 0;
    /** What holds again after a noise was heard. @type {Partial<import("../../delivery/page/practice.js").Choice>|null} */
    this._usual = null;
    document.addEventListener("visibilitychange", () => document.hidden && this.player?.rest());
    // Its bank comes with the sound.
    const bank = /** @type {any} */ (null);
    this.choice = { ...plainChoice((index) => this.lineOf(index), bank), rounds: 99 };
  }

  /** Get the sound, once; where it did not come, it is asked for again. */
  async load() {
    if (this.data) return;
    this.loading ??= this.take(this.pitches, this.chanter, this.pitchIndex).finally(() => (this.loading = null));
    await this.loading;
  }

  /**
   * Sound at other pitches, or with the other chanter; where that cannot be, all stays as it was.
   * @param {string[]} pitches @param {string} chanter @param {number} pitchIndex
   * @returns {Promise<boolean>} whether it sounds so: false where another was asked for meanwhile
   */
  async take(pitches, chanter, pitchIndex) {
    if (this.player) this.stop();
    const number = ++this._asked;
    const data = await ask("sound", { pitches, chanter });
    if (number !== this._asked) return false;
    Object.assign(this, { pitches, chanter, pitchIndex, data });
    const { isPlaying } = this;
    this.player?.stop();
    this.player = new Player(readMusic(data), () => this._tell(), this.player?.context);
    this.banks = new Banks(data);
    for (const name of /** @type {const} */ (["chanter", "drone", "metronome"])) {
      this.player.fade(name, factor(this.faders[name]));
    }
    this.choice.bank = this.bank();
    this._prepare();
    // Begun meanwhile, it goes on at the new pitches.
    if (isPlaying) this.playAgain();
    else this._grant();
    this.onHeard(this.heard);
    return true;
  }

  bank() {
    return /** @type {Banks} */ (this.banks).of(this.pitchIndex, this.cents);
  }

  /** @param {number} pitchIndex @param {number} cents */
  tune(pitchIndex, cents) {
    this.pitchIndex = pitchIndex;
    this.cents = cents;
    if (!this.data) return;
    this.choice.bank = this.bank();
    this._prepare();
    if (this.player?.isPlaying) this.playAgain();
  }

  /** Make the nine tones ahead of the first press, a little at a time. */
  _prepare() {
    const bank = this.choice.bank;
    const work = [...Array(this.data.fingerings.length).keys()].map((tone) => () => void bank.tone(tone));
    work.splice(9, 0, () => void bank.drones());
    doBetween(work, () => this.choice.bank === bank);
  }

  /** @param {number} index @returns {Line|null} */
  lineOf(index) {
    const plain = this.music[index];
    if (!plain) return null;
    let line = this.lines.get(plain);
    if (!line) {
      line = readLine(plain, null);
      this.lines.set(plain, line);
    }
    return line;
  }

  /** Take the lines as they are now; what sounds goes on with them. @param {(any|null|undefined)[]} music */
  takeMusic(music) {
    const { lineIndex } = this.choice;
    const isOther = music[lineIndex] !== this.music[lineIndex];
    this.music = music;
    if (this._grant()) return;
    if (!this.player?.isPlaying || !isOther) return;
    if (!this.lineOf(lineIndex)) this.stop();
    else {
      this.choice.from = this.choice.to = null;
      this.choice.version += 1;
      this.player.decideAgain();
    }
  }

  get isPlaying() {
    return this.player?.isPlaying ?? false;
  }

  /** @param {"chanter"|"drone"|"metronome"} name @param {number} db */
  fade(name, db) {
    this.faders[name] = db;
    this.player?.fade(name, factor(db));
  }

  /** @param {Fraction} tempo */
  takeTempo(tempo) {
    this.choice.tempo = tempo;
    if (this._usual) this._usual.tempo = tempo;
    this.choice.version += 1;
    if (this.player?.isPlaying) this.player.decideAgain();
  }

  /** The tempo at which a line is played. @param {number} index */
  tempoOf(index) {
    const line = this.lineOf(index);
    return line ? fitting(line, this.choice.tempo) : this.choice.tempo;
  }

  /**
   * The line that a press wants to hear. What cannot sound yet is played as soon as it can, unless
   * something else is pressed meanwhile.
   * @param {number} index @param {() => void} deed what plays it
   */
  _wanted(index, deed) {
    const line = this.lineOf(index);
    const isComing = !this.player || (index < this.music.length && this.music[index] === undefined);
    this._wish = isComing ? deed : null;
    // Browsers let sound begin only by a press, and this is one.
    if (!line) this.player?.open();
    return isComing ? null : line;
  }

  /** Play what was pressed before it could sound, if it can by now. @returns {boolean} whether it plays */
  _grant() {
    const { _wish: wish } = this;
    wish?.();
    return wish !== null && this._wish === null && this.isPlaying;
  }

  /**
   * Play a line, from a written note of it, now or as soon as it can sound. To be called by a press.
   * @param {number} index
   * @param {{bar: number, item: number}|null} from
   */
  play(index, from = null) {
    const line = this._wanted(index, () => this.play(index, from));
    if (!line) return;
    this._asUsual();
    const { choice } = this;
    choice.lineIndex = index;
    choice.from = choice.to = null;
    choice.startAt = null;
    if (from) {
      const item = line.items.find(
        (one) => one.item === from.item && line.bars[one.bar - 1]?.written === from.bar,
      );
      choice.startAt = item ? item.beat : ZERO;
    }
    this._start(this.countsIn && !from ? 0 : 1);
  }

  /** The written notes of a line, each once. @param {number} index @returns {{bar: number, item: number}[]} */
  notesOf(index) {
    const line = this.lineOf(index);
    const found = new Map();
    for (const { bar, item } of line?.items ?? []) {
      const written = line?.bars[bar - 1]?.written ?? bar;
      found.set(`${written}/${item}`, { bar: written, item });
    }
    return [...found.values()];
  }

  /**
   * The written bar that is known by a number, 0 for none.
   * @param {number} index @param {string} number
   */
  barKnownBy(index, number) {
    return this.lineOf(index)?.bars.find((bar) => bar.number === number)?.written ?? 0;
  }

  /**
   * Play some bars of a line again and again.
   * @param {number} index @param {number} first as bars are written @param {number} last
   * @returns {boolean} whether they play, or will
   */
  playBars(index, first, last) {
    const line = this._wanted(index, () => this.playBars(index, first, last));
    const stretch = line && stretchOfBars(line, first, last);
    if (!stretch) return this._wish !== null;
    this._asUsual();
    this._playStretch(index, stretch);
    return true;
  }

  /**
   * Play the place where a crossing noise lurks, slowly: one round without the noise, one with it.
   * @param {number} index @param {number} bar as it is written @param {number} item
   * @returns {boolean} whether it plays, or will
   */
  playNoise(index, bar, item) {
    const line = this._wanted(index, () => this.playNoise(index, bar, item));
    const stretch = line && stretchOfNote(line, bar, item);
    if (!stretch) return this._wish !== null;
    const { choice } = this;
    this._usual ??= { tempo: choice.tempo, mode: choice.mode };
    Object.assign(choice, { noises: true, mode: "loop", tempo: isLess(SLOW, choice.tempo) ? SLOW : choice.tempo });
    this._playStretch(index, stretch);
    return true;
  }

  /** @param {number} index @param {{from: Fraction, to: Fraction}} stretch */
  _playStretch(index, stretch) {
    Object.assign(this.choice, stretch, { lineIndex: index, startAt: null });
    this._start(1);
  }

  /** What holds again once a noise has been heard. */
  _asUsual() {
    if (this._usual) Object.assign(this.choice, this._usual, { noises: false });
    this._usual = null;
  }

  playAgain() {
    this._start(1);
  }

  /** @param {import("../../delivery/page/practice.js").Mode} mode */
  takeMode(mode) {
    this.choice.mode = mode;
    if (this._usual) this._usual.mode = mode;
    this.choice.version += 1;
    if (this.player?.isPlaying) this.player.decideAgain();
  }

  /** @param {0|1} skipped sections: without a count-in the line itself is the first */
  _start(skipped) {
    const { choice } = this;
    this._wish = null;
    choice.version += 1;
    const decide = decider(choice, readFraction);
    this.player?.start((number, before) => decide(number + skipped, before));
    choice.startAt = null;
    this._follow();
  }

  stop() {
    this._wish = null;
    this.player?.stop();
    this._asUsual();
    this._tell();
  }

  _follow() {
    this._tell();
    if (this.player?.isPlaying && !document.hidden) requestAnimationFrame(() => this._follow());
  }

  _tell() {
    const { player } = this;
    /** @type {Heard} */
    let heard = { index: -1, id: "", tone: -1, isPlaying: false, beat: -1 };
    if (player?.isPlaying) {
      const frame = player.shownFrame;
      const section = player.sectionAt(frame);
      const event = player.eventAt(frame);
      const sounds = event && event.tone !== null && section?.kind === "line";
      heard = {
        index: section ? section.tag.lineIndex : this.choice.lineIndex,
        id: sounds ? event.id : "",
        tone: sounds ? Number(event.tone) : -1,
        isPlaying: true,
        beat: player.clickAt(frame)?.beat ?? -1,
      };
    }
    const before = this.heard;
    const isSame = Object.entries(heard).every(([key, value]) => before[/** @type {keyof Heard} */ (key)] === value);
    this.heard = heard;
    if (!isSame) this.onHeard(heard);
  }
}
