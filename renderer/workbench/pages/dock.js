// The dock: what plays, at which tempo and pitch, how loud each part is. It stays while you write.

import { element } from "../../delivery/page/elements.js";
import { isSame } from "../../delivery/page/exact.js";
import { LOWEST_FADER_DB } from "../../delivery/page/player.js";
import { FASTEST, SLOWEST, readTempo, spokenTempo } from "../../delivery/page/practice.js";
import { Holes } from "../../delivery/page/staff.js";
import { Refused, whyNot } from "./ask.js";
import { INNERS } from "./choices.js";
import { noteName, say } from "./words.js";

/** @typedef {import("./hearing.js").Hearing} Hearing */
/** @typedef {import("./hearing.js").Heard} Heard */

const OTHER = "other";

/** @param {{label: string, low_a_hz: number}} pitch what players call it, and what sounds */
function nameOfPitch({ label, low_a_hz: hertz }) {
  const sounds = `${hertz.toFixed(1)} Hz`;
  return Number.parseFloat(label) === hertz ? sounds : `${label} · ${sounds}`;
}

export class Dock {
  /**
   * @param {Hearing} hearing
   * @param {() => number} chosen the line that the play button plays
   * @param {((inner: string) => void)|null} inner takes how movements are opened or closed
   */
  constructor(hearing, chosen, inner = null) {
    this.hearing = hearing;
    this.chosen = chosen;
    /** The sound whose pitches are offered. @type {any} */
    this._offered = null;
    this.holes = new Holes();
    this.noteName = element("span", { class: "name", "aria-hidden": "true" });
    this.state = element("span", { class: "state", role: "status" });
    this.button = element("button", { class: "play", onclick: () => this.toggle() });
    this.tempo = element("input", {
      type: "range",
      min: SLOWEST,
      max: 160,
      step: 1,
      "aria-label": say("tempo"),
      oninput: (/** @type {any} */ event) => this._tempo(Number(event.target.value)),
    });
    this.typed = element("input", {
      type: "number",
      min: SLOWEST,
      max: FASTEST,
      step: "any",
      "aria-label": say("tempo"),
      onchange: (/** @type {any} */ event) => this._tempo(Number(event.target.value)),
    });
    this.pitch = element(
      "select",
      { class: "pitch", "aria-label": say("pitch"), disabled: true, onchange: () => this._takePitch() },
      // What there is to choose from comes with the sound.
      element("option", { text: hearing.pitches[hearing.pitchIndex] }),
    );
    this.hertz = element("input", {
      type: "number",
      step: "any",
      hidden: true,
      placeholder: say("pitch_typed"),
      "aria-label": `${say("pitch")}: ${say("pitch_typed")}`,
      onchange: () => void this._takeHertz(),
    });
    const fader = (/** @type {"chanter"|"drone"|"metronome"} */ name) =>
      element(
        "label",
        { class: "fader" },
        element("span", { text: say(name) }),
        element("input", {
          type: "range",
          min: LOWEST_FADER_DB,
          max: 6,
          step: 1,
          value: hearing.faders[name],
          oninput: (/** @type {any} */ event) => hearing.fade(name, Number(event.target.value)),
        }),
      );
    const countsIn = element("input", {
      type: "checkbox",
      checked: hearing.countsIn,
      onchange: (/** @type {any} */ event) => (hearing.countsIn = event.target.checked),
    });
    const mode = element(
      "select",
      {
        "aria-label": say("mode"),
        onchange: (/** @type {any} */ event) => hearing.takeMode(event.target.value),
      },
      ...["loop", "once"].map((one) =>
        element("option", { value: one, selected: hearing.choice.mode === one }, say(`mode_${one}`)),
      ),
    );
    const opened = element(
      "select",
      { "aria-label": say("form"), onchange: (/** @type {any} */ event) => inner?.(event.target.value) },
      element("option", { value: "" }, say("form_written")),
      ...INNERS.map(([value, key]) => element("option", { value }, say(key))),
    );
    opened.hidden = inner === null;
    this.parts = element(
      "div",
      { class: "parts", id: "parts" },
      fader("chanter"),
      fader("drone"),
      fader("metronome"),
      element("label", { class: "choice" }, countsIn, element("span", { text: say("counts_in") })),
    );
    // Where there is no room for them, they are folded away.
    const unfold = element("button", {
      type: "button",
      class: "opener unfold",
      "aria-expanded": "false",
      "aria-controls": "parts",
      text: say("sound"),
      onclick: () => unfold.setAttribute("aria-expanded", String(this.parts.classList.toggle("unfolded"))),
    });
    this.element = element(
      "footer",
      { class: "dock", "aria-label": say("controls") },
      this.button,
      element("div", { class: "now" }, this.holes.element, this.noteName),
      unfold,
      element("div", { class: "tempo" }, element("span", { text: say("tempo") }), this.tempo, this.typed),
      opened,
      mode,
      this.pitch,
      this.hertz,
      this.parts,
      this.state,
    );
    this.shown(hearing.heard);
  }

