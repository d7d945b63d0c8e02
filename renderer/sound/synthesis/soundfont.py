"""The voice tables to the presets of the project's SoundFont, and to its bytes."""

import numpy as np
import numpy.typing as npt

from renderer.sound.synthesis.riff import Preset, Sample, Zone, soundfont_bytes
from renderer.sound.synthesis.strokes import stroke_frames
from renderer.sound.synthesis.tones import (
    Partials,
    loop_frames,
    loop_length,
    note_partials,
    to_16_bit,
)
from renderer.sound.synthesis.voice_tables import ToneTable, VoiceTables, read_voice_tables
from renderer.sound.units import key_to_hz

PERCUSSION_BANK = 128  # SoundFont 2.04, section 7.2
FRAMES_BESIDE_LOOP = 64  # eight times what the standard asks for: room for any interpolator
TONE_RELEASE_TIMECENTS = -7973  # 10 ms
STROKE_RELEASE_TIMECENTS = 2400  # 4 s: a stroke rings on however short its MIDI note is

INFO = {
    "isng": "EMU8000",
    "INAM": "Rungwise chanters, drones and drum",
    "IENG": "The Rungwise developers",
    "ICOP": "MIT licence, the Rungwise developers",
    "ICMT": "Computed from tables of partials, not recorded. See soundfonts/README.md.",
    "ISFT": "renderer.sound.synthesis",
}


def build_soundfont() -> bytes:
    """The whole SoundFont; the same bytes each time."""
    tables = read_voice_tables()
    presets = [_tone_preset(tone, tables) for tone in tables.tones]
    presets.append(_general_midi_preset(presets, tables))
    presets.append(_stroke_preset(tables))
    return soundfont_bytes(presets, INFO)


def _tone_preset(tone: ToneTable, tables: VoiceTables) -> Preset:
    highest_hz = tables.highest_partial_of_rate * tables.rate_hz
    zones = []
    for index in range(len(tone.keys)):
        partials = note_partials(tone, index, tables.rate_hz, highest_hz)
        low_key, high_key = _keys_nearest(tone.keys, index)
        for layer, about_s in enumerate(tone.loop_s):
            sample = _loop_sample(
                tone, index, _layer(partials, layer, len(tone.loop_s)), about_s, tables.rate_hz
            )
            zones.append(Zone(sample, low_key, high_key, TONE_RELEASE_TIMECENTS))
    return Preset(tone.name, 0, tone.program, tuple(zones), velocity_sensitive=False)


def _general_midi_preset(tones: list[Preset], tables: VoiceTables) -> Preset:
    """The bagpipe that MIDI files ask for; their velocities set drones below the chanter."""
    wanted = tables.general_midi
    zones = next(tone.zones for tone in tones if tone.name == wanted.sounds_as)
    return Preset(wanted.name, 0, wanted.program, zones, velocity_sensitive=True)


def _layer(partials: Partials, layer: int, layers: int) -> Partials:
    """The partials that the `layer`-th of so many layers carries.

    Layers loop at different lengths, so that what repeats in one does not repeat in the sum;
    each partial is in one layer only, so that layers cannot cancel one another. Pairs of orders
    take turns (1, 4, 5, 8, ... and 2, 3, 6, 7, ...), which deals the strong odd ones out evenly.
    """
    mine = partials.orders // 2 % layers == layer
    return Partials(partials.orders[mine], partials.amplitudes[mine], partials.phases_turns[mine])


def _loop_sample(
    tone: ToneTable, index: int, partials: Partials, about_s: float, rate_hz: int
) -> Sample:
    key = tone.keys[index]
    length = loop_length(key_to_hz(key), rate_hz, about_s)
    loop = to_16_bit(loop_frames(tone, index, partials, length, rate_hz))
    margin = FRAMES_BESIDE_LOOP
    frames: npt.NDArray[np.int16] = np.concatenate((loop[-margin:], loop, loop[:margin]))
    layer = f" {about_s:g}s" if len(tone.loop_s) > 1 else ""
    return Sample(
        name=f"{tone.name.replace('chanter', 'ch')} {key}{layer}",
        frames=frames,
        rate_hz=rate_hz,
        root_key=key,
        loop=(margin, margin + length.frames),
    )


def _keys_nearest(keys: tuple[int, ...], index: int) -> tuple[int, int]:
    """The range of keys that lie nearest to the `index`-th; halfway belongs to the upper one."""
    low = 0 if index == 0 else (keys[index - 1] + keys[index] + 1) // 2
    high = 127 if index == len(keys) - 1 else (keys[index] + keys[index + 1] + 1) // 2 - 1
    return low, high


def _stroke_preset(tables: VoiceTables) -> Preset:
    highest_hz = tables.highest_partial_of_rate * tables.rate_hz
    zones = []
    for stroke in sorted(tables.strokes, key=lambda row: row.key):
        sample = Sample(
            name=stroke.name,
            frames=to_16_bit(stroke_frames(stroke, tables.rate_hz, highest_hz)),
            rate_hz=tables.rate_hz,
            root_key=stroke.key,
        )
        zones.append(
            Zone(sample, stroke.key, stroke.key, STROKE_RELEASE_TIMECENTS, follows_keys=False)
        )
    return Preset("Clicks and drum", PERCUSSION_BANK, 0, tuple(zones), velocity_sensitive=True)
