"""The exercises that ship: each can be found, checked, expanded, rendered and engraved."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from renderer import expand, render
from renderer.delivery.sheet.fitting import pages_of
from renderer.errors import RungwiseError
from renderer.notation.definition.reader import parse_definition, read_definition
from renderer.notation.definition.text import definition_text
from renderer.notation.score import Exercise, Meter
from renderer.reading.exercise import read_exercise
from renderer.reading.library import ShippedExercise, find_exercise, shipped_exercises
from renderer.reading.syllabus import (
    level_named,
    listed_exercises,
    movement_wanted,
    time_wanted,
)
from renderer.technique.cautions import CautionKind
from renderer.technique.coverage import UNNAMED, coverage
from renderer.technique.ornaments import load_book
from renderer.technique.realise import expand_definition, realise
from renderer.technique.report import assess
from renderer.timing.fit import fastest_tempos
from tests.delivery.larkmoor import rungs
from tests.limits import HANG_S
from tests.sampling import sampled

LIBRARY = shipped_exercises()
every_exercise = pytest.mark.parametrize("shipped", LIBRARY, ids=lambda one: one.name)
some_exercises = pytest.mark.parametrize("shipped", sampled(LIBRARY, 6), ids=lambda one: one.name)


def music_alone(exercise: Exercise) -> Exercise:
    return replace(exercise, source="")


def test_the_library_is_large_and_its_names_are_told_apart() -> None:
    assert len(LIBRARY) >= 80
    names = [one.name for one in LIBRARY]
    assert len({name.casefold() for name in names}) == len(names)
    assert {one.level for one in LIBRARY} >= {"beginner", "improver", "intermediate", "advanced"}


@every_exercise
def test_each_has_a_title_a_purpose_headings_and_a_ladder_of_sensible_tempos(
    shipped: ShippedExercise,
) -> None:
    exercise = read_exercise(shipped.path)
    assert exercise.title and exercise.audience and exercise.level
    assert exercise.purpose.endswith(".") and exercise.purpose.count(".") == 1
    assert all(line.heading for line in exercise.lines)
    assert exercise.ladder is not None
    tempos = rungs(exercise)
    assert len(tempos) >= 3
    assert tempos[-1] == exercise.tempo
    assert all(after > before for before, after in pairwise(tempos))
    assert tempos[0] >= 30 and tempos[-1] <= 100


@every_exercise
def test_every_gracenote_of_each_is_heard(shipped: ShippedExercise) -> None:
    reports = assess(read_exercise(shipped.path))
    assert not any(report.count(CautionKind.UNHEARD_GRACENOTE) for report in reports)


@every_exercise
def test_each_is_played_as_named_and_fits_at_every_rung(shipped: ShippedExercise) -> None:
    exercise = read_exercise(shipped.path)
    assert exercise.remarks == (), "nothing had to be replaced"
    for limit in fastest_tempos(exercise):
        assert limit is None or limit >= exercise.tempo
    for tempo in rungs(exercise):
        assert expand(exercise, tempo).duration > 0


@every_exercise
def test_each_survives_expanding_and_reading_back(shipped: ShippedExercise) -> None:
    definition = read_definition(shipped.path)
    text = definition_text(expand_definition(definition))
    assert music_alone(realise(parse_definition(text))) == music_alone(realise(definition))


@some_exercises
def test_each_renders(shipped: ShippedExercise, tmp_path: Path) -> None:
    exercise = read_exercise(shipped.path)
    # One rung, one playing, a low rate: what is tested is that the music renders to its length.
    (track,) = render(
        exercise, tmp_path, ladder=[exercise.tempo], repeats=1, format="wav", rate=8000
    )
    samples, rate = sf.read(track.path)
    assert len(samples) == round(expand(exercise).duration * rate)
    assert np.abs(samples).max() > 0.05


@some_exercises
def test_each_engraves(shipped: ShippedExercise) -> None:
    exercise = read_exercise(shipped.path)
    assert pages_of(replace(exercise, lines=exercise.lines[:16])) >= 1


def test_the_daily_warm_up_has_two_pages() -> None:
    assert pages_of(read_exercise("daily-warm-up")) == 2


def test_the_syllabus_practises_every_movement_from_every_note_that_it_is_used_from() -> None:
    book = load_book()
    found = {one.ornament: one for one in coverage(read_exercise(one.path) for one in LIBRARY)}
    lacking = {
        movement.name: found[movement.name].missing if movement.name in found else "all"
        for movement in book
        if movement.name not in found or found[movement.name].missing
    }
    assert lacking == {}
    assert UNNAMED not in found, "every group of the shipped exercises is in the book"


def test_the_syllabus_has_every_time_that_pipers_play_in() -> None:
    times = {str(read_exercise(one.path).lines[0].bars[0].meter) for one in LIBRARY}
    assert times >= {"2/4", "3/4", "4/4", "6/8", "9/8", "2/2"}


@pytest.mark.parametrize("level", ["beginner", "improver", "intermediate", "advanced"])
def test_every_level_has_exercises_for_fingers_and_for_rhythm(level: str) -> None:
    found = [one for one, _ in listed_exercises(level=level)]
    assert len(found) >= 15
    marching = [one for one, _ in listed_exercises(level=level, meter=Meter(2, 4))]
    assert marching and len(marching) < len(found)


def test_exercises_are_found_by_movement_with_its_other_beginnings() -> None:
    names = movement_wanted("pelé")
    assert {"shake", "thumb shake", "half shake"} <= names
    found = {shipped.name for shipped, _ in listed_exercises(movements=names)}
    assert {"shakes", "shakes-from-every-note", "hornpipe-shakes"} <= found
    assert "grips-from-every-note" not in found
    plain = {one.name for one, _ in listed_exercises(movements=movement_wanted("plain"))}
    assert "long-notes" in plain and "shakes" not in plain


@pytest.mark.parametrize(
    ("wanted", "text"), [(level_named, "grade 1"), (movement_wanted, "grup"), (time_wanted, "9/9")]
)
def test_what_the_library_cannot_be_asked_for_is_refused(
    wanted: Callable[[str], object], text: str
) -> None:
    with pytest.raises(RungwiseError) as caught:
        wanted(text)
    (problem,) = caught.value.problems
    assert problem.place.startswith("--") and problem.remedy


def drills(exercise: Exercise) -> frozenset[object]:
    """What an exercise's lines play, whatever they are called."""
    return frozenset(
        (exercise.inner_of(line), *((note.slots, note.beats) for note in line.melody_notes))
        for line in exercise.lines
    )


