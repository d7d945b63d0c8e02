"""Scores of others get room for their movements; what a file states is left as it is."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from renderer.errors import RungwiseError
from renderer.notation.abc.writer import write_abc
from renderer.notation.length import Length
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.score import USUAL_INNER, Exercise, Gracenotes, Meter
from renderer.reading.exercise import read_exercise
from renderer.reading.room import with_room
from renderer.timing.expand import expand


def tune(folder: Path, music: str, tempo: int, meter: str = "4/4") -> Exercise:
    path = folder / "tune.abc"
    path.write_text(f"X:1\nT:Tune\nM:{meter}\nL:1/4\nQ:1/4={tempo}\nK:HP\n{music}\n", "utf-8")
    return read_exercise(path)


def test_a_tight_movement_of_a_score_fits_at_the_tempo_of_the_score(tmp_path: Path) -> None:
    # 300 ms to a quaver, less 15 ms to be heard and 45 ms for the last gracenote: three inner
    # notes of 80 ms.
    exercise = tune(tmp_path, "A {gAGAGA}A/B/ c2|", 100)
    expand(exercise)
    assert exercise.inner.value < USUAL_INNER.value
    said = f"Inner notes of movements last {exercise.inner} and not 100 ms"
    assert any(remark.startswith(said) for remark in exercise.remarks)
    longer = Length(exercise.inner.value + 1, "ms")
    with pytest.raises(RungwiseError, match="fits up to 99"):
        expand(Exercise("", exercise.lines, exercise.tempo, inner=longer))


@pytest.mark.parametrize("after", ["{g}c", "c"])
def test_a_movement_leaves_room_for_a_gracenote_ahead_of_the_next_beat(
    tmp_path: Path, after: str
) -> None:
    # Of 250 ms to the grip, 15 are for B to be heard, and 45 for a gracenote that leads on from it.
    read = tune(tmp_path, f"A2 {{GdG}}B/4{after}3/4 c|", 60)
    ahead = replace(
        read, inner=USUAL_INNER, gracenotes=Gracenotes(placement="before the beat"), remarks=()
    )
    fitted = with_room(ahead)
    expand(fitted)
    assert fitted.inner == (Length(Fraction(95), "ms") if "{" in after else USUAL_INNER)


def test_a_movement_with_room_keeps_the_usual_inner_notes(tmp_path: Path) -> None:
    exercise = tune(tmp_path, "A {gBd}B c2|", 100)
    assert (exercise.inner, exercise.remarks) == (USUAL_INNER, ())


def test_a_note_that_is_tied_on_has_all_of_its_length_for_a_movement(tmp_path: Path) -> None:
    assert tune(tmp_path, "A {gBd}B/-B/ c2|", 160).inner == USUAL_INNER
    assert tune(tmp_path, "A2 c/ {gBd}B/-|B4|", 200).inner == USUAL_INNER
    assert tune(tmp_path, "A {gBd}B/c/ c2|", 200).inner.value < USUAL_INNER.value


def test_a_movement_that_fits_in_no_way_is_left_to_the_error(tmp_path: Path) -> None:
    exercise = tune(tmp_path, "A {gBd}B/4c3/4 c2|", 200)
    assert exercise.inner == USUAL_INNER
    with pytest.raises(RungwiseError, match="fits up to"):
        expand(exercise)


def test_what_a_file_of_our_own_states_is_left_as_it_is(tmp_path: Path) -> None:
    tight = tune(tmp_path, "A {gBd}B/c/ c2|", 200)
    stated = Exercise("", tight.lines, tight.tempo)
    path = tmp_path / "stated.musicxml"
    path.write_bytes(write_musicxml(stated, opened="closed"))
    assert read_exercise(path).inner == USUAL_INNER
    (tmp_path / "not stated.abc").write_bytes(write_abc(stated))
    assert read_exercise(tmp_path / "not stated.abc").inner == tight.inner


def test_a_tune_without_bar_lines_keeps_its_meter_in_abc(tmp_path: Path) -> None:
    exercise = tune(tmp_path, "ABcd " * 40 + "|", 100, "2/2")
    (bar,) = exercise.lines[0].bars
    assert (bar.beats, bar.meter) == (80, Meter(80, 2))
    again = tmp_path / "again.abc"
    again.write_bytes(write_abc(exercise))
    assert read_exercise(again).lines == exercise.lines
    assert exercise.tempo == Fraction(50)
