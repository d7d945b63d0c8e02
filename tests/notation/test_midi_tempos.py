"""The tempo map of MIDI files that others write, against pretty_midi's own reckoning of it."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Sequence
from itertools import accumulate
from pathlib import Path

import mido
import pretty_midi
import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.delivery.convert import convert
from renderer.notation.midi.reader import read_midi
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, Meter, bar_offsets
from renderer.order.settings import usual_settings
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from tests.sampling import examples

TICKS = 480
Tempos = Sequence[tuple[float, int]]
"""Places in quarter notes and microseconds to a quarter."""


def _write(path: Path, tempos: Tempos, quarters: int, *, length: float = 1) -> Path:
    """Write a tune in notes of one length, in 4/4, with a track for its tempos."""
    conductor, tune = mido.MidiTrack(), mido.MidiTrack()
    now = 0
    for place, tempo in tempos:
        tick = round(place * TICKS)
        conductor.append(mido.MetaMessage("set_tempo", tempo=tempo, time=tick - now))
        now = tick
    for index in range(round(quarters / length)):
        key = (Note.LOW_A, Note.B, Note.C)[index % 3].midi
        tune.append(mido.Message("note_on", note=key, velocity=90))
        tune.append(mido.Message("note_off", note=key, time=round(length * TICKS)))
    mido.MidiFile(type=1, ticks_per_beat=TICKS, tracks=[conductor, tune]).save(path)
    return path


def _onsets(exercise: Exercise) -> list[float]:
    timeline = expand(exercise, count_in=0, repeats=1)
    return [float(event.start) for event in timeline if event.note is not None]


def _file_onsets(path: Path) -> list[float]:
    return [note.start for note in pretty_midi.PrettyMIDI(str(path)).instruments[0].notes]


@pytest.mark.parametrize(
    "tempos",
    [
        [(0, 1_000_000), (4, 400_000), (8, 857_143)],
        [(0, 750_000), (12, 731_707)],
        # Sequencers may state again what holds already.
        [(0, 500_417), (1.5, 500_417), (6, 500_417), (8, 600_000), (9, 600_000)],
    ],
)
def test_tempo_changes_on_bar_lines_keep_every_note_where_it_is(
    tmp_path: Path, tempos: Tempos
) -> None:
    path = _write(tmp_path / "t.mid", tempos, 16)
    exercise = read_midi(path)
    # Tempos are whole microseconds in the file, and the simplest number that rounds to them here.
    assert _onsets(exercise) == pytest.approx(_file_onsets(path), abs=2e-5)
    assert not exercise.remarks


@pytest.mark.parametrize(
    ("tempos", "length", "pieces"),
    [
        ([(0, 1_000_000), (2, 400_000), (6, 800_000)], 1, [2, 2, 1]),
        # In the middle of a note, which is then as long as it is in the file.
        ([(0, 1_000_000), (2.5, 400_000), (6, 800_000)], 1, [3, 2, 1]),
        ([(0, 1_000_000), (2.5, 400_000), (6, 800_000)], 0.5, [2, 2, 1]),
        ([(0, 1_000_000), (2 + 1 / 7, 400_000)], 0.25, [3, 1, 1]),
    ],
)
def test_a_tempo_change_inside_a_bar_keeps_every_note_where_it_is(
    tmp_path: Path, tempos: Tempos, length: float, pieces: list[int]
) -> None:
    path = _write(tmp_path / "t.mid", tempos, 12, length=length)
    exercise = read_midi(path)
    assert not exercise.remarks
    assert _onsets(exercise) == pytest.approx(_file_onsets(path), abs=0.0005)
    bars = exercise.lines[0].bars
    begun = [index for index, offset in enumerate(bar_offsets(bars)) if not offset]
    ends = [*begun[1:], len(bars)]
    assert [end - start for start, end in zip(begun, ends, strict=True)] == pieces
    assert {bar.meter for bar in bars} == {Meter(4, 4)}


def test_what_was_read_from_a_changing_tempo_is_kept_in_every_form(tmp_path: Path) -> None:
    path = _write(tmp_path / "t.mid", [(0, 1_000_000), (2.5, 400_000), (6, 800_000)], 12)
    exercise = read_exercise(path)
    for form in (".toml", ".abc", ".musicxml", ".mid"):
        target = tmp_path / f"kept{form}"
        assert convert(exercise, target, usual_settings("convert")) == []
        assert _onsets(read_exercise(target)) == pytest.approx(_file_onsets(path), abs=0.001)


def test_a_gradual_change_has_no_more_pieces_than_beats_where_those_are_exact_enough(
    tmp_path: Path,
) -> None:
    # As sequencers write a ritardando: a tempo every sixteenth of a beat over three bars.
    for growth, most in ((1.0003, 4), (1.004, 8)):
        slowing = [(8 + step / 16, round(500_000 * growth**step)) for step in range(12 * 16)]
        path = _write(tmp_path / "t.mid", [(0, 500_000), *slowing, (20, 500_000)], 28, length=0.5)
        exercise = read_midi(path)
        assert not exercise.remarks
        assert _onsets(exercise) == pytest.approx(_file_onsets(path), abs=0.002)
        bars = exercise.lines[0].bars
        assert len(bars) <= 4 + 3 * most
        assert bars[-2].tempo == exercise.tempo == 120


def test_more_changes_than_a_bar_can_hold_are_one_remark(tmp_path: Path) -> None:
    changing = [(step / 8, 1_600_000 + 300_000 * (step % 3)) for step in range(32, 96)]
    path = _write(
        tmp_path / "t.mid", [(0, 1_600_000), *changing, (12, 1_600_000)], 16, length=0.125
    )
    exercise = read_midi(path)
    (said,) = exercise.remarks
    found = re.match(
        r"The tempo changes too often in bars 2 to 3 to be kept for each note: "
        r"what is at bar (\d+), beat ([\d/ ]+), comes (\d+) ms (late|early),",
        said,
    )
    assert found is not None
    moved = [a - b for a, b in zip(_onsets(exercise), _file_onsets(path), strict=True)]
    most = max(range(len(moved)), key=lambda index: abs(moved[index]))
    assert int(found[1]) == most // 32 + 1
    assert int(found[3]) == round(abs(moved[most]) * 1000)
    assert found[4] == ("late" if moved[most] > 0 else "early")
    # From the fourth bar on all is as in the file again.
    assert moved[96:] == pytest.approx([0] * 32, abs=0.001)


def test_a_change_that_moves_no_note_is_not_worth_a_word(tmp_path: Path) -> None:
    path = _write(tmp_path / "t.mid", [(0, 1_000_000), (2.5, 400_000), (4, 1_000_000)], 8, length=4)
    exercise = read_midi(path)
    assert not exercise.remarks
    assert _onsets(exercise) == pytest.approx(_file_onsets(path), abs=0.001)


def test_bars_far_apart_are_named_one_by_one(tmp_path: Path) -> None:
    changes = [
        (4 * bar + step / 8, 1_600_000 + 300_000 * (step % 3))
        for bar in range(0, 40, 4)
        for step in range(32)
    ]
    tempos = [*changes, *((4 * bar + 4, 1_600_000) for bar in range(0, 40, 4))]
    path = _write(tmp_path / "t.mid", sorted(tempos), 40 * 4, length=0.125)
    (said,) = read_midi(path).remarks
    assert "too often in bars 1, 5, 9, 13, 17, 21, 25, 29 and 2 more to be" in said


@examples(40)
@given(
    st.lists(
        st.tuples(
            # A tick beside a bar line is taken for the bar line; these are on it or well off it.
            st.integers(1, 4 * TICKS // 16).map(lambda step: step * 16),
            st.integers(300_000, 1_500_000),
        ),
        min_size=1,
        max_size=30,
    )
)
def test_every_bar_begins_when_it_does_in_the_file_wherever_tempos_change(
    steps: list[tuple[int, int]],
) -> None:
    places = accumulate(wait for wait, _ in steps)
    changes = [(tick / TICKS, tempo) for tick, (_, tempo) in zip(places, steps, strict=True)]
    with tempfile.TemporaryDirectory(dir=os.environ.get("TMPDIR")) as folder:
        path = _write(Path(folder) / "t.mid", [(0, 600_000), *changes], 60)
        exercise, written = read_midi(path), _file_onsets(path)
    read = _onsets(exercise)
    if not exercise.remarks:
        assert read == pytest.approx(written, abs=0.003)
    slowest = min(60_000_000 / tempo for _, tempo in [(0, 600_000), *changes])
    # A mean tempo is rounded to a hundredth; the next bar whose tempo changes makes up for it.
    within = 0.005 * 4 * 60 / slowest**2 + 0.0001
    assert read[::4] == pytest.approx(written[::4], abs=within)
