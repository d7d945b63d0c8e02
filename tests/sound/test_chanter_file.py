"""Nine pitches of a chanter's own: as a file, in what sounds, and in everything that says so."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import mido
import numpy as np
import pytest
from pypdf import PdfReader
from typer.testing import CliRunner

from renderer import read_exercise, render
from renderer.commands.app import app
from renderer.delivery.convert import convert
from renderer.delivery.render import tags_of
from renderer.errors import RungwiseError
from renderer.notation.definition.writer import write_definition
from renderer.notation.pitch import Note
from renderer.order.jobs import plan_tracks
from renderer.order.settings import plain_settings, read_settings, settings_from_plain
from renderer.sound.bank import tone_bank
from renderer.sound.chanter_file import chanter_text, read_chanter
from renderer.sound.midi_tuning import frequency_word
from renderer.sound.tuning import (
    Chanter,
    bass_drone_hz,
    frequency_hz,
    scale_named,
    tenor_drone_hz,
)
from renderer.sound.voices import shipped_voice
from tests.sound.measuring import cents, pitch_by_phase

TEXT = """
name = "Larkmoor 3"
low-a = 476.2
scale = "harmonic"

[notes]
B = 535.9
F = "+8 cents"
"high G" = "-12.5 cents"
low G = "3 cents"

[drones]
tenors = [238.0, 238.3]
bass = 119.0

