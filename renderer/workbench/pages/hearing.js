// What sounds: the practice page's own player, over lines that change while they are played.

import { ZERO, readFraction } from "../../delivery/page/exact.js";
import { readLine } from "../../delivery/page/moments.js";
import { readMusic } from "../../delivery/page/music.js";
import { Player } from "../../delivery/page/player.js";
import { decider, fitting, stretchOfBars } from "../../delivery/page/practice.js";
import { Bank } from "../../delivery/page/tones.js";
import { ask } from "./ask.js";

/** @typedef {import("../../delivery/page/exact.js").Fraction} Fraction */
/** @typedef {import("../../delivery/page/moments.js").Line} Line */
/** @typedef {{index: number, id: string, tone: number, isPlaying: boolean, beat: number}} Heard */

export const SLOWEST = 10;
export const FASTEST = 400;
export const SILENT_DB = -40;

/** @param {number} db */
function factor(db) {
  return db <= SILENT_DB ? 0 : 10 ** (db / 20);
}

/** A tempo as typed, within what can be played. @param {number} tempo @returns {Fraction} */
export function readTempo(tempo) {
  const within = Math.min(FASTEST, Math.max(SLOWEST, tempo || SLOWEST));
  return readFraction(within.toFixed(4).replace(/\.?0+$/, ""));
}

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
    this.faders = { chanter: 0, drone: SILENT_DB, metronome: SILENT_DB };
    this.countsIn = false;
    /** @type {(any|null)[]} plain music by line */
    this.music = [];
    /** @type {WeakMap<object, Line>} */
    this.lines = new WeakMap();
    /** @type {Map<string, Bank>} */
    this.banks = new Map();
    /** @type {Heard} */
    this.heard = { index: -1, id: "", tone: -1, isPlaying: false, beat: -1 };
    /** @type {Promise<void>|null} */
    this.loading = null;
    /** @type {any} a `Choice` once the sound is here */
    this.choice = {
      version: 0,
      lineIndex: 0,
      lineOf: (/** @type {number} */ index) => this.lineOf(index),
      form: "written",
      gracenote: null,
      openings: [],
      rungs: [],
      tempo: readFraction("60"),
      mode: "loop",
      rounds: 99,
      from: null,
      to: null,
      startAt: null,
      bank: null,
      countIn: { bars: 1, rolls: false, introduction: null },
      noises: false,
      subdivide: false,
      dropout: false,
      part: "",
      plan: [],
      firstBlock: 0,
    };
  }

  /** Get the sound, once; asked again for other pitches. */
  load() {
    this.loading ??= this._load();
    return this.loading;
  }

  async _load() {
    const data = await ask("sound", { pitches: this.pitches, chanter: this.chanter });
    this.player = new Player(readMusic(data), () => this._tell());
    this.data = data;
    this.banks.clear();
    for (const name of /** @type {const} */ (["chanter", "drone", "metronome"])) {
      this.player.fade(name, factor(this.faders[name]));
    }
    this.choice.bank = this.bank();
    this._prepare();
  }

  /** Sound at other pitches, or with the other chanter. @param {string[]} pitches @param {string} chanter */
  async take(pitches, chanter) {
    this.stop();
    this.pitches = pitches;
    this.chanter = chanter;
    this.pitchIndex = Math.min(this.pitchIndex, pitches.length - 1);
    this.loading = null;
    await this.load();
  }

  bank() {
    const key = `${this.pitchIndex}/${this.cents}`;
    let bank = this.banks.get(key);
    if (!bank) {
      if (this.banks.size > 2) this.banks.clear();
      bank = new Bank(this.data.sound, this.data.pitches[this.pitchIndex], this.cents);
      this.banks.set(key, bank);
    }
    return bank;
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
    const next = () => {
      const one = work.shift();
      if (!one || this.choice.bank !== bank) return;
      one();
      setTimeout(next, 0);
    };
    setTimeout(next, 0);
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

  /** Take the lines as they are now; what sounds goes on with them. @param {(any|null)[]} music */
  takeMusic(music) {
    const { lineIndex } = this.choice;
    const isOther = music[lineIndex] !== this.music[lineIndex];
    this.music = music;
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
    this.choice.version += 1;
    if (this.player?.isPlaying) this.player.decideAgain();
  }

  /** The tempo at which a line is played. @param {number} index */
  tempoOf(index) {
    const line = this.lineOf(index);
    return line ? fitting(line, this.choice.tempo) : this.choice.tempo;
  }

  /**
   * Play a line, from a written note of it. To be called by a press.
   * @param {number} index
   * @param {{bar: number, item: number}|null} from
   */
  play(index, from = null) {
    const line = this.lineOf(index);
    if (!line || !this.player) return false;
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
    return true;
  }

  /**
   * Play some bars of a line again and again.
   * @param {number} index @param {number} first as bars are written @param {number} last
   */
  playBars(index, first, last) {
    const line = this.lineOf(index);
    const stretch = line && stretchOfBars(line, first, last);
    if (!stretch) return false;
    this.choice.lineIndex = index;
    Object.assign(this.choice, stretch);
    this.choice.startAt = null;
    this._start(1);
    return true;
  }

  playAgain() {
    this._start(1);
  }

  /** @param {"loop"|"once"} mode */
  takeMode(mode) {
    this.choice.mode = mode;
    this.choice.version += 1;
    if (this.player?.isPlaying) this.player.decideAgain();
  }

  /** @param {0|1} skipped sections: without a count-in the line itself is the first */
  _start(skipped) {
    const { choice } = this;
    choice.version += 1;
    const decide = decider(choice, readFraction);
    this.player?.start((number, before) => decide(number + skipped, before));
    choice.startAt = null;
    this._follow();
  }

  stop() {
    this.player?.stop();
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
      const frame = player.heardFrame;
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
