"""What our MIDI plays is read back by its lengths alone, as that of others is."""

from __future__ import annotations

from pathlib import Path

import mido
import pytest

from renderer.delivery.convert import convert
from renderer.notation.score import Exercise
from renderer.notation.written import Reading
from renderer.order.settings import usual_settings
from renderer.reading.exercise import read_exercise
from renderer.timing.order_of_playing import played


def groups(exercise: Exercise) -> list[str]:
    notes = [note for line in exercise.lines for note in line.melody_notes if not note.tied]
    return ["".join(slot.abc for slot in note.slots) for note in notes]


def without_texts(path: Path) -> None:
    """Take out every text and marker, which only this program writes and reads."""
    file = mido.MidiFile(path)
    for track in file.tracks:
        kept, wait = [], 0
        for message in track:
            wait += message.time
            if message.is_meta and message.type in ("text", "marker"):
                continue
            kept.append(message.copy(time=wait))
            wait = 0
        track[:] = kept
    file.save(path)


@pytest.mark.parametrize(
    "name", ["first-gracenotes", "grips-and-taorluaths", "reel-round", "strathspey-snaps"]
)
def test_every_gracenote_group_is_found_by_the_lengths_of_notes(tmp_path: Path, name: str) -> None:
    """In a reel and a strathspey at full tempo the shortest notes last 82 and 125 ms."""
    exercise = read_exercise(name)
    path = tmp_path / "track.mid"
    convert(exercise, path, usual_settings("convert"))
    without_texts(path)
    # A practice chanter sounds an octave below what is written (common practice).
    again = read_exercise(path, Reading(transpose=12))
    assert groups(again) == groups(played(exercise).exercise)
    assert any("read as gracenotes" in remark for remark in again.remarks)
