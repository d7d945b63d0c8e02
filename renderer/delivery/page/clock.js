// The audio's clock as it is heard: even, where a browser moves its own on by whole buffers.
//
// A context's clock stands still while a buffer plays, which lasts a hundredth of a second on most
// devices and a fifth on some, and then leaps over it. What is heard runs on evenly from where the
// clock was before it leapt: of all that it has said lately, what was furthest behind.

const LATELY_MS = 600;
/** After a longer pause of the script a clock may not have been told yet how late it is. */
const PAUSE_MS = 40;

export class HeardClock {
  constructor() {
    /** How far the clock was behind the time of day at most, in the span before and in this one. */
    this._spans = [Infinity, Infinity];
    this._began = 0;
    this._read = -Infinity;
    this._seconds = 0;
  }

  /**
   * Return the seconds that are heard, never less than before.
   * @param {number} said what the context's clock says, in seconds
   * @param {number} ms the time of day
   */
  at(said, ms) {
    const behind = said - ms / 1000;
    if (ms - this._began > LATELY_MS) {
      this._spans = [/** @type {number} */ (this._spans[1]), Infinity];
      this._began = ms;
    }
    if (ms - this._read < PAUSE_MS) this._spans[1] = Math.min(/** @type {number} */ (this._spans[1]), behind);
    this._read = ms;
    const heard = Math.min(behind, ...this._spans) + ms / 1000;
    return (this._seconds = Math.max(this._seconds, heard));
  }
}
