"""Written gracenote groups of tunes, and which of them the ornament book recognises.

Used by a test on the tunes that a package carries, and by a benchmark on any folder of tunes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from renderer.errors import RungwiseError
from renderer.notation.abc.reader import scores_of_file
from renderer.notation.musicxml.reader import read_musicxml
from renderer.notation.score import Exercise
from renderer.notation.to_exercise import exercise_of
from renderer.notation.written import Reading
from renderer.reading.exercise import with_movements

ENDINGS = (".abc", ".musicxml", ".mxl", ".xml")


@dataclass(frozen=True)
class Groups:
    """Written groups counted: how many tunes have any, and each group with its melody note."""

    tunes: int
    recognised: Counter[str]
    other: Counter[str]

    @property
    def share(self) -> float:
        """The share that the book recognises; 1 where there are none."""
        known, rest = self.recognised.total(), self.other.total()
        return known / (known + rest) if known + rest else 1.0


def tunes_of(paths: Iterable[Path]) -> Iterator[Exercise]:
    """Yield every tune of these files that lies on the nine notes, with its movements."""
    for path in paths:
        if path.suffix == ".abc":
            for score in scores_of_file(path):
                if not isinstance(score, RungwiseError):
                    try:
                        yield with_movements(exercise_of(score, Reading()))
                    except RungwiseError:
                        continue
        else:
            try:
                yield with_movements(read_musicxml(path, Reading()))
            except RungwiseError:
                continue


def count_groups(tunes: Iterable[Exercise]) -> Groups:
    """Count the written groups of tunes."""
    found, recognised, other = 0, Counter[str](), Counter[str]()
    for tune in tunes:
        notes = [note for line in tune.lines for note in line.melody_notes if note.group]
        found += bool(notes)
        for note in notes:
            group = "".join(small.abc for small in note.group)
            into = recognised if note.ornament else other
            into[f"{{{group}}}{note.note.abc}"] += 1
    return Groups(found, recognised, other)
