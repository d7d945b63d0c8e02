// Presses: each counts for what was under it when it began, and once until it is done.

const CONTROLS = "a[href], button";
const MOVED_PX = 6;

/** What presses begin, each once, however often it is pressed until it is done. */
export class Doing {
  /** @param {(error: unknown) => void} failed */
  constructor(failed) {
    this.failed = failed;
    /** @type {Set<string>} */
    this._begun = new Set();
  }

  /**
   * @template Made
   * @param {string} what @param {() => Promise<Made>} work
   * @returns {Promise<Made|undefined>} nothing where it failed, or is being done already
   */
  async once(what, work) {
    if (this._begun.has(what)) return undefined;
    this._begun.add(what);
    try {
      return await work();
    } catch (error) {
      this.failed(error);
      return undefined;
    } finally {
      this._begun.delete(what);
    }
  }
}

/**
 * Let a press count though the page moved, or drew anew what is pressed, before it was let go.
 *
 * A browser hands such a press to neither, and nobody would know why nothing happens.
 */
export function keepPresses() {
  /** @type {{control: HTMLElement, x: number, y: number}|null} */
  let begun = null;
  document.addEventListener(
    "mousedown",
    (event) => {
      const control = event.target instanceof Element ? event.target.closest(CONTROLS) : null;
      const isPlain = event.button === 0 && !(event.ctrlKey || event.metaKey || event.shiftKey || event.altKey);
      begun = isPlain && control instanceof HTMLElement ? { control, x: event.clientX, y: event.clientY } : null;
    },
    { capture: true },
  );
  document.addEventListener(
    "click",
    (event) => {
      if (event.target instanceof Element && event.target.closest(CONTROLS)) begun = null;
    },
    { capture: true },
  );
  document.addEventListener(
    "mouseup",
    (event) => {
      const press = begun;
      if (!press || Math.hypot(event.clientX - press.x, event.clientY - press.y) > MOVED_PX) begun = null;
      // A browser's own click comes at once.
      else setTimeout(() => begun === press && press.control.click());
    },
    { capture: true },
  );
}
