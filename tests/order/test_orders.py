"""Orders and jobs are plain data: kept as JSON, compared by digest, carried out anywhere."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from renderer.delivery.carrying_out import carry_out
from renderer.delivery.render import Handle, RenderingStoppedError, render_jobs
from renderer.errors import RungwiseError
from renderer.notation.source_file import Source
from renderer.order.jobs import job_from_json, job_json, plan_tracks
from renderer.order.names import LONGEST_NAME
from renderer.order.order import Order, order_from_json
from renderer.order.setting_row import NO_TRACK
from renderer.order.settings import SETTINGS, Settings, read_settings
from renderer.order.track_job import TrackJob
from renderer.reading.exercise import read_exercise
from renderer.sound.own_soundfont import shipped_soundfont
from tests.delivery.disks import made_in
from tests.delivery.larkmoor import asked, doublings
from tests.order.test_table import OTHER_THAN_USUAL
from tests.sampling import examples

WIDE = b"""
title = "Doublings over a wide step"
meter = "3/4"
[ornaments]
inner = "1/2 beat"
[[lines]]
run = "low A, B, D"
ornament = "doubling"
[[lines]]
run = "low A, C, E"
ornament = "doubling"
[ladder]
tempos = [50, 60]
"""
SMALL: dict[str, Any] = {"format": "wav", "rate": 8_000, "layout": "mono"}
"""Small and quick, where the test is about files and not about their sound."""


def wide(**given_settings: Any) -> Order:
    return Order((Source("wide.toml", WIDE),), asked(**{**SMALL, **given_settings}))


def other_than(name: str, form: str) -> dict[str, Any]:
    """One setting other than usual, in such a format where the setting leaves a choice."""
    return {"format": "mp3" if name == "share" else form, name: OTHER_THAN_USUAL[name]}


@st.composite
def settings_given(draw: st.DrawFn) -> Settings:
    names = draw(st.sets(st.sampled_from(sorted(OTHER_THAN_USUAL)), max_size=8))
    if names >= {"line", "lines"}:
        names -= {"line"}
    if "climb" in names:
        names -= {"tempo", "ladder"}
    if names >= {"tempo", "ladder"}:
        names -= {"tempo"}
    if names >= {"part", "tune"}:
        names -= {"tune"}
    if "share" in names:  # which says the format and the layout itself
        names -= {"format", "layout"}
    given_settings = {name: OTHER_THAN_USUAL[name] for name in names}
    if "tempo" in names:
        given_settings["tempo"] = draw(st.fractions(10, 400, max_denominator=10_000))
    if "pitch" in names:
        given_settings["pitch"] = draw(st.lists(st.floats(340, 560), min_size=1, max_size=3))
    if "levels" in names:
        given_settings["levels"] = {"drone": draw(st.floats(-60, 20))}
    return read_settings(given_settings)


SOURCES = st.builds(Source, st.text(min_size=1), st.one_of(st.binary(), st.text().map(str.encode)))


@given(sources=st.lists(SOURCES, min_size=1, max_size=3), asked_for=settings_given())
def test_an_order_reads_back_from_json_as_it_was(
    sources: list[Source], asked_for: Settings
) -> None:
    order = Order(tuple(sources), asked_for)
    assert order_from_json(order.to_json()) == order
    assert order_from_json(order.to_json()).digest == order.digest


def test_a_job_reads_back_from_json_as_it_was(tmp_path: Path) -> None:
    jobs = wide(pitch=["A", 478], mix=["full", "echo"], gracenote="40 ms", line=2).jobs(tmp_path)
    assert len(jobs) == 8
    for job in jobs:
        again = job_from_json(job_json(job))
        assert again == job
        assert again.digest == job.digest
    assert len({job.digest for job in jobs}) == 8


def test_every_change_of_source_setting_or_soundfont_changes_the_digest(tmp_path: Path) -> None:
    usual = wide()
    seen = {"as it is": usual.digest}
    seen["name"] = replace(usual, sources=(Source("other.toml", WIDE),)).digest
    seen["byte"] = replace(usual, sources=(Source("wide.toml", WIDE + b"\n"),)).digest
    seen["twice"] = replace(usual, sources=usual.sources * 2).digest
    for name in OTHER_THAN_USUAL:
        seen[name] = wide(**other_than(name, "wav")).digest
    fonts = []
    for number in (1, 2):
        fonts.append(tmp_path / f"{number}.sf2")
        fonts[-1].write_bytes(shipped_soundfont().read_bytes() + bytes(number))
        seen[f"soundfont {number}"] = wide(soundfont=fonts[-1], preset="0:0").digest
    before = wide(soundfont=fonts[0], preset="0:0")
    digest = before.digest
    fonts[0].write_bytes(fonts[1].read_bytes())
    assert before.digest != digest
    assert len(set(seen.values())) == len(seen)
    assert wide().digest == usual.digest


def test_every_setting_of_tracks_changes_the_digests_of_their_jobs(tmp_path: Path) -> None:
    (job, *_) = wide(format="ogg").jobs(tmp_path)
    for row in SETTINGS:
        if row.name not in OTHER_THAN_USUAL or row.said == NO_TRACK:
            continue
        (other, *_) = wide(**other_than(row.name, "ogg")).jobs(tmp_path)
        assert other.digest != job.digest, row.name
        # Nor do their files have one name, so that neither replaces the other. (The slowest rung
        # is the same music on either ladder, and its number there is a player's affair.)
        assert other.path != job.path or row.name == "ladder", row.name


def bytes_of(job: TrackJob) -> bytes:
    carry_out(job)
    return job.path.read_bytes()


@pytest.mark.parametrize("form", ["wav", "mp3", "ogg", "flac"])
def test_jobs_of_equal_digest_have_equal_bytes(tmp_path: Path, form: str) -> None:
    (job,) = wide(format=form, tempo=80).jobs(tmp_path / "one")
    (same,) = wide(format=form, tempo="80.0").jobs(tmp_path / "two")
    (other,) = wide(format=form, tempo=81).jobs(tmp_path / "three")
    assert (job.digest == same.digest, job.digest == other.digest) == (True, False)
    assert bytes_of(job) == bytes_of(same) != bytes_of(other)


def test_a_job_is_carried_out_in_another_process_with_the_same_bytes(tmp_path: Path) -> None:
    here, _ = wide().jobs(tmp_path / "here")
    there, _ = wide().jobs(tmp_path / "there")
    code = (
        "import sys\n"
        "from renderer.delivery.carrying_out import carry_out\n"
        "from renderer.order.jobs import job_json, job_from_json\n"
        "job = job_from_json(sys.stdin.read())\n"
        "carry_out(job, on_progress=lambda done, total: print(done / total))\n"
        "print(job.digest)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], input=job_json(there), capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    *progress, digest = run.stdout.split()
    assert digest == here.digest
    assert float(progress[-1]) == pytest.approx(1)
    assert there.path.read_bytes() == bytes_of(here)


def test_work_is_cancelled_by_its_handle_and_what_is_finished_stays(tmp_path: Path) -> None:
    jobs = wide(ladder=[50, 60, 70], repeats=300).jobs(tmp_path)
    handle = Handle()
    with pytest.raises(RenderingStoppedError, match="it was cancelled") as caught:
        render_jobs(jobs, workers=1, handle=handle, on_track=lambda _: handle.cancel())
    assert [track.path for track in caught.value.finished] == [jobs[0].path]
    first = jobs[0].path.name
    assert made_in(tmp_path) == [first, f"{first}.cue"]


def test_a_soundfont_that_has_changed_is_not_played(tmp_path: Path) -> None:
    font = tmp_path / "chanters.sf2"
    font.write_bytes(shipped_soundfont().read_bytes())
    (job, _) = wide(soundfont=font, preset="0:0").jobs(tmp_path / "out")
    font.write_bytes(font.read_bytes() + b"\0")
    with pytest.raises(RungwiseError, match="not the one that this track was ordered with"):
        carry_out(job)
    assert not list((tmp_path / "out").iterdir())


def test_a_job_of_an_exercise_made_in_python_says_what_it_lacks(tmp_path: Path) -> None:
    (job,) = plan_tracks(doublings(), tmp_path, asked())
    with pytest.raises(RungwiseError, match="no source to write down"):
        job_json(job)
    (other,) = plan_tracks(doublings(title="Others"), tmp_path, asked())
    assert job.digest != other.digest


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"rungwise-order": 2}', "nonsense", "null"])
def test_what_is_no_order_or_job_is_refused_in_words(text: str) -> None:
    with pytest.raises(RungwiseError, match="no order of this program"):
        order_from_json(text)
    with pytest.raises(RungwiseError, match="no job of this program"):
        job_from_json(text)


def test_a_wrong_setting_in_an_order_is_named_by_its_key() -> None:
    plain = json.loads(wide().to_json())
    plain["settings"]["count-in"] = 99
    with pytest.raises(RungwiseError, match=r"^count-in: 99 is out of range"):
        order_from_json(json.dumps(plain))


def test_an_order_has_all_that_is_wrong_with_its_sources() -> None:
    broken = tuple(Source(f"{name}.toml", b"tempo = 1") for name in ("one", "two"))
    with pytest.raises(RungwiseError) as caught:
        Order(broken, asked()).exercises()
    assert {problem.file for problem in caught.value.problems} == {"one.toml", "two.toml"}
    (exercise,) = wide().exercises()
    assert exercise == read_exercise(Source("wide.toml", WIDE))


@given(title=st.text(st.characters(codec="utf-8"), min_size=1, max_size=300))
@examples(10)
@example(title="Doublings, grips and taorluaths of the Larkmoor juniors " * 5)
@example(title="x" * 86)
def test_tracks_that_differ_in_one_setting_have_two_names_at_every_length_of_title(
    title: str,
) -> None:
    exercise = doublings(title=title, lines=2)
    names: dict[str, str] = {}
    for row in SETTINGS:
        if row.name in OTHER_THAN_USUAL and row.said != NO_TRACK:
            other = other_than(row.name, "ogg")
            changed = asked(**other)
            (job, *_) = plan_tracks(changed.chosen(exercise), Path(), changed)
            names[row.name] = job.path.name
    names["as usual"] = plan_tracks(exercise, Path(), asked(format="ogg"))[0].path.name
    names["line 1"] = plan_tracks(exercise.only(1), Path(), asked(format="ogg", line=1))[
        0
    ].path.name
    # One line asked for in two ways is one track.
    assert names.pop("lines") == names["line"]
    assert len(set(names.values())) == len(names)
    assert max(len(name.encode()) for name in names.values()) <= LONGEST_NAME


def test_the_line_and_what_is_unusual_outlast_a_long_title() -> None:
    title = "Doublings, grips and taorluaths " * 5
    (job,) = plan_tracks(
        doublings(title=title, lines=12).only(12),
        Path(),
        asked(line=12, chanter="pipe", drone=False, metronome=False, gracenote="60 ms", gap=2),
    )
    assert job.path.name.endswith(
        ", line 12 - A - full - pipe chanter, no drone, no metronome, gap 2, gracenotes 60 ms - "
        "060 bpm.mp3"
    )
    assert job.path.name.startswith("Doublings, grips")
