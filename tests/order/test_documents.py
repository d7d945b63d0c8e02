"""Sheets, scores, plans and playlists are jobs as tracks are: plain data with digests."""

from __future__ import annotations

import datetime
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from renderer.delivery.carrying_out import carry_out
from renderer.delivery.render import Handle, RenderingStoppedError
from renderer.errors import RungwiseError
from renderer.notation.source_file import Source
from renderer.order.documents import Document, playlists_of
from renderer.order.jobs import Job, job_from_json, job_json
from tests.delivery.disks import made_in
from tests.delivery.larkmoor import asked
from tests.order.test_orders import SMALL, WIDE, wide

TODAY = datetime.date(2026, 11, 26)
ENDINGS = {
    Document.SHEET: (".pdf", ".svg", ".png"),
    Document.SCORE: (".toml", ".abc", ".musicxml", ".mxl", ".mid"),
    Document.PLAN: (".pdf", ".ics", ".csv"),
}
FORMS = [f"{kind}{ending}" for kind, endings in ENDINGS.items() for ending in endings]
FORMS += ["playlist.m3u8", "track.wav"]


def job_of(form: str, folder: Path, source: bytes = WIDE, **given: object) -> Job:
    order = replace(wide(**given), sources=(Source("wide.toml", source),))
    name, ending = form.split(".")
    if name == "track":
        return order.jobs(folder)[0]
    if name == "playlist":
        return playlists_of(order.jobs(folder))[0]
    return order.document(Document(name), folder / f"made.{ending}", today=TODAY)


CODE = """
import sys
from renderer.delivery.carrying_out import carry_out
from renderer.order.jobs import job_from_json

told = []
job = job_from_json(sys.stdin.read())
job.path.parent.mkdir()
carry_out(job, on_progress=lambda done, total: told.append(done / total))
assert told == sorted(told) and told[-1] == 1, told
print(job.digest)
"""


@pytest.mark.parametrize("form", FORMS)
def test_files_of_equal_digest_have_equal_bytes_in_another_process(
    form: str, tmp_path: Path
) -> None:
    here, there = (job_of(form, tmp_path / name) for name in ("here", "there"))
    (tmp_path / "here").mkdir()
    again = job_from_json(job_json(here))
    assert again == here
    assert again.digest == here.digest == there.digest
    carry_out(here)
    run = subprocess.run(
        [sys.executable, "-c", CODE], input=job_json(there), capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert run.stdout.strip() == here.digest
    # A WAV with chapters has its cue sheet beside it.
    names = [here.path.name, *([f"{here.path.name}.cue"] if form == "track.wav" else [])]
    assert made_in(tmp_path / "here") == names == made_in(tmp_path / "there")
    for name in names:
        assert (tmp_path / "here" / name).read_bytes() == (tmp_path / "there" / name).read_bytes()


@pytest.mark.parametrize("form", FORMS)
def test_other_music_and_another_setting_that_the_file_tells_change_the_digest(
    form: str, tmp_path: Path
) -> None:
    usual = job_of(form, tmp_path)
    # A list names its tracks, and their lengths are as they were.
    is_changed = not form.startswith("playlist")
    other = job_of(form, tmp_path, WIDE.replace(b"C, E", b"B, E"))
    assert (other.digest != usual.digest) == is_changed
    assert job_of(form, tmp_path, b"# A remark.\n" + WIDE).digest == usual.digest
    for given in ({"tempo": 72}, {"gracenote": "30 ms"}, {"part": "2"}):
        if "tempo" in given and form.startswith("playlist"):
            continue  # one tempo has no playlist
        assert job_of(form, tmp_path, **given).digest != usual.digest


def test_a_document_does_not_change_with_settings_that_its_verb_does_not_know() -> None:
    for kind, ending in ((Document.SHEET, "pdf"), (Document.SCORE, "abc"), (Document.PLAN, "csv")):
        usual = job_of(f"{kind}.{ending}", Path())
        same = job_of(f"{kind}.{ending}", Path(), format="flac", share=False)
        assert same.digest == usual.digest
    assert job_of("sheet.pdf", Path()).digest != job_of("sheet.svg", Path()).digest


@pytest.mark.parametrize("form", FORMS)
def test_a_cancelled_job_leaves_nothing(form: str, tmp_path: Path) -> None:
    handle = Handle()
    with pytest.raises(RenderingStoppedError, match="it was cancelled"):
        carry_out(
            job_of(form, tmp_path, repeats=300 if form.startswith("track") else 1),
            on_progress=lambda _, __: handle.cancel(),
            handle=handle,
        )
    assert made_in(tmp_path) == []


def test_a_plan_is_of_one_exercise_a_score_of_a_medley_and_a_sheet_of_any_number() -> None:
    two = replace(wide(), sources=(Source("one.toml", WIDE), Source("two.toml", WIDE)))
    with pytest.raises(RungwiseError, match="of one exercise, not of 2"):
        two.document(Document.PLAN, Path("made.csv"), today=TODAY)
    (medley,) = two.document(Document.SCORE, Path("made.abc")).exercises
    assert len(medley.lines) == 2 * len(
        wide().document(Document.SHEET, Path("s.pdf")).exercises[0].lines
    )
    assert len(two.document(Document.SHEET, Path("made.pdf")).exercises) == 2


def test_a_plan_begins_on_the_day_after_it_was_ordered_however_late_it_is_made() -> None:
    job = job_from_json(job_json(wide().document(Document.PLAN, Path("p.csv"), today=TODAY)))
    assert job.settings.start == datetime.date(2026, 11, 27)  # type: ignore[union-attr]
    last = wide(**{**SMALL, "days": 2}).settings
    with pytest.raises(RungwiseError, match="no calendar goes on"):
        replace(wide(), settings=last).document(Document.PLAN, Path("p"), today=datetime.date.max)
    assert asked().start is None
