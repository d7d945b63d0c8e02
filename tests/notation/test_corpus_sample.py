"""A few collected tunes of music21's corpus (test data): read, or refused with a report.

`tests/benchmarks/bench_scores.py` does all 13,632.
"""

from __future__ import annotations

from pathlib import Path

import music21
import pytest

from renderer.errors import RungwiseError
from renderer.notation.abc.reader import read_abc
from renderer.notation.compare import music_of
from renderer.notation.musicxml.reader import read_musicxml
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.score import Exercise
from renderer.notation.written import Reading
from tests.notation.playing_out import played_lines

CORPUS = Path(music21.__file__).parent / "corpus"


def _read(file: str, part: str | None = None) -> Exercise:
    read = read_abc if file.endswith(".abc") else read_musicxml
    return read(CORPUS / file, Reading(part=part))


@pytest.mark.parametrize(
    ("file", "part", "bars", "notes"),
    [
        ("airdsAirs/book1.abc", "0006", 20, 120),
        ("essenFolksong/altdeu10.abc", "290", 6, 21),
        ("miscFolk/americanfifeopus.abc", "9", 32, 132),
        ("oneills1850/0301-0350.abc", "305", 18, 92),
        ("bach/bwv137.5.mxl", None, 18, 50),
    ],
)
def test_a_tune_on_the_nine_notes_is_read_and_written(
    tmp_path: Path, file: str, part: str | None, bars: int, notes: int
) -> None:
    exercise = _read(file, part)
    assert sum(len(line.bars) for line in played_lines(exercise)) == bars
    assert sum(1 for line in played_lines(exercise) for _ in line.melody_notes) == notes
    path = tmp_path / "tune.musicxml"
    path.write_bytes(write_musicxml(exercise, opened="closed"))
    again = read_musicxml(path)
    music = [[music_of(bar) for bar in line.bars] for line in exercise.lines]
    assert [[music_of(bar) for bar in line.bars] for line in again.lines] == music


@pytest.mark.parametrize(
    "file", ["ryansMammoth/AllyCroakersFavoriteReel.abc", "ryansMammoth/ButchersMarchJig.abc"]
)
def test_abc_is_read_as_music21_reads_it(file: str) -> None:
    exercise = read_abc(CORPUS / file, Reading(play_repeats=False))
    score = music21.converter.parse(CORPUS / file, forceSource=True, storePickle=False)
    heard = [n for n in score.flatten().notes if not n.duration.isGrace]
    found = [n for line in exercise.lines for n in line.melody_notes]
    assert [n.note.midi for n in found] == [n.pitch.midi for n in heard]
    beat = exercise.lines[0].bars[0].meter.beat_value * 4
    assert [float(n.beats * beat) for n in found] == [float(n.quarterLength) for n in heard]


@pytest.mark.parametrize(
    ("file", "part"),
    [
        ("bach/bwv66.6.mxl", None),
        ("bach/bwv1.6.mxl", None),
        ("mozart/k80/movement1.mxl", None),
        ("oneills1850/0001-0050.abc", "1"),
        ("essenFolksong/altdeu10.abc", "1"),
    ],
)
def test_every_other_tune_is_refused_with_bar_and_beat(file: str, part: str | None) -> None:
    with pytest.raises(RungwiseError) as caught:
        _read(file, part)
    assert caught.value.problems
    assert all(problem.place or problem.cause for problem in caught.value.problems)
    assert all("bar" in problem.place for problem in caught.value.problems[:5])
