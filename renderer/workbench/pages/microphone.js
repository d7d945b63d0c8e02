// The microphone: what somebody plays, as a file that is brought into the folder.

/** The longest recording, in seconds; it ends by itself. */
export const LONGEST_S = 180;

const KINDS = [
  ["audio/webm;codecs=opus", "webm"],
  ["audio/ogg;codecs=opus", "ogg"],
  ["audio/mp4", "m4a"],
];

/** Whether this browser lets a page record here. */
export function canRecord() {
  return Boolean(navigator.mediaDevices?.getUserMedia) && "MediaRecorder" in window;
}

/** One recording: begun, and ended once. */
export class Microphone {
  /** @param {(seconds: number) => void} onSecond */
  constructor(onSecond) {
    this.onSecond = onSecond;
    /** @type {MediaRecorder|null} */
    this.recorder = null;
    this._timer = 0;
    /** How often it was begun or let go of. */
    this._turned = 0;
  }

  get isOn() {
    return this.recorder !== null;
  }

  /** Begin, unless it is let go of before that is allowed; throws what the browser says where it is not. */
  async begin() {
    const turned = ++this._turned;
    // What makes speech clear bends the pitch and the level of a chanter.
    const stream = await navigator.mediaDevices.getUserMedia({
      audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false },
    });
    if (turned !== this._turned) {
      for (const track of stream.getTracks()) track.stop();
      return;
    }
    const [kind, ending] = KINDS.find(([one]) => MediaRecorder.isTypeSupported(String(one))) ?? ["", "webm"];
    const recorder = new MediaRecorder(stream, { ...(kind ? { mimeType: kind } : {}), audioBitsPerSecond: 192_000 });
    /** @type {Blob[]} */
    const pieces = [];
    const begun = performance.now();
    recorder.addEventListener("dataavailable", (event) => pieces.push(event.data));
    /** @type {Promise<{pieces: Blob[], ending: string}>} */
    this.ended = new Promise((done) => recorder.addEventListener("stop", () => done({ pieces, ending: String(ending) })));
    recorder.start(1_000);
    this.recorder = recorder;
    this._timer = window.setInterval(() => {
      const seconds = (performance.now() - begun) / 1_000;
      this.onSecond(seconds);
      if (seconds >= LONGEST_S) this.recorder?.stop();
    }, 500);
  }

  /** End, and return the file. @param {string} name without its ending @returns {Promise<File|null>} */
  async end(name) {
    const { recorder } = this;
    if (!recorder || !this.ended) return null;
    if (recorder.state !== "inactive") recorder.stop();
    const { pieces, ending } = await this.ended;
    this.close();
    return new File(pieces, `${name}.${ending}`);
  }

  /** Let the microphone go; safe to call again. */
  close() {
    this._turned += 1;
    window.clearInterval(this._timer);
    if (this.recorder && this.recorder.state !== "inactive") this.recorder.stop();
    for (const track of this.recorder?.stream.getTracks() ?? []) track.stop();
    this.recorder = null;
  }
}
