// The tones of each pitch that is chosen, made ahead of the press that wants them.

import { Bank } from "./tones.js";

const KEPT = 3;

/** The banks of a page's pitches; the last ones are kept. */
export class Banks {
  /** @param {any} data what `sound_contents` has written, read by `readMusic` */
  constructor(data) {
    this.data = data;
    /** @type {Map<string, Bank>} */
    this._known = new Map();
  }

  /** @param {number} pitchIndex @param {number} cents */
  of(pitchIndex, cents) {
    const key = `${pitchIndex}/${cents}`;
    let bank = this._known.get(key);
    if (!bank) {
      if (this._known.size >= KEPT) this._known.clear();
      bank = new Bank(this.data.sound, this.data.pitches[pitchIndex], cents);
      this._known.set(key, bank);
    }
    return bank;
  }
}

/**
 * Do some pieces of work one after another once the screen is drawn, with time between them for
 * whatever is pressed.
 * @param {(() => void)[]} work
 * @param {() => boolean} isWanted whether to go on
 */
export function doBetween(work, isWanted) {
  const next = () => {
    const one = work.shift();
    if (!one || !isWanted()) return;
    one();
    setTimeout(next, 0);
  };
  requestAnimationFrame(() => setTimeout(next, 0));
}