def test_no_exercise_is_part_of_another_but_for_the_abridged_edition() -> None:
    found = {one.name: drills(read_exercise(one.path)) for one in LIBRARY}
    assert found["fourteen-lines-of-doublings"] < found.pop("every-doubling-from-low-g-to-f")
    names = sorted(found)
    assert all(not found[one] <= found[other] for one in names for other in names if one != other)


def test_names_are_free_in_case_spaces_and_hyphens() -> None:
    path = find_exercise("first-gracenotes")
    for written in ("First Gracenotes", "first_gracenotes", "FIRST-GRACENOTES.toml"):
        assert find_exercise(written) == path


def test_a_file_of_that_name_comes_before_the_library(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("birls").write_text('title = "Mine"\n[[lines]]\nrun = "B"\n')
    assert find_exercise("birls") == Path("birls")


def test_a_wrong_name_suggests_the_nearest() -> None:
    with pytest.raises(RungwiseError, match="The nearest") as caught:
        find_exercise("first-gracenote")
    assert "'first-gracenotes'" in str(caught.value)


def test_a_wrong_path_is_a_missing_file_and_not_a_wrong_name(tmp_path: Path) -> None:
    missing = tmp_path / "none.toml"
    assert find_exercise(missing) == missing
    with pytest.raises(RungwiseError, match="no such file"):
        read_exercise(missing)


def test_a_library_name_works_from_any_folder(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "renderer.cli", "events", "first-strikes", "--tempo", "60"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
        timeout=HANG_S,
    )
    assert run.stdout.startswith("start_ms,length_ms,note,role,line,bar,")
