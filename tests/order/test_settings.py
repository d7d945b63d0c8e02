"""Settings are read as players give them, and everything wrong with them is said at once."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from renderer.errors import RungwiseError
from renderer.notation.length import Length
from renderer.notation.playing import Inner
from renderer.order.formats import AudioFormat
from renderer.order.settings import Settings, read_settings
from renderer.sound.mix_settings import Layout, Mix
from renderer.sound.own_soundfont import shipped_soundfont
from renderer.sound.tuning import Chanter
from tests.delivery.larkmoor import asked, doublings, ladder

SOUNDFONT = shipped_soundfont()


def test_the_defaults_are_a_full_stereo_mp3_at_a_on_a_practice_chanter() -> None:
    usual = read_settings({})
    assert usual == Settings()
    assert [pitch.label for pitch in usual.pitch] == ["A"]
    assert usual.scale.name == "harmonic"
    assert usual.chanter is Chanter.PRACTICE
    assert usual.mix == (Mix.FULL,)
    assert usual.format == (AudioFormat.MP3,)
    assert usual.layout is Layout.STEREO


def test_names_are_read_whatever_their_case() -> None:
    settings = asked(
        pitch=("bflat", 478),
        scale="macneill",
        chanter="Pipe",
        mix=("Echo", "FULL"),
        format=("WAV", ".ogg"),
        layout="Split",
        levels="drone=-12",
    )
    assert [pitch.label for pitch in settings.pitch] == ["B flat", "478 Hz"]
    assert settings.scale.name == "MacNeill"
    assert settings.mix == (Mix.ECHO, Mix.FULL)
    assert settings.levels.drone == -12


def test_what_is_asked_for_twice_is_rendered_once() -> None:
    settings = asked(pitch=("A", 478, "a", "478.0 Hz", 239), mix=("full", "full"))
    assert [pitch.label for pitch in settings.pitch] == ["A", "478 Hz"]
    assert settings.mix == (Mix.FULL,)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"pitch": ("H",)}, "pitch: 'H' is no pitch"),
        ({"pitch": (900.0,)}, "pitch: no chanter has its low A at 900 Hz"),
        ({"pitch": ()}, "pitch: there is none. Name at least one."),
        ({"scale": "minor"}, "scale: there is no scale 'minor'. Choose one of"),
        ({"chanter": "tin"}, "chanter: there is no chanter 'tin'. Choose practice or pipe."),
        ({"mix": ("all",)}, "mix: there is no mix 'all'. Choose one of full, backing, chanter"),
        ({"format": ("aac",)}, "format: there is no audio format 'aac' here. Choose one of wav"),
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
        (
            {"share": True, "format": ("wav",)},
            "share: small files to send are MP3, and wav is asked",
        ),
        ({"share": True, "layout": "split"}, "share: small files to send have one channel"),
        ({"introduction": "E", "count_in": 0}, "introduction: without a count-in there is no beat"),
        ({"drone_preset": "9"}, "drone_preset: '9' is no preset"),
    ],
)
def test_a_wrong_setting_is_named_with_what_would_be_right(
    wrong: dict[str, Any], said: str
) -> None:
    with pytest.raises(RungwiseError) as caught:
        asked(**wrong)
    assert said in str(caught.value)
    assert len(caught.value.problems) == 1


def test_all_that_is_wrong_is_said_at_once() -> None:
    with pytest.raises(RungwiseError) as caught:
        asked(rate=1, count_in=99, mix=("all",), pitch=("H", "J"))
    places = [problem.place for problem in caught.value.problems]
    assert places == ["pitch", "pitch", "mix", "count_in", "rate"]


def test_high_rates_are_fine_without_mp3() -> None:
    assert asked(rate=96_000, format=("flac",)).format == (AudioFormat.FLAC,)


def test_repeats_come_from_the_settings_then_the_exercise() -> None:
    exercise = doublings(ladder=ladder(50, repeats=3))
    assert asked().repeats_of(exercise) == 3
    assert asked(ladder=ladder(60)).repeats_of(exercise) == 3
    assert asked(repeats=2).repeats_of(exercise) == 2
    assert asked().repeats_of(doublings()) == 1


def test_gracenotes_are_the_exercises_own_unless_asked_for() -> None:
    exercise = doublings()
    assert asked().applied_to(exercise) == exercise
    length = Length(Fraction(30), "ms")
    changed = asked(gracenote=length, placement="before the beat").applied_to(exercise)
    assert changed.gracenotes.length == length
    assert changed.gracenotes.placement == "before the beat"


def test_one_length_of_inner_notes_holds_for_all_lines() -> None:
    written = doublings(lines=2)
    own = replace(written.lines[1], inner=Inner((Length(Fraction(100), "ms"),)), beat="last")
    exercise = replace(written, lines=(written.lines[0], own))
    third = Inner((Length(Fraction(1, 3), "beat"),))
    played = asked(inner="1/3 beat").applied_to(exercise)
    assert [played.inner_of(line) for line in played.lines] == [third, third]
    assert asked().applied_to(exercise) == exercise
    for beat in ("first", 2):
        played = asked(beat=beat).applied_to(exercise)
        assert [played.beat_of(line) for line in played.lines] == [beat, beat]


def test_a_line_alone_keeps_its_number() -> None:
    (line,) = asked(line=2).chosen(doublings(lines=3)).lines
    assert line.heading == "Line 2"
    with pytest.raises(RungwiseError, match=r"has no line 4\. Choose one from 1 to 3\."):
        asked(line=4).chosen(doublings(lines=3))


def test_settings_that_exclude_each_other_are_refused() -> None:
    with pytest.raises(RungwiseError, match="Give one tempo or a ladder"):
        asked(tempo=60, ladder="50:80:10")
    with pytest.raises(RungwiseError, match="part and --tune are both given"):
        asked(part="1", tune="2")


def test_an_unknown_setting_suggests_the_nearest() -> None:
    with pytest.raises(RungwiseError, match=r"no setting 'count_inn'\. Did you mean count_in"):
        asked(count_inn=2)
