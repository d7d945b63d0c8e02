"""Chanters measured in the workbench: recordings listened to, compared, kept, and played with."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from renderer.errors import RungwiseError
from renderer.notation.pitch import Note
from renderer.workbench.application import Bench, routes_of
from renderer.workbench.folder import Folder
from tests.listening.chanters import Tuning, performance, random_tuning, sound_of, write
from tests.listening.other_sounds import RATE, noise
from tests.workbench.benches import waited_for

BASE = random_tuning(np.random.default_rng(7), practice=False)


def recording(path: Path, *, low_a: float = 0.0, high_g: float = 0.0, seed: int = 1) -> Tuning:
    """A recording of a chanter that is so many cents off `BASE`."""
    off = {Note.LOW_A: low_a, Note.HIGH_G: high_g}
    hz = tuple(BASE.hz[note] * 2 ** (off.get(note, 0.0) / 1200) for note in Note)
    tuning = Tuning(hz, BASE.scale, False)
    rng = np.random.default_rng(seed)
    sound, _ = sound_of(performance(rng, tuning, least_seconds=8), RATE, rng)
    write(path, sound, RATE)
    return tuning


class Asked:
    """A workbench without its server: what the page would ask."""

    def __init__(self, root: Path) -> None:
        self.bench = Bench(Folder(root))
        self.routes = routes_of(self.bench)

    def __call__(self, what: str, **asked: Any) -> dict[str, Any]:
        return self.routes[what](asked)

    def done(self, *names: str, **asked: Any) -> dict[str, Any]:
        """Listen, and return what the job came to."""
        job = self("listen", names=list(names), **asked)["job"]
        return waited_for(lambda: self._ended(job))

    def _ended(self, job: str) -> dict[str, Any] | None:
        told = self("job", job=job)
        return None if told["state"] == "running" else told


def test_nine_notes_of_a_recording_are_found_and_kept_as_a_chanter(tmp_path: Path) -> None:
    tuning = recording(tmp_path / "Jamie.wav")
    asked = Asked(tmp_path)
    told = asked.done("Jamie.wav")
    assert told["state"] == "done"
    result = told["result"]
    for one in result["notes"]:
        true = tuning.hz[one["note"]]
        assert abs(1200 * np.log2(one["hz"] / true)) < 1, one
    assert result["called"] == "Jamie" and result["nearest"] in result["scales"]
    assert result["picture"].startswith("data:image/svg+xml;base64,")
    kept = asked("keep-chanter", names=["Jamie.wav"], called="Jamie's chanter", at="the hall")
    text = (tmp_path / kept["name"]).read_text("utf-8")
    assert kept["name"] == "Jamie's chanter.toml"
    table = tomllib.loads(text)
    assert table["name"] == "Jamie's chanter" and table["measured"]["at"] == "the hall"
    assert abs(table["low-a"] - result["low_a_hz"]) < 0.001
    (row,) = [one for one in asked("library")["files"] if one["kind"] == "chanter"]
    assert row["title"] == "Jamie's chanter"
    # A second one never replaces the first.
    again = asked("keep-chanter", names=["Jamie.wav"], called="Jamie's chanter", at="")
    assert again["name"] == "Jamie's chanter 2.toml"
    assert (tmp_path / kept["name"]).read_text("utf-8") == text
    # What sounds in the page has these pitches.
    sound = asked("sound", pitches=[kept["name"], "A"], chanter="pipe")
    assert abs(sound["pitches"][0]["low_a_hz"] - result["low_a_hz"]) < 0.001
    assert sound["pitches"][0]["label"] == "Jamie's chanter"


def test_several_are_laid_beside_each_other_with_what_to_mend(tmp_path: Path) -> None:
    for number, name in enumerate(("Ailsa", "Jamie", "Rory"), 1):
        high_g = 25.0 if name == "Rory" else 0.0
        recording(tmp_path / f"{name}.wav", high_g=high_g, seed=number)
    asked = Asked(tmp_path)
    result = asked.done("Ailsa.wav", "Jamie.wav", "Rory.wav")["result"]
    assert result["chanters"] == ["Ailsa", "Jamie", "Rory"]
    assert result["nearest"] in {"Ailsa", "Jamie"}
    (mending,) = result["mendings"]
    assert (mending["chanter"], mending["note"]) == ("Rory", Note.HIGH_G)
    assert abs(mending["cents"] - 25) < 1
    kept = asked("keep-chanter", names=["Ailsa.wav", "Jamie.wav", "Rory.wav"], called="", at="")
    assert kept["name"] == "Median of 3 chanters.toml"


def test_what_is_no_chanter_is_said_of_each_file_and_nothing_is_written(tmp_path: Path) -> None:
    write(tmp_path / "Hiss.wav", noise(6.0), RATE)
    (tmp_path / "Letter.m4a").write_text("Dear Jamie")
    asked = Asked(tmp_path)
    told = asked.done("Hiss.wav", "Letter.m4a")
    assert told["state"] == "failed"
    assert [one["said"]["de"].split(":")[0] for one in told["problems"]] == [
        "Hiss.wav",
        "Letter.m4a",
    ]
    assert all(one["remedy"] for one in told["problems"])
    with pytest.raises(RungwiseError, match="Listen to it again"):
        asked("keep-chanter", names=["Hiss.wav"], called="", at="")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["Hiss.wav", "Letter.m4a"]


def test_a_recording_that_has_changed_is_listened_to_anew(tmp_path: Path) -> None:
    recording(tmp_path / "Jamie.wav")
    asked = Asked(tmp_path)
    first = asked.done("Jamie.wav")["result"]["low_a_hz"]
    recording(tmp_path / "Jamie.wav", low_a=30.0, seed=2)
    with pytest.raises(RungwiseError, match="changed meanwhile"):
        asked("keep-chanter", names=["Jamie.wav"], called="", at="")
    second = asked.done("Jamie.wav")["result"]["low_a_hz"]
    assert abs(1200 * np.log2(second / first) - 30) < 1


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"names": []}, "is chosen"),
        ({"names": ["../Jamie.wav"]}, "name"),
        ({"names": ["wide.toml"]}, "no recording"),
        ({"names": ["Gone.wav"]}, "no such file"),
        ({"names": ["Jamie.wav"], "scale": "chromatic"}, "scale"),
        ({"names": "Jamie.wav"}, "no list of texts"),
        ({"names": ["Jamie.wav"] * 31}, "no list of texts"),
    ],
)
def test_what_cannot_be_listened_to_is_refused(
    tmp_path: Path, asked: dict[str, Any], said: str
) -> None:
    (tmp_path / "Jamie.wav").write_bytes(b"")
    with pytest.raises(RungwiseError, match=said):
        Asked(tmp_path)("listen", **asked)


@pytest.mark.parametrize("name", ["/etc/hostname.toml", "../outside.toml", "./../outside.toml"])
def test_no_chanter_outside_the_folder_is_read(tmp_path: Path, name: str) -> None:
    (tmp_path / "outside.toml").write_text('name = "X"\nlow-a = 476\n')
    inside = tmp_path / "inside"
    inside.mkdir()
    with pytest.raises(RungwiseError, match="name"):
        Asked(inside)("sound", pitches=[name], chanter="pipe")
