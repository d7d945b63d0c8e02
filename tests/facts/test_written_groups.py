"""The ornament book against gracenotes that other people wrote.

Sources: three public collections of tunes for the Highland pipes, traditional ones and newer ones,
on github.com: svenax/bagpipemusic (265 tunes), jsmcwilliam/BagpipeMusic_L (183) and
kastdeur/pipeband-music (146, parts of one tune counted each for itself), as their newest
stored versions were in November 2026. They name no licence, so no tune is kept here:
`written_groups.csv` holds how often each group of gracenotes was written, before which note and
after which (`-`: at the beginning of a part). The collections abbreviate common groups; these were
written out before they were counted.

And tunes of music21's corpus (test data) that lie on the nine notes and have gracenotes, all of
them collected for fiddle and fife: Aird's Airs book 6, O'Neill's Music of Ireland, Ryan's Mammoth
Collection. `tests.benchmarks.bench_book` counts the groups of any folder of tunes.
"""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import music21
import pytest

from renderer.notation.pitch import Note
from renderer.technique.ornaments import load_book
from renderer.technique.recognise import recognise
from tests.technique.written_groups import count_groups, tunes_of

TABLE = Path(__file__).with_name("written_groups.csv")
COLLECTIONS = ("svenax", "jsmcwilliam", "kastdeur")
LETTERS = {note.abc: note for note in Note}
AIM = 0.995

CORPUS = Path(music21.__file__).parent / "corpus"
FILES = [
    "airdsAirs/book6.abc",
    "oneills1850/0811-0899.abc",
    "oneills1850/0900-0950.abc",
    "ryansMammoth/CarmichaelsStrathspey.abc",
    "ryansMammoth/PaddyCareysFortuneJig.abc",
]


def counted(collection: str) -> tuple[Counter[str], Counter[str]]:
    """The written groups of a collection that the book recognises, and the others."""
    known, other = Counter[str](), Counter[str]()
    with TABLE.open(encoding="ascii", newline="") as file:
        for row in csv.DictReader(file):
            if row["collection"] != collection:
                continue
            group = tuple(LETTERS[letter] for letter in row["gracenotes"])
            note, before = LETTERS[row["note"]], LETTERS.get(row["before"])
            _, name = recognise(note, group, before, load_book())
            into = other if name is None else known
            into[f"{{{row['gracenotes']}}}{row['note']}"] += int(row["count"])
    return known, other


def share(known: Counter[str], other: Counter[str]) -> float:
    return known.total() / (known.total() + other.total())


def test_of_fifty_thousand_written_groups_the_book_recognises_what_it_aims_at() -> None:
    counts = [counted(collection) for collection in COLLECTIONS]
    known = sum((one for one, _ in counts), Counter[str]())
    other = sum((one for _, one in counts), Counter[str]())
    assert known.total() + other.total() == 50_101
    assert share(known, other) >= AIM


@pytest.mark.parametrize(
    ("collection", "groups", "least"),
    [("svenax", 28_679, 0.997), ("jsmcwilliam", 12_738, 0.996), ("kastdeur", 8_684, 0.984)],
)
def test_of_each_collection_it_recognises(collection: str, groups: int, least: float) -> None:
    known, other = counted(collection)
    assert known.total() + other.total() == groups
    assert share(known, other) >= least


def test_what_it_does_not_recognise_is_written_seldom() -> None:
    """None of it as often as once in a thousand groups; half of it is in single tunes."""
    other = sum((counted(collection)[1] for collection in COLLECTIONS), Counter[str]())
    assert other.most_common(7) == [
        ("{deG}d", 34),  # two new tunes
        ("{gfe}g", 29),  # one collection: a strike of F before high G
        ("{eeA}e", 23),  # a half strike on E after an E gracenote, which cannot be heard
        ("{gcG}d", 17),  # one collection: a strike of C before D
        ("{G}e", 16),  # a tap of both hands
        ("{geA}f", 14),  # a strike of E before F
        ("{A}c", 12),  # a tap that leaves the little finger up
    ]


def test_of_gracenotes_in_collected_tunes_only_what_fiddlers_alone_play_is_unknown() -> None:
    groups = count_groups(tunes_of(CORPUS / file for file in FILES))
    assert groups.tunes == 8
    assert groups.recognised.total() == 29
    # Passing notes of the bow: a step down to B, runs of two to four notes.
    assert groups.other == {"{c}B": 4, "{BA}G": 2, "{edcd}e": 1, "{cBAB}e": 1}
