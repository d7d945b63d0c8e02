"""`--tune all`: every tune of a file, as tracks, as sheets, or as one medley."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from renderer.errors import RungwiseError
from renderer.notation.abc.reader import MOST_TUNES, read_abc, tunes_apart
from renderer.notation.source_file import Source
from renderer.notation.written import Reading
from renderer.order.documents import Document, DocumentJob
from renderer.order.jobs import job_from_json, job_json
from renderer.order.order import Order
from renderer.order.settings import read_settings
from renderer.order.track_job import TrackJob
from tests.notation.test_medley import JIG, MARCH, STRATHSPEY

OFF = "X:9\nT:Off the chanter\nM:4/4\nL:1/4\nK:C\nC, D, E, F,|\n"
BOOK = Source("book.abc", f"M:4/4\n\n{MARCH}\n{OFF}\n{STRATHSPEY}% said\n\n{JIG}".encode())
NAMES = ["The Larkmoor Ferry", "The Drying Loft", "Quick"]


def order(*sources: Source, **settings: object) -> Order:
    return Order(sources, read_settings({"tune": "all", **settings}))


def test_every_tune_of_a_file_is_read_and_what_cannot_be_is_said() -> None:
    exercises = order(BOOK).exercises()
    assert [one.title for one in exercises] == NAMES
    (said,) = exercises[0].remarks
    assert said.startswith("1 of 4 tunes cannot be read (line 21, bar 1")


def test_a_tune_apart_is_the_tune_in_its_file() -> None:
    apart = [read_abc(one) for one in tunes_apart(BOOK) if b"Off" not in one.data]
    assert apart == [read_abc(BOOK, Reading(part=name)) for name in NAMES]


def test_a_file_without_a_tune_that_can_be_read_is_refused() -> None:
    source = Source("off.abc", (OFF + "\n" + OFF).encode())
    with pytest.raises(RungwiseError, match="not on the chanter"):
        order(source).exercises()


def test_a_file_of_more_tunes_than_anyone_wants_at_a_time_is_refused() -> None:
    many = Source("many.abc", "\n".join([JIG] * (MOST_TUNES + 1)).encode())
    with pytest.raises(RungwiseError, match=f"{MOST_TUNES + 1} tunes"):
        order(many).exercises()


def test_each_tune_is_a_track_of_its_own_that_another_process_makes_alike(tmp_path: Path) -> None:
    jobs = order(BOOK, ladder=[60, 70]).jobs(tmp_path)
    assert [job.exercise.title for job in jobs] == [name for name in NAMES for _ in range(2)]
    assert len({job.path for job in jobs}) == 6
    for job in jobs:
        again = job_from_json(job_json(job))
        assert again.digest == job.digest
        assert isinstance(again, TrackJob)
        assert replace(again.exercise, remarks=()) == replace(job.exercise, remarks=())


def test_tunes_of_several_files_become_a_medley_that_is_called_after_its_file(
    tmp_path: Path,
) -> None:
    other = Source("jig.abc", JIG.encode())
    job = order(BOOK, other).document(Document.SCORE, tmp_path / "Larkmoor set.toml")
    (medley,) = job.exercises
    assert medley.title == "Larkmoor set"
    assert [line.tune for line in medley.lines if line.tune] == [*NAMES, "Quick"]
    again = job_from_json(job_json(job))
    assert isinstance(again, DocumentJob)
    assert again.digest == job.digest
    assert replace(again.exercises[0], remarks=()) == replace(medley, remarks=())


def test_a_sheet_has_every_tune(tmp_path: Path) -> None:
    job = order(BOOK).document(Document.SHEET, tmp_path / "book.pdf")
    assert [one.title for one in job.exercises] == NAMES
