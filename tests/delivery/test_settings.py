"""Settings are read as players give them, and everything wrong with them is said at once."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from renderer.delivery.formats import AudioFormat
from renderer.delivery.settings import RenderSettings, resolve
from renderer.errors import RungwiseError
from renderer.notation.length import Length
from renderer.sound.own_soundfont import shipped_soundfont
from renderer.sound.pitch import Chanter
from renderer.sound.settings import Layout, Mix
from tests.delivery.larkmoor import doublings, ladder

SOUNDFONT = shipped_soundfont()


def test_the_defaults_are_a_full_stereo_mp3_at_a_on_a_practice_chanter() -> None:
    resolved = resolve(RenderSettings())
    assert [pitch.label for pitch in resolved.pitches] == ["A"]
    assert resolved.scale.name == "harmonic"
    assert resolved.chanter is Chanter.PRACTICE
    assert resolved.mixes == (Mix.FULL,)
    assert resolved.formats == (AudioFormat.MP3,)
    assert resolved.layout is Layout.STEREO


def test_names_are_read_whatever_their_case() -> None:
    resolved = resolve(
        RenderSettings(
            pitches=("bflat", 478),
            scale="macneill",
            chanter="Pipe",
            mixes=("Echo", "FULL"),
            formats=("WAV", ".ogg"),
            layout="Split",
            levels="drone=-12",
        )
    )
    assert [pitch.label for pitch in resolved.pitches] == ["B flat", "478 Hz"]
    assert resolved.scale.name == "MacNeill"
    assert resolved.mixes == (Mix.ECHO, Mix.FULL)
    assert resolved.levels.drone == -12


def test_what_is_asked_for_twice_is_rendered_once() -> None:
    resolved = resolve(
        RenderSettings(pitches=("A", 478, "a", "478.0 Hz", 239), mixes=("full", "full"))
    )
    assert [pitch.label for pitch in resolved.pitches] == ["A", "478 Hz"]
    assert resolved.mixes == (Mix.FULL,)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"pitches": ("H",)}, "pitches: 'H' is no pitch"),
        ({"pitches": (900.0,)}, "pitches: no chanter has its low A at 900 Hz"),
        ({"pitches": ()}, "pitches: there is none. Name at least one."),
        ({"scale": "minor"}, "scale: there is no scale 'minor'. Choose one of"),
        ({"chanter": "tin"}, "chanter: there is no chanter 'tin'. Choose practice or pipe."),
        ({"mixes": ("all",)}, "mixes: there is no mix 'all'. Choose one of full, backing, chanter"),
        ({"formats": ("aac",)}, "formats: there is no audio format 'aac' here. Choose one of wav"),
        ({"layout": "5.1"}, "layout: there is no layout '5.1'. Choose one of mono, stereo, split"),
        ({"levels": "fiddle=0"}, "levels: 'fiddle=0' is no level"),
        ({"count_in_style": "shout"}, "Choose one of clicks, rolls."),
        ({"count_in": 9}, "count_in: 9 is out of range. Choose a whole number from 0 to 8."),
        ({"count_in": -1}, "count_in: -1 is out of range"),
        ({"gap": 9}, "gap: 9 is out of range"),
        ({"repeats": 0}, "repeats: 0 is out of range. Choose a whole number from 1 to"),
        ({"rate": 7_999}, "rate: 7999 is out of range. Choose a whole number from 8000 to 192000."),
        ({"rate": 96_000}, "rate: mp3 has no sample rate of 96000. Choose 48000"),
        ({"preset": "bagpipe"}, "preset: 'bagpipe' is no preset"),
        ({"soundfont": Path("reeds.sf2")}, "reeds.sf2: there is no such SoundFont"),
        ({"soundfont": SOUNDFONT}, "preset: which preset of"),
        ({"drone_preset": "9"}, "drone_preset: '9' is no preset"),
    ],
)
def test_a_wrong_setting_is_named_with_what_would_be_right(
    wrong: dict[str, Any], said: str
) -> None:
    with pytest.raises(RungwiseError) as caught:
        resolve(replace(RenderSettings(), **wrong))
    assert said in str(caught.value)
    assert len(caught.value.problems) == 1


def test_all_that_is_wrong_is_said_at_once() -> None:
    settings = RenderSettings(pitches=("H", "J"), mixes=("all",), count_in=99, rate=1)
    with pytest.raises(RungwiseError) as caught:
        resolve(settings)
    places = [problem.place for problem in caught.value.problems]
    assert places == ["pitches", "pitches", "mixes", "count_in", "rate"]


def test_high_rates_are_fine_without_mp3() -> None:
    assert resolve(RenderSettings(rate=96_000, formats=("flac",))).formats == (AudioFormat.FLAC,)


def test_repeats_come_from_the_settings_then_the_exercise() -> None:
    exercise = doublings(ladder=ladder(50, repeats=3))
    assert RenderSettings().repeats_of(exercise) == 3
    assert RenderSettings(ladder=ladder(60)).repeats_of(exercise) == 3
    assert RenderSettings(repeats=2).repeats_of(exercise) == 2
    assert RenderSettings().repeats_of(doublings()) == 1


def test_gracenotes_are_the_exercises_own_unless_asked_for() -> None:
    exercise = doublings()
    assert RenderSettings().applied_to(exercise) == exercise
    length = Length(Fraction(30), "ms")
    changed = RenderSettings(gracenote=length, placement="before the beat").applied_to(exercise)
    assert changed.gracenotes.length == length
    assert changed.gracenotes.placement == "before the beat"
