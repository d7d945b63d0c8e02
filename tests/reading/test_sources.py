"""Text that is not saved yet, and what comes by standard input, read as files do."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from renderer.delivery.convert import convert
from renderer.errors import RungwiseError
from renderer.notation.source_file import Source
from renderer.order.settings import usual_settings
from renderer.reading.exercise import read_exercise

FORMS = ("toml", "abc", "musicxml", "mxl", "mid")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("forms")
    exercise = read_exercise("grips-and-taorluaths")
    for form in FORMS:
        convert(exercise, folder / f"grips.{form}", usual_settings("convert"))
    return folder


@pytest.mark.parametrize("form", FORMS)
def test_unsaved_bytes_read_as_the_file_does(folder: Path, form: str) -> None:
    path = folder / f"grips.{form}"
    unsaved = read_exercise(Source(f"grips.{form}", path.read_bytes()))
    assert unsaved.source == f"grips.{form}"
    assert unsaved == replace(read_exercise(path), source=unsaved.source)


@pytest.mark.parametrize("form", FORMS)
def test_standard_input_reads_as_the_file_does_whatever_its_form(folder: Path, form: str) -> None:
    path = folder / f"grips.{form}"
    runs = [
        subprocess.run(
            [sys.executable, "-m", "renderer", "events", given, "--tempo", "50"],
            input=data,
            capture_output=True,
            check=True,
        )
        for given, data in ((str(path), b""), ("-", path.read_bytes()))
    ]
    assert runs[0].stdout == runs[1].stdout
    assert runs[0].stdout.count(b"\n") > 20


@pytest.mark.parametrize(
    ("form", "data"),
    [
        ("toml", b'[[lines]]\nrun = "low A, H"\n'),
        ("abc", b"X:1\nT:None\nK:HP\nA [Bd] z6 C8 |\n"),
        ("musicxml", b"<score-partwise><part/>"),
        ("mxl", b"PK\3\4"),
        ("mid", b"MThd\0\0"),
    ],
)
def test_what_is_wrong_with_unsaved_bytes_is_said_of_the_name_they_were_given(
    form: str, data: bytes
) -> None:
    with pytest.raises(RungwiseError) as caught:
        read_exercise(Source(f"not saved yet.{form}", data))
    assert {problem.file for problem in caught.value.problems} == {f"not saved yet.{form}"}


def test_what_is_wrong_with_standard_input_is_said_of_it() -> None:
    run = subprocess.run(
        [sys.executable, "-m", "renderer", "check", "-"],
        input=b'[[lines]]\nrun = "low A, H"\n',
        capture_output=True,
        check=False,
    )
    assert run.returncode == 2
    assert run.stderr.startswith(b"standard input: lines[1].run: ")


def test_a_source_larger_than_its_form_may_be_is_refused() -> None:
    with pytest.raises(RungwiseError, match=r"long\.toml: the file is larger than 4 MB"):
        read_exercise(Source("long.toml", b"#" * 4_000_001))
