"""Up to which tempo a melody note keeps the length of its ornament's parts."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from renderer.errors import RungwiseError
from renderer.notation.definition.reader import parse_definition
from renderer.notation.score import Exercise
from renderer.order.tracks import expand
from renderer.technique.realise import realise
from renderer.timing.fit import even_tempos, fastest_tempos, spoken_limit
from renderer.timing.timeline import Role

MOVEMENTS = ("G gracenote", "doubling", "grip", "taorluath", "birl with a G gracenote")


def exercise(movement: str, more: str = "") -> Exercise:
    on = 'on = "low A"' if "birl" in movement else ""
    text = f'[[lines]]\nrun = "B, low A, C"\nornament = "{movement}"\n{on}\n{more}'
    return realise(parse_definition(text))


def keeps_its_length(music: Exercise, tempo: Fraction) -> bool:
    """Whether nothing is shortened and each melody note is as long as gracenotes and inner notes.

    Of closed movements the notes themselves are compared, of opened ones their slots.
    """
    track = expand(music, tempo=tempo, repeats=2)
    if any("shortened" in remark for remark in track.remarks):
        return False
    is_opened = any(music.inner_of(line).is_opened for line in music)
    inner: list[Fraction] = []
    gracenote = Fraction(0)
    for event in track:
        lasts = event.length + (gracenote if is_opened else 0)
        if event.role is Role.MELODY and (
            event.length < gracenote or lasts < max([*inner, Fraction(0)])
        ):
            return False
        inner = [*inner, lasts] if event.role is Role.INNER else inner
        inner = [] if event.role is Role.MELODY else inner
        gracenote = event.length if event.role is Role.GRACENOTE else Fraction(0)
    return True


@pytest.mark.parametrize("movement", MOVEMENTS)
@pytest.mark.parametrize("more", ["", "notes-per-beat = 3", 'rhythm = "dot-cut"'])
def test_up_to_that_tempo_a_track_keeps_melody_notes_as_long_as_the_parts(
    movement: str, more: str
) -> None:
    music = exercise(movement, more)
    (even,), (fastest,) = even_tempos(music), fastest_tempos(music)
    assert even is not None and fastest is not None
    assert even < fastest
    assert keeps_its_length(music, min(even, Fraction(400)))
    if even * Fraction(101, 100) < min(fastest, Fraction(400)):
        assert not keeps_its_length(music, even * Fraction(101, 100))


def test_the_remedies_for_an_opened_grip_without_room_give_it_room() -> None:
    head = 'meter = "2/4"\nornaments.inner = "{}"\n[[lines]]\nornament = "grip"\n{}'
    short = realise(parse_definition(head.format("1/2 beat", 'run = "B, low A, C"')))
    short = replace(short, source="short.toml")
    with pytest.raises(RungwiseError, match="'1/3 beat', fits; or give the note") as caught:
        expand(short, tempo=40)
    assert "by a | after it" in str(caught.value)
    for inner, music in (
        ("1/3 beat", 'run = "B, low A, C"'),
        ("1/2 beat", 'run = "B | low A | C"'),
    ):
        assert keeps_its_length(realise(parse_definition(head.format(inner, music))), Fraction(40))


def test_a_doubling_stays_even_up_to_a_note_of_two_gracenotes_and_two_notes_of_50_ms() -> None:
    shortest = 2 * Fraction(45 + 50, 1000)
    assert even_tempos(exercise("doubling")) == (60 / shortest,)
    assert even_tempos(exercise("doubling", "notes-per-beat = 4")) == (15 / shortest,)


def test_a_gracenote_leaves_its_note_as_much_again() -> None:
    assert even_tempos(exercise("G gracenote")) == (60 / Fraction(90, 1000),)


def test_equal_parts_of_an_opened_movement_are_even_as_far_as_gracenotes_go() -> None:
    assert even_tempos(exercise("doubling", 'inner = "1/2 beat"')) == (30 / Fraction(90, 1000),)
    assert even_tempos(exercise("doubling", 'inner = "2/3 beat"')) == (0,)


def test_plain_notes_are_even_at_every_tempo() -> None:
    assert even_tempos(realise(parse_definition('[[lines]]\nrun = "B, C"'))) == (None,)


@pytest.mark.parametrize(
    ("tempo", "words"), [("342.86", "342"), ("93.75", "93"), ("10", "10"), ("9.87", "9.8")]
)
def test_a_limit_is_spoken_in_whole_beats_and_never_too_fast(tempo: str, words: str) -> None:
    assert spoken_limit(Fraction(tempo)) == words
