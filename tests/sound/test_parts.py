"""How long the parts of closed movements last, measured from the sound alone."""

from __future__ import annotations

import numpy as np
import pytest

from renderer.notation.definition.reader import parse_definition
from renderer.order.tracks import expand
from renderer.sound.tuning import Chanter
from renderer.technique.realise import realise
from renderer.timing.timeline import Role
from tests.sound.measuring import onsets_s
from tests.sound.playing import ALONE, instrument, rendered

RATE = 44_100


@pytest.mark.parametrize(
    ("line", "beat", "parts_ms"),
    [
        # Low G, D gracenote, low G: even, and over when the note begins on its beat.
        ('run = "B, C, B, C"\nornament = "grip"', "last", [50, 45, 50]),
        ('run = "B, C, B, C"\nornament = "grip"', "first", [50, 45, 50]),
        # G gracenote, the note, D gracenote.
        ('run = "B, C, B, C"\nornament = "doubling"', "first", [45, 50, 45]),
        ('run = "B, C, B, C"\nornament = "grip"\ninner = ["80 ms", "60 ms"]', "last", [80, 45, 60]),
    ],
)
def test_parts_last_as_long_as_asked_for_within_3_ms(
    line: str, beat: str, parts_ms: list[float]
) -> None:
    exercise = realise(parse_definition(f'meter = "4/4"\n[[lines]]\n{line}\nbeat = "{beat}"'))
    sound = rendered(expand(exercise, 60), ALONE, instrument(chanter=Chanter.PIPE))
    heard = onsets_s(sound.mean(axis=1).astype(np.float32), RATE)
    for beat_at in (5.0, 6.0, 7.0):
        ends = beat_at + (sum(parts_ms) / 1000 if beat == "first" else 0)
        near = heard[np.abs(heard - ends) < 0.3]
        wanted = ends - np.cumsum([0, *reversed(parts_ms)])[::-1] / 1000
        assert len(near) == len(wanted), near
        lengths_ms = np.diff(near) * 1000
        assert np.abs(lengths_ms - parts_ms).max() < 3, lengths_ms
        assert np.abs(near - wanted).max() < 0.003, near - wanted


@pytest.mark.parametrize("tempo", [100, 124, 168])
def test_shortened_parts_are_heard_as_long_as_they_were_made(tempo: int) -> None:
    # A semiquaver of a march, a strathspey and a reel: gracenotes of 45, 37 and 24 ms.
    text = 'abc = "L:1/4 e {gcd}c/4 e7/4 e | e {gBd}B/4 e7/4 e | e {gAd}A/4 e7/4 e |"'
    exercise = realise(parse_definition(f'meter = "4/4"\n[[lines]]\n{text}'))
    timeline = expand(exercise, tempo)
    sound = rendered(timeline, ALONE, instrument(chanter=Chanter.PIPE))
    heard = onsets_s(sound.mean(axis=1).astype(np.float32), RATE)
    starts = np.array([float(e.start) for e in timeline if e.note is not None])
    doublings = [e for e in timeline if e.role is Role.GRACENOTE and e.slot == 1]
    assert len(doublings) == 3
    semiquaver = 15 / tempo
    for gracenote in doublings:
        begins = float(gracenote.start)
        wanted = starts[(starts >= begins) & (starts <= begins + semiquaver + 0.001)]
        near = heard[(heard > begins - 0.01) & (heard < begins + semiquaver + 0.01)]
        assert len(near) == len(wanted) == 5
        assert np.abs(near - wanted).max() < 0.003, near - wanted
