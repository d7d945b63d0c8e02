"""What is wrong and what would be right are two things, whatever signs the names of things hold."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest
from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.errors import Problem, RungwiseError, WrongValueError
from renderer.notation.definition.reader import read_definition
from renderer.technique.ornaments import load_book
from renderer.technique.realise import realise

THROW = """
title = "Throws"
meter = "2/4"
[[lines]]
run = "{run}"
ornament = "{ornament}"
[ornament-book."Throw; heavy"]
fragments = {{ D = "G {{d}}G c d" }}
"""


def _problem(tmp_path: Path, run: str, ornament: str) -> Problem:
    path = tmp_path / "throws.toml"
    path.write_text(THROW.format(run=run, ornament=ornament))
    with pytest.raises(RungwiseError) as told:
        realise(read_definition(path))
    (problem,) = told.value.problems
    return problem


def test_a_movement_with_a_semicolon_in_its_name_is_played(tmp_path: Path) -> None:
    path = tmp_path / "throws.toml"
    path.write_text(THROW.format(run="D, D", ornament="Throw; heavy"))
    exercise = realise(read_definition(path))
    assert {note.ornament for note in exercise.lines[0].melody_notes} == {"Throw; heavy"}


def test_a_note_that_lacks_a_movement_of_that_name_is_told_whole(tmp_path: Path) -> None:
    problem = _problem(tmp_path, "D, E", "Throw; heavy")
    assert problem.cause == "there is no Throw; heavy on E"
    assert problem.remedy.startswith("only D has one")


def test_an_unknown_name_with_a_semicolon_is_told_whole(tmp_path: Path) -> None:
    problem = _problem(tmp_path, "D, D", "Throw; havy")
    assert problem.cause == "there is no ornament 'Throw; havy'"
    assert "'Throw; heavy'" in problem.remedy


def test_the_command_line_tells_it_whole_too(tmp_path: Path) -> None:
    path = tmp_path / "throws.toml"
    path.write_text(THROW.format(run="D, D", ornament="Throw; heavy"))
    done = CliRunner().invoke(app, ["ornaments", "Throw; havy", "--file", str(path)])
    assert isinstance(done.exception, RungwiseError)
    assert done.exception.problems[0].cause == "there is no ornament 'Throw; havy'"


def test_a_refusal_is_two_sentences_that_survive_another_process() -> None:
    with pytest.raises(WrongValueError) as told:
        load_book().movement("Grip; long")
    error = pickle.loads(pickle.dumps(told.value))
    assert (error.cause, error.remedy) == (told.value.cause, told.value.remedy)
    assert error.cause == "there is no ornament 'Grip; long'"
    assert error.at("--from").problems == (Problem(error.cause, error.remedy, "--from"),)