[measured]
on = 2026-03-14
at = "The band hall"
""".replace("low G =", '"low G" =')


@pytest.fixture
def chanter(tmp_path: Path) -> Path:
    path = tmp_path / "chanter.toml"
    path.write_text(TEXT)
    return path


def test_a_chanter_file_gives_notes_in_hertz_and_in_cents_from_the_scale(chanter: Path) -> None:
    (pitch,) = read_settings({"pitch": str(chanter)}).pitch
    scale = scale_named("harmonic")

    def hz(note: Note) -> float:
        return frequency_hz(note, pitch, scale_named("equal"), Chanter.PIPE)

    assert (pitch.label, pitch.low_a_hz) == ("Larkmoor 3", 476.2)
    assert hz(Note.B) == pytest.approx(535.9)
    assert cents(hz(Note.F), 476.2 * scale.ratio(Note.F)) == pytest.approx(8)
    assert cents(hz(Note.HIGH_G), 476.2 * scale.ratio(Note.HIGH_G)) == pytest.approx(-12.5)
    assert hz(Note.D) == pytest.approx(476.2 * 4 / 3)
    assert tenor_drone_hz(pitch) == pytest.approx(238.15)
    assert bass_drone_hz(pitch) == pytest.approx(238.15 / 2)


def test_a_practice_chanters_own_octave_is_taken_as_such() -> None:
    table = {"name": "P", "low-a": 238.1, "notes": {"B": 267.9}}
    pitch = read_chanter(table, file="p.toml")
    assert pitch.low_a_hz == pytest.approx(476.2)
    assert pitch.ratios[Note.B] * 476.2 == pytest.approx(535.8)
    assert "own octave" in pitch.remark


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"low-a": 476, "notes": {"B": 595}}, "about 535.5 Hz (500 to 574)"),
        ({"low-a": 476, "notes": {"F": "+200 cents"}}, "200 cents above where the harmonic scale"),
        ({"low-a": 476, "notes": {"H": 500}}, "a chanter has no note 'H'"),
        ({"low-a": 476, "notes": {"B": "sharp"}}, "'sharp' is no pitch"),
        ({"low-a": 476, "notes": {"low A": 480}}, "low A is 480 Hz here and 476 Hz as low-a"),
        ({"low-a": 476, "notes": {"F": "+60 cents", "high G": "-60 cents"}}, "is not above F"),
        ({"low-a": 900}, "low A is 900"),
        ({}, "low A is missing"),
        ({"low-a": 476, "drones": {"bass": 150}}, "hertz near 119.0"),
        ({"low-a": 476, "scale": "pythagorean"}, "there is no scale"),
        ({"low-a": 476, "pitches": {}}, "there is no key `pitches`"),
        ({"low-a": 476, "measured": {"on": "today"}}, "this is no date"),
    ],
)
def test_numbers_off_any_chanter_are_refused_with_what_was_expected(
    table: dict[str, object], said: str
) -> None:
    with pytest.raises(RungwiseError) as error:
        read_chanter(table, file="x.toml")
    assert said in str(error.value)


def test_all_that_is_wrong_is_said_in_one_go() -> None:
    with pytest.raises(RungwiseError) as error:
        read_chanter({"low-a": 476, "notes": {"B": 595, "H": 1}, "scale": "x"}, file="x.toml")
    assert [problem.place for problem in error.value.problems] == ["scale", "notes.B", "notes.H"]


def test_what_is_written_reads_back_to_the_same_pitches(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    scale = scale_named("MacNeill")
    hz = {note: 477.7 * scale.ratio(note) * 2 ** (rng.normal(0, 12) / 1200) for note in Note}
    hz[Note.LOW_A] = 477.7
    path = tmp_path / "c.toml"
    path.write_text(chanter_text('Mc "Odd"', hz, scale=scale, tenors_hz=[238.8], bass_hz=119.4))
    (pitch,) = read_settings({"pitch": str(path)}).pitch
    for note in Note:
        got = frequency_hz(note, pitch, scale, Chanter.PIPE)
        assert cents(got, hz[note]) == pytest.approx(0, abs=0.001)
    assert tenor_drone_hz(pitch) == pytest.approx(238.8)


@pytest.mark.parametrize("which", Chanter)
def test_the_tone_bank_sounds_the_nine_pitches_within_a_twentieth_of_a_cent(
    chanter: Path, which: Chanter
) -> None:
    (pitch,) = read_settings({"pitch": str(chanter)}).pitch
    rate = 44_100
    bank = tone_bank(shipped_voice(which), pitch, scale_named(), which, rate, steady=True)
    for note in Note:
        loop = bank.tone(note).samples
        tone = np.tile(loop, 2 + 4 * rate // len(loop))[: 4 * rate]
        expected = frequency_hz(note, pitch, scale_named(), which)
        assert abs(cents(pitch_by_phase(tone, expected, rate), expected)) < 0.05, note


def test_settings_with_a_chanter_survive_json_without_the_file(chanter: Path) -> None:
    settings = read_settings({"pitch": [str(chanter), "A", 478]})
    plain = plain_settings(settings)
    chanter.unlink()
    assert settings_from_plain(plain) == settings


def test_names_and_tags_say_which_chanter_it_is(chanter: Path, tmp_path: Path) -> None:
    exercise = read_exercise("six-notes")
    settings = read_settings({"pitch": [str(chanter), "A"], "tempo": 60, "format": "wav"})
    mine, usual = plan_tracks([exercise], tmp_path, settings)
    assert "Larkmoor 3" in mine.path.name and "Larkmoor 3" not in usual.path.name
    assert "low A of the pipe chanter = 476.2 Hz), nine measured pitches" in tags_of(mine).comment
    assert mine.digest != usual.digest


def test_two_chanters_of_one_name_and_a_scale_beside_a_chanter_are_refused(
    chanter: Path, tmp_path: Path
) -> None:
    other = tmp_path / "other.toml"
    other.write_text('name = "Larkmoor 3"\nlow-a = 470\n')
    with pytest.raises(RungwiseError, match="two chanters are called"):
        read_settings({"pitch": [str(chanter), str(other)]})
    with pytest.raises(RungwiseError, match="of its own"):
        read_settings({"pitch": str(chanter), "scale": "equal"})


def test_a_chanter_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    path.write_text("low-a = 47 6")
    for name in (path, tmp_path / "missing.toml"):
        with pytest.raises(RungwiseError, match=name.name):
            read_settings({"pitch": str(name)})


def test_from_python_a_track_is_rendered_at_a_chanter(chanter: Path, tmp_path: Path) -> None:
    exercise = read_exercise("six-notes").only(1)
    (track,) = render(exercise, tmp_path, pitch=str(chanter), tempo=120, format="wav")
    assert track.pitch == "Larkmoor 3" and track.path.exists()


DEFINITION = """
title = "For the nine"
[[lines]]
run = "low A, B, C"
[chanter]
name = "Larkmoor 3"
low-a = 476.2
[chanter.notes]
B = 535.9
[chanter.measured]
on = 2026-03-14
"""


def test_a_definition_can_name_its_own_chanter_and_keeps_it(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(DEFINITION)
    exercise = read_exercise(tmp_path / "mine.toml")
    usual = read_settings({"tempo": 60})
    (job,) = plan_tracks([exercise], tmp_path, usual)
    assert job.pitch.label == "Larkmoor 3"
    assert frequency_hz(Note.B, job.pitch, scale_named(), Chanter.PIPE) == pytest.approx(535.9)
    (other,) = plan_tracks([exercise], tmp_path, read_settings({"tempo": 60, "pitch": 478}))
    assert other.pitch.label == "478 Hz"
    (tmp_path / "again.toml").write_bytes(write_definition(exercise))
    assert read_exercise(tmp_path / "again.toml").own_chanter == exercise.own_chanter


def test_wrong_numbers_in_a_definitions_chanter_are_placed_in_it(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(DEFINITION.replace("535.9", "595.9"))
    with pytest.raises(RungwiseError) as error:
        read_settings({}).applied_to(read_exercise(path))
    assert error.value.problems[0].place == "chanter.notes.B"
    assert error.value.problems[0].file == str(path)


def test_music_of_two_chanters_is_made_each_at_its_own(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(DEFINITION)
    both = [read_exercise(tmp_path / "mine.toml"), read_exercise("six-notes").only(1)]
    jobs = plan_tracks(both, tmp_path, read_settings({"tempo": 60}))
    assert [job.pitch.label for job in jobs] == ["Larkmoor 3", "A"]


def test_midi_plays_at_a_definitions_own_chanter(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(DEFINITION)
    exercise = read_exercise(tmp_path / "mine.toml")
    usual = read_settings({"chanter": "pipe", "tuning": "mts"}, verb="convert")
    convert(exercise, tmp_path / "own.mid", usual)
    words = {
        tuple(message.data[at : at + 3])
        for track in mido.MidiFile(tmp_path / "own.mid").tracks
        for message in track
        if message.type == "sysex"
        for at in range(len(message.data) - 2)
    }
    assert frequency_word(535.9) in words


def test_the_head_of_a_sheet_names_the_chanter_that_its_tracks_play_at(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(DEFINITION)
    for options, said in ((), True), (("--pitch", "478"), False):
        target = tmp_path / f"{said}.pdf"
        arguments = ["sheet", str(tmp_path / "mine.toml"), "-o", str(target), *options]
        result = CliRunner().invoke(app, arguments)
        assert result.exit_code == 0, result.output
        text = " ".join(PdfReader(target).pages[0].extract_text().split())
        assert ("Chanter Larkmoor 3, low A 476.2 Hz" in text) == said


@pytest.mark.parametrize(("chanter", "steps"), [("pipe", (1, 1, 0)), ("practice", (1, 1, -1))])
def test_musicxml_transposes_to_the_semitone_nearest_to_a_definitions_own_chanter(
    tmp_path: Path, chanter: str, steps: tuple[int, int, int]
) -> None:
    """476.2 Hz is 37 cents above B flat, a semitone above A at 440 Hz (ISO 16)."""
    (tmp_path / "mine.toml").write_text(DEFINITION)
    exercise = read_exercise(tmp_path / "mine.toml")
    settings = read_settings({"chanter": chanter}, verb="convert")
    convert(exercise, tmp_path / "own.musicxml", settings)
    transpose = ElementTree.parse(tmp_path / "own.musicxml").find(".//transpose")
    assert transpose is not None
    tags = ("diatonic", "chromatic", "octave-change")
    assert tuple(int(transpose.findtext(tag) or 0) for tag in tags) == steps
