// Presses: each counts for what was under it when it began.

const CONTROLS = "a[href], button";
const MOVED_PX = 6;

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