  /** @param {number} tempo */
  _tempo(tempo) {
    this.hearing.takeTempo(readTempo(tempo));
    this.shown(this.hearing.heard);
  }

  _takePitch() {
    const { value } = this.pitch;
    this.hertz.hidden = value !== OTHER;
    if (value === OTHER) this.hertz.focus();
    else this.hearing.tune(Number(value), this.hearing.cents);
  }

  /** Sound at a pitch that is typed. */
  async _takeHertz() {
    const { hearing, hertz } = this;
    if (!hertz.value) return;
    const others = hearing.pitches.filter((one) => Number.isNaN(Number(one)));
    this.state.textContent = say("getting_sound");
    try {
      const isTaken = await hearing.take([...others, hertz.value], hearing.chanter, others.length);
      if (isTaken) hertz.hidden = true;
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.state.replaceChildren(whyNot(error));
    }
  }

  /** Offer the pitches that there are. */
  _offerPitches() {
    const { data, pitchIndex } = this.hearing;
    if (!data || data === this._offered) return;
    this._offered = data;
    this.pitch.disabled = false;
    this.pitch.replaceChildren(
      ...data.pitches.map((/** @type {any} */ one, /** @type {number} */ index) =>
        element("option", { value: index, selected: index === pitchIndex }, nameOfPitch(one)),
      ),
      element("option", { value: OTHER }, say("pitch_other")),
    );
  }

  toggle() {
    if (this.hearing.isPlaying) this.hearing.stop();
    else this.hearing.play(this.chosen());
  }

  /** @param {Heard} heard */
  shown(heard) {
    const { hearing } = this;
    this._offerPitches();
    const { tempo } = hearing.choice;
    this.button.textContent = say(heard.isPlaying ? "stop" : "start");
    this.button.disabled = !hearing.data;
    const written = spokenTempo(tempo);
    if (document.activeElement !== this.typed) this.typed.value = written;
    if (document.activeElement !== this.tempo) this.tempo.value = written;
    const tones = hearing.data?.fingerings ?? [];
    const note = heard.tone < 9 ? heard.tone : (hearing.data?.sound.fingered[heard.tone - 9]?.note ?? -1);
    const named = heard.tone < 0 ? "" : noteName(note);
    this.holes.show(heard.tone < 0 ? "" : (tones[heard.tone] ?? ""), `${say("fingering")}: ${named || say("silent")}`);
    this.noteName.textContent = named;
    let state = hearing.data ? say("press_staff") : say("getting_sound");
    if (heard.isPlaying) {
      const fits = hearing.tempoOf(heard.index);
      state = isSame(fits, tempo)
        ? say("plays", { n: heard.index + 1, tempo: written })
        : say("too_fast", { n: spokenTempo(fits) });
    }
    if (this.state.textContent !== state) this.state.textContent = state;
  }
}
