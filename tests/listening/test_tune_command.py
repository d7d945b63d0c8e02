"""`rungwise tune`: from recordings to a chanter file, tables and pictures, or a refusal."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from renderer import read_exercise, render
from renderer.delivery.tuning_pictures import comparison_picture
from renderer.listening.several import Compared, compare, drone_advice, note_remedy
from renderer.notation.pitch import Note
from renderer.order.settings import read_settings
from renderer.sound.tuning import Chanter, frequency_hz, scale_named
from tests.limits import HANG_S
from tests.listening.chanters import (
    Case,
    Tuning,
    performance,
    random_tuning,
    sound_of,
    with_noise,
    write,
)
from tests.listening.compared import heard_in_file
from tests.listening.other_sounds import RATE, speech_like


@dataclass(frozen=True)
class Run:
    exit_code: int
    output: str


def run(*arguments: str) -> Run:
    done = subprocess.run(
        [sys.executable, "-m", "renderer.cli", *arguments],
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
    )
    assert "Traceback" not in done.stderr
    return Run(done.returncode, done.stdout + done.stderr)


def band(folder: Path, off_cents: list[dict[Note, float]]) -> list[Path]:
    """Recordings of chanters that differ from one tuning by what is given."""
    base = random_tuning(np.random.default_rng(77), practice=False)
    paths = []
    for number, off in enumerate(off_cents, 1):
        rng = np.random.default_rng(number)
        hz = tuple(base.hz[note] * 2 ** (off.get(note, 0.0) / 1200) for note in Note)
        tuning = Tuning(hz, base.scale, False)
        sound, _ = sound_of(performance(rng, tuning, least_seconds=12), RATE, rng)
        paths.append(write(folder / f"chanter{number}.wav", with_noise(sound, rng, 25), RATE))
    return paths


def test_a_chanter_file_to_a_track_to_tune_and_back(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    scale = scale_named("harmonic")
    lines = [f'"{n.label}" = "{rng.uniform(-25, 25):+.3f} cents"' for n in Note if n != 1]
    chanter = tmp_path / "chanter.toml"
    chanter.write_text("low-a = 473.21\n[notes]\n" + "\n".join(lines))
    exercise = read_exercise("the-nine-notes")
    (track,) = render(
        exercise, tmp_path / "t", pitch=str(chanter), tempo=60, mix="chanter", steady=True
    )
    result = run("tune", str(track.path), "-o", str(tmp_path / "back.toml"))
    assert result.exit_code == 0, result.output
    (given,) = read_settings({"pitch": str(chanter)}).pitch
    (back,) = read_settings({"pitch": str(tmp_path / "back.toml")}).pitch
    for note in Note:
        there = frequency_hz(note, given, scale, Chanter.PIPE)
        again = frequency_hz(note, back, scale, Chanter.PIPE)
        assert abs(1200 * np.log2(again / there)) < 0.1, note


def test_a_recording_gives_a_file_a_table_and_a_picture(tmp_path: Path) -> None:
    case = Case(21, drones=True, snr_db=20)
    sound, tuning, *_ = case.make()
    recording = write(tmp_path / "scale.m4a", sound, case.rate)
    files = {kind: tmp_path / f"c.{kind}" for kind in ("toml", "svg", "png")}
    result = run(
        "tune", str(recording), "-o", str(files["toml"]), "--picture", str(files["svg"]),
        "--at", "The hall", "--name", "Nine",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    for said in ("low A", "MacNeill", "harmonic", "equal", "sure", "Beats a second", "shorter"):
        assert said in result.output
    written = tomllib.loads(files["toml"].read_text("utf-8"))
    assert written["name"] == "Nine" and written["measured"]["at"] == "The hall"
    assert written["low-a"] == pytest.approx(tuning.low_a_hz, rel=1e-4)
    assert written["drones"]["bass"] == pytest.approx(tuning.drones_hz[0], rel=1e-4)
    drawing = ElementTree.fromstring(files["svg"].read_text("utf-8"))
    texts = ["".join(one.itertext()) for one in drawing.iter() if one.tag.endswith("text")]
    assert {note.label for note in Note} <= set(texts) and "Beats a second" in texts
    assert run("tune", str(recording), "--picture", str(files["png"])).exit_code == 0
    assert files["png"].read_bytes().startswith(b"\x89PNG")


def test_several_chanters_are_compared_and_the_worst_note_is_named_first(tmp_path: Path) -> None:
    top = dict.fromkeys((Note.E, Note.F, Note.HIGH_G, Note.HIGH_A), 14.0)
    paths = band(tmp_path, [{}, {Note.F: 22.0}, top, dict.fromkeys(Note, -9.0), {}])
    result = compare({path.stem: heard_in_file(path) for path in paths})
    assert result.off_cents["chanter2"][Note.F] == pytest.approx(22.0, abs=0.3)
    first = result.mendings[0]
    assert (first.chanter, first.note) == ("chanter2", Note.F)
    assert first.remedy == "Put tape over the top of F's hole."
    reeds = {one.chanter: one for one in result.mendings if one.note is None}
    assert reeds["chanter3"].cents == pytest.approx(14.0, abs=0.3)
    assert "its top hand is sharp" in reeds["chanter3"].remedy
    assert reeds["chanter4"].cents == pytest.approx(-9.0, abs=0.3)
    assert "Set the reed a little deeper: the whole chanter is flat" in reeds["chanter4"].remedy
    assert {one.chanter for one in result.mendings} == {"chanter2", "chanter3", "chanter4"}
    assert result.nearest in ("chanter1", "chanter5")


def test_the_median_of_several_is_written_and_drawn(tmp_path: Path) -> None:
    paths = band(tmp_path, [{}, {Note.D: 12.0}, {Note.D: 6.0}])
    output, drawn = tmp_path / "band.toml", tmp_path / "band.svg"
    files = [str(path) for path in paths]
    result = run("tune", *files, "-o", str(output), "--picture", str(drawn))
    assert result.exit_code == 0, result.output
    base = random_tuning(np.random.default_rng(77), practice=False)
    (pitch,) = read_settings({"pitch": str(output)}).pitch
    middle = frequency_hz(Note.D, pitch, scale_named(), Chanter.PIPE)
    assert 1200 * np.log2(middle / base.hz[Note.D]) == pytest.approx(6.0, abs=0.1)
    assert "Tracks for all should follow the median" in result.output
    assert "chanter3" in drawn.read_text("utf-8")


def test_ten_chanters_have_ten_looks_and_no_name_is_cut_without_a_sign() -> None:
    names = [f"{number} of the second row, with its old reed.m4a" for number in range(10)]
    off = {name: {Note.D: 3.0 * number} for number, name in enumerate(names)}
    compared = Compared({Note.LOW_A: 476.0, Note.D: 635.0}, off, names[0], ())
    drawing = ElementTree.fromstring(comparison_picture(compared, ".svg"))
    looks: dict[tuple[str, str], int] = {}
    for one in drawing.iter():
        kind = one.tag.rpartition("}")[2]
        is_mark = kind in ("circle", "path") or one.get("width") == "8.0"
        if is_mark:
            shape = kind + one.get("d", "").partition("l")[2]
            look = shape, str(one.get("fill"))
            looks[look] = looks.get(look, 0) + 1
    # Once at D and once beside the name.
    assert list(looks.values()) == [2] * 10
    texts = ["".join(one.itertext()) for one in drawing.iter() if one.tag.endswith("text")]
    assert "3 of the second row, with …" in texts


def test_practice_and_pipe_chanters_are_not_compared(tmp_path: Path) -> None:
    paths = []
    for name, practice in (("practice", True), ("pipe", False)):
        sound = Case(1, practice=practice, least_seconds=10).make()[0]
        paths.append(write(tmp_path / f"{name}.wav", sound, RATE))
    result = run("tune", *map(str, paths), "-o", str(tmp_path / "x.toml"))
    assert result.exit_code == 2
    assert "practice.wav) and pipe chanters are among them" in " ".join(result.output.split())
    assert not (tmp_path / "x.toml").exists()


def test_what_is_no_chanter_ends_in_exit_code_2_and_nothing_is_written(tmp_path: Path) -> None:
    spoken = write(tmp_path / "spoken.wav", speech_like(8.0), RATE)
    text = tmp_path / "text.m4a"
    text.write_text("Low A is 476.\n" * 50)
    output = tmp_path / "chanter.toml"
    result = run("tune", str(spoken), str(text), "-o", str(output))
    said = " ".join(result.output.split())
    assert result.exit_code == 2
    assert "spoken.wav: only" in said and "text.m4a: this is no recording" in said
    assert not output.exists()


def test_a_file_that_is_something_else_is_not_replaced(tmp_path: Path) -> None:
    recording = write(tmp_path / "c.wav", Case(1, least_seconds=10).make()[0], RATE)
    output = tmp_path / "chanter.toml"
    output.write_text("mine")
    result = run("tune", str(recording), "-o", str(output))
    assert result.exit_code == 2 and output.read_text() == "mine"


@pytest.mark.parametrize("options", [[], ["--live", "x.wav"], ["x.wav", "-o", "x.mp3"]])
def test_what_is_asked_wrongly_is_refused(options: list[str]) -> None:
    assert run("tune", *options).exit_code == 2


def test_each_drone_is_told_which_way_to_move() -> None:
    from renderer.listening.drones import Drones

    said = drone_advice(Drones((238.0, 239.0), 119.5), 476.0)
    assert said[0].startswith(("Make the higher tenor longer", "Make the bass longer"))
    assert said[-1] == "The lower tenor is in tune with low A."


def test_remedies_are_the_trades() -> None:
    assert note_remedy(Note.HIGH_G, 9) == "Put tape over the top of high G's hole."
    assert note_remedy(Note.C, -9).startswith("Take tape off C's hole")
    assert "open holes" in note_remedy(Note.LOW_G, 9)


def test_a_wrong_scale_is_named() -> None:
    result = run("tune", "x.wav", "--scale", "pythagorean")
    assert result.exit_code == 2
