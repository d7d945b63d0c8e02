"""Tunes one after the other: each keeps its tempo, meter, repeats and movements."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer import expand
from renderer.errors import RungwiseError
from renderer.notation.length import Length
from renderer.notation.limits import MOST_LINES
from renderer.notation.medley import medley_of
from renderer.notation.playing import EVEN
from renderer.notation.score import Exercise, Gracenotes
from renderer.notation.source_file import Source
from renderer.reading.exercise import read_exercise
from renderer.timing.order_of_playing import order_of_playing
from renderer.timing.timeline import Event, SectionKind
from tests.notation.strategies import exercises_with_signs
from tests.notation.test_written_form import FORMS, written_and_read
from tests.sampling import examples

MARCH = """X:1\nT:The Larkmoor Ferry\nC:nobody yet\nR:march\nM:2/4\nL:1/8\nQ:1/4=66\nK:HP
P:A\n{g}A2 {gcd}c2|1 {g}e2 {g}A2:|2 {g}e4||\nP:B\n|:{ag}a2 f2|e4:|]\n"""
STRATHSPEY = """X:2\nT:The Drying Loft\nM:4/4\nL:1/8\nQ:1/4=112\nK:HP
|:{g}A>B {gcd}c>e {ag}a>f e>c!fine!:|{g}B>c d>e f2 e2!D.C.alfine!|]\n"""
JIG = """X:3\nT:Quick\nM:6/8\nL:1/8\nQ:3/8=104\nK:HP\nA|:{g}cBA {g}ABc|{gef}e2 f a2 A:|\n"""


def tune(text: str) -> Exercise:
    return replace(read_exercise(Source("tune.abc", text.encode())), source="")


TUNES = [tune(text) for text in (MARCH, STRATHSPEY, JIG)]
MEDLEY = medley_of("Larkmoor set", TUNES)


def heard(exercise: Exercise, **how: int) -> list[tuple[Fraction, object, object]]:
    """How long each note lasts, without the lead-in."""
    timeline = expand(exercise, exercise.tempo, count_in=0, **how)
    return [(event.length, event.note, event.role) for event in timeline if event.line]


@pytest.mark.parametrize("gap", [0, 1, 2])
def test_a_tune_sounds_in_a_medley_as_it_does_by_itself(gap: int) -> None:
    together = heard(MEDLEY, gap=gap)
    apart = [note for one in TUNES for note in heard(one, gap=0)]
    assert together == apart


@pytest.mark.parametrize("gap", [0, 1, 3])
def test_bars_of_clicks_stand_between_tunes_and_not_between_their_parts(gap: int) -> None:
    timeline = expand(MEDLEY, MEDLEY.tempo, gap=gap)
    gaps = [one for one in timeline.sections if one.kind is SectionKind.GAP]
    beats = [60 / Fraction(112) * 4, 60 / Fraction(104) * 2]
    # Before the jig its pickup takes a third of a beat from one bar more.
    lasts = [gap * beats[0], gap * beats[1] + Fraction(5, 6) * beats[1]]
    assert [one.length for one in gaps] == lasts * bool(gap)
    names = [timeline.exercise.lines[one.line - 1].tune for one in gaps]
    assert names == ["The Drying Loft", "Quick"] * bool(gap)


def test_no_sign_leads_from_one_tune_into_another() -> None:
    lines = [[place.line for place in run] for run in order_of_playing(MEDLEY)]
    assert [line for run in lines for line in run] == sorted(line for run in lines for line in run)
    strathspey = [place.bar for run in order_of_playing(MEDLEY) for place in run if place.line == 3]
    assert strathspey == [1, 1, 2, 1], "da capo goes to the beginning of its own tune"


@pytest.mark.parametrize("times", [2, 3])
def test_repeats_play_each_tune_as_a_whole_so_often(times: int) -> None:
    once, often = heard(MEDLEY, gap=0), heard(MEDLEY, gap=0, repeats=times)
    apart = [note for one in TUNES for note in heard(one, gap=0) * times]
    assert len(often) == times * len(once)
    assert often == apart
    timeline = expand(MEDLEY, MEDLEY.tempo, gap=1, repeats=times)
    kinds = [one.kind for one in timeline.sections]
    assert kinds.count(SectionKind.GAP) == 2


def test_events_of_every_playing_name_the_written_note_and_its_turn() -> None:
    turns: dict[str, list[int]] = {}
    before: Event | None = None
    for event in expand(MEDLEY, MEDLEY.tempo, repeats=2):
        if event.note is not None and event.slot == 1 and event is not before:
            turns.setdefault(event.note_id, []).append(event.turn)
        before = event
    for said in turns.values():
        assert all(one < other or one == other for one, other in pairwise(said))
        assert len(said) == len(set(said))


def test_what_tunes_say_about_themselves_is_kept() -> None:
    assert MEDLEY.title == "Larkmoor set"
    assert MEDLEY.notes.splitlines() == ["The Larkmoor Ferry: march, nobody yet"]
    assert [line.tune for line in MEDLEY.lines] == [
        "The Larkmoor Ferry",
        "",
        "The Drying Loft",
        "Quick",
    ]
    assert [line.bars[0].tempo for line in MEDLEY.lines] == [None, None, 112, 104]


def test_movements_are_played_in_a_medley_as_each_tune_says() -> None:
    evenly = replace(TUNES[1], inner=EVEN, gracenotes=Gracenotes(Length(Fraction(30), "ms")))
    medley = medley_of("x", [TUNES[0], evenly])
    assert heard(medley, gap=0) == [*heard(TUNES[0], gap=0), *heard(evenly, gap=0)]
    before = replace(TUNES[1], gracenotes=Gracenotes(placement="before the beat"))
    medley = medley_of("x", [TUNES[0], before])
    assert medley.remarks == ()
    # Alone, the first gracenote of a track has no note before it to take its time from.
    later = heard(before, gap=1)[3:]
    assert later != heard(TUNES[1], gap=1)[3:]
    assert heard(medley, gap=1)[-len(later) :] == later


def test_a_medley_of_too_many_lines_is_refused() -> None:
    with pytest.raises(RungwiseError, match="lines"):
        medley_of("x", [TUNES[0]] * MOST_LINES)


@examples(40)
@given(st.lists(exercises_with_signs(), min_size=1, max_size=3))
@pytest.mark.parametrize("form", FORMS)
def test_a_medley_comes_back_as_it_was(form: str, tunes: list[Exercise]) -> None:
    medley = replace(medley_of("Set", tunes), remarks=())
    again = medley
    for _ in range(2):
        # The first time movements get the names that the book has for them.
        medley = again
        again = written_and_read(medley, form)
    assert again == medley
    assert [line.tune for line in again.lines] == [line.tune for line in medley.lines]


def test_a_definition_says_where_a_tune_begins(tmp_path: Path) -> None:
    path = tmp_path / "set.toml"
    path.write_text(
        'title = "Set"\nmeter = "4/4"\n[[lines]]\ntune = "One"\nabc = "A8"\n'
        '[[lines]]\ntune = "Two"\nrun = "low A, B"\n',
        encoding="utf-8",
    )
    assert [line.tune for line in read_exercise(path).lines] == ["One", "Two"]
    path.write_text('[[lines]]\ntune = "One"\nscale = { step = "third" }\n', encoding="utf-8")
    with pytest.raises(RungwiseError, match="a pattern stands for many"):
        read_exercise(path)
