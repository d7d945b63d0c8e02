"""Settings that scores keep as text: read as they were written, and never trusted."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from renderer.notation.kept_settings import settings_of, with_settings
from renderer.notation.limits import LONGEST_TEXT, LONGEST_TITLE
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, Ladder, Line, MelodyNote, Meter, Slot
from tests.limits import cpu_time

PLAIN = Exercise("Plain", (Line((Bar((MelodyNote(Fraction(2), (Slot(Note.B),)),), Meter(2, 4)),)),))


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("tempo", "1/0"),
        ("tempo", "1e9999999"),
        ("tempo", "nan"),
        ("tempo", "401"),
        ("ladder", "0"),
        ("ladder", "50,401"),
        ("ladder", "401%"),
        ("ladder repeats", "2"),
        ("inner length", "1/0 beat"),
        ("inner length of line 2", "100 ms"),
        ("gracenote length", "0 ms"),
        ("gracenote placement", "anywhere"),
    ],
)
def test_a_kept_setting_that_nobody_can_play_by_is_left_out_at_once_and_said(
    name: str, value: str
) -> None:
    with cpu_time():
        read = with_settings(PLAIN, {name: value})
    assert read.remarks == (f"The file says {name} = {value!r}, which is left out.",)
    assert replace(read, remarks=()) == PLAIN


def test_kept_words_lose_controls_and_what_is_too_long() -> None:
    words = "a\x07b\nc" + "d" * LONGEST_TEXT
    read = with_settings(PLAIN, {"for": words, "purpose": words, "level": words})
    assert read.audience.startswith("ab\nc")
    assert read.level == read.audience
    assert len(read.audience) <= LONGEST_TITLE < len(read.purpose) <= LONGEST_TEXT


@pytest.mark.parametrize(
    "ladder",
    [
        Ladder((Fraction("62.123456"), Fraction(80)), repeats=3),
        Ladder((Fraction("66.666667"), Fraction(100)), percent=True),
    ],
)
def test_a_ladder_is_kept_to_the_sixth_decimal(ladder: Ladder) -> None:
    read = with_settings(PLAIN, settings_of(replace(PLAIN, ladder=ladder)))
    assert (read.ladder, read.remarks) == (ladder, ())
