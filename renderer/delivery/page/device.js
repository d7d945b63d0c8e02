// What the device is asked for: whether it may sound, a screen that stays on, and the keys that work
// when it is dark.

const SILENCE_S = 10;
const SILENCE_RATE = 8000;

/** Whether somebody has pressed something by which a browser allows sound; false where none says so. */
export function isPressed() {
  return navigator.userActivation?.hasBeenActive ?? false;
}

/** Keeps the screen on while something plays. */
export class Awake {
  /** @param {() => void} onLack called where the browser cannot, as over plain http */
  constructor(onLack) {
    this.onLack = onLack;
    this.isWanted = false;
    /** @type {any} */
    this._lock = null;
  }

  /** To be called again when the page is seen again: the lock ends when it is hidden. */
  async begin() {
    this.isWanted = true;
    const { wakeLock } = /** @type {any} */ (navigator);
    if (!wakeLock) {
      this.onLack();
      return;
    }
    if (this._lock) return;
    try {
      const lock = await wakeLock.request("screen");
      if (!this.isWanted || this._lock) {
        await lock.release();
        return;
      }
      this._lock = lock;
      lock.addEventListener("release", () => {
        if (this._lock === lock) this._lock = null;
      });
    } catch {
      // Refused, as with a nearly empty battery: the screen goes dark as it always does.
    }
  }

  async end() {
    this.isWanted = false;
    const lock = this._lock;
    this._lock = null;
    if (lock) await lock.release().catch(() => {});
  }
}

/** Ten seconds of nothing as a WAV file. @returns {Blob} */
function silence() {
  const length = SILENCE_S * SILENCE_RATE;
  const bytes = new Uint8Array(44 + length).fill(128);
  const view = new DataView(bytes.buffer);
  const name = (/** @type {number} */ at, /** @type {string} */ text) =>
    [...text].forEach((letter, n) => view.setUint8(at + n, letter.charCodeAt(0)));
  name(0, "RIFF");
  view.setUint32(4, 36 + length, true);
  name(8, "WAVEfmt ");
  view.setUint32(16, 16, true);
  view.setUint16(20, 1, true);
  view.setUint16(22, 1, true);
  view.setUint32(24, SILENCE_RATE, true);
  view.setUint32(28, SILENCE_RATE, true);
  view.setUint16(32, 1, true);
  view.setUint16(34, 8, true);
  name(36, "data");
  view.setUint32(40, length, true);
  return new Blob([bytes], { type: "audio/wav" });
}

/**
 * Media keys and the controls of a lock screen. Chromium 156 gives them to the music itself; many
 * browsers give them only to what plays a file (from memory), so silence plays as one beside it.
 */
export class MediaKeys {
  /** @param {Partial<Record<MediaSessionAction, () => void>>} actions */
  constructor(actions) {
    this._session = navigator.mediaSession ?? null;
    /** @type {HTMLAudioElement|null} */
    this._silence = null;
    for (const [action, does] of Object.entries(actions)) {
      try {
        this._session?.setActionHandler(/** @type {MediaSessionAction} */ (action), does);
      } catch {
        // Not every browser knows every key.
      }
    }
  }

  /** @param {boolean} isPlaying @param {string} title @param {string} album */
  show(isPlaying, title, album) {
    if (!this._session) return;
    this._session.playbackState = isPlaying ? "playing" : "paused";
    if (isPlaying && !this._silence) {
      this._silence = new Audio(URL.createObjectURL(silence()));
      this._silence.loop = true;
    }
    if (isPlaying && this._silence?.paused) this._silence.play().catch(() => {});
    if (!isPlaying) this._silence?.pause();
    const known = this._session.metadata;
    if (typeof MediaMetadata === "undefined" || (known?.title === title && known.album === album)) return;
    this._session.metadata = new MediaMetadata({ title, album });
    try {
      // The music has no end; the silence's ten seconds are nothing to show.
      this._session.setPositionState?.({ duration: Infinity });
    } catch {
      // Not every browser knows music without an end.
    }
  }
}
