"""How long work will take: as it took in former runs on this machine."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest

from renderer import read_exercise
from renderer.delivery import work
from renderer.delivery.work import PARCEL, Rates, Work, WorkDone, rates_here, work_of
from renderer.order.jobs import plan_tracks
from renderer.order.settings import read_settings
from renderer.order.track_job import TrackJob


@pytest.fixture(autouse=True)
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for caches that nothing has been kept in."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "rungwise" / "work.json"


def jobs(**settings: object) -> tuple[TrackJob, ...]:
    exercise = read_exercise("birls")
    return plan_tracks(exercise, Path(), read_settings({"ladder": [60, 80], **settings}))


def test_what_was_never_measured_is_a_first_guess_and_says_so() -> None:
    said = str(work_of(jobs(), 1))
    assert said.startswith("about ")
    assert said.endswith("s of work (a first guess)")


def test_work_takes_what_it_took_before() -> None:
    mine = jobs()
    playing = float(sum(job.duration for job in mine))
    done = WorkDone()
    for job in mine:
        done.add("mp3", float(job.duration), 10 + float(job.duration) / 4)
    done.keep()
    one = work_of(mine, 1)
    assert one.seconds == pytest.approx(20 + playing / 4)
    assert not one.is_guess
    two = work_of(mine, 2)
    longest = max(float(job.duration) for job in mine)
    assert two.seconds == pytest.approx(10 + longest / 4, rel=0.2)
    assert work_of(jobs(format="flac"), 1).is_guess


def test_what_a_file_takes_by_itself_is_told_from_what_its_length_adds() -> None:
    done = WorkDone()
    for seconds in range(1, 200):
        done.add("wav", seconds, 0.7 + seconds / 50)
    done.keep()
    assert rates_here().seconds("wav", 10_000) == pytest.approx(0.7 + 200, rel=0.001)
    assert rates_here().seconds("wav", 1) == pytest.approx(0.72, rel=0.01)


def test_short_files_alone_do_not_make_long_ones_seem_slow() -> None:
    done = WorkDone()
    for _ in range(20):
        done.add("wav", 4, 1)
    done.keep()
    assert rates_here().seconds("wav", 4) == pytest.approx(1)
    guess = Rates({}).seconds("wav", 1000)
    assert rates_here().seconds("wav", 1000) == pytest.approx(1 + guess, rel=0.02)


def test_pages_are_made_by_one_thread_beside_the_tracks_and_parcels_at_the_end() -> None:
    done = WorkDone()
    for kind, seconds in (("mp3", 0.1), ("a sheet", 30), (PARCEL, 5)):
        done.add(kind, 10, seconds)
        done.add(kind, 90, 9 * seconds)
    done.keep()
    whole = work_of(jobs(), 8, pages=["a sheet", "a sheet"], parcel_bytes=20_000_000)
    sheets = 2 * rates_here().seconds("a sheet")
    assert whole.seconds == pytest.approx(sheets + rates_here().seconds(PARCEL, 20))
    assert rates_here().seconds(PARCEL, 20) == pytest.approx(10, rel=0.05)
    assert str(Work(29.6, is_guess=False)) == "about 30 s of work"
    assert str(Work(240, is_guess=False)) == "about 4 minutes of work"


def test_the_last_runs_count_most() -> None:
    for amount, seconds in ((100, 1), (100, 1), (100, 1), (100, 10), (1, 50)):
        done = WorkDone()
        done.add("a sheet", amount, seconds)
        done.keep()
    assert 5 < rates_here().seconds("a sheet", 100) < 30


def test_how_large_pages_become_is_measured_too() -> None:
    first = rates_here().bytes("a sheet")
    assert first > 10_000
    done = WorkDone()
    with done.timed("a sheet", 1):
        pass
    done.came_of("a sheet", 12_345)
    done.keep()
    assert rates_here().bytes("a sheet") == 12_345


def test_what_fails_is_not_measured() -> None:
    done = WorkDone()
    with pytest.raises(OSError, match="full"), done.timed("wav", 100):
        raise OSError("full")
    done.keep()
    assert "wav" not in rates_here().measured


def test_what_is_kept_may_be_cut_off_or_nonsense(kept: Path) -> None:
    done = WorkDone()
    done.add("wav", 1, 3)
    done.keep()
    whole = kept.read_bytes()
    for cut in range(len(whole)):
        kept.write_bytes(whole[:cut])
        assert rates_here().measured == {}
    nonsense: tuple[object, ...] = (
        [],
        {"wav": 3},
        {"wav": [1, 0, 0]},
        {"wav": ["x", 1, 1]},
        {"wav": [-1, 1, 0, 0, 0, 0]},
    )
    for kinds in nonsense:
        kept.write_text(json.dumps({"rungwise-work": 1, "kinds": kinds}), "utf-8")
        assert rates_here().measured == {}
    kept.unlink()
    kept.mkdir()
    done.keep()
    assert rates_here().measured == {}


def test_rendering_measures_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import renderer

    monkeypatch.chdir(tmp_path)
    exercise = read_exercise("birls")
    tracks = renderer.render(exercise, "out", tempo=200, format="wav", rate=8000, line=1)
    rate = work.rates_here().measured["wav"]
    assert rate.amount == pytest.approx(float(tracks[0].duration))
    assert rate.seconds > 0
    assert isinstance(tracks[0].duration, Fraction)
