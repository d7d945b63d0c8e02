"""The ornament book against gracenotes that other people wrote.

Source: tunes of music21's corpus (test data) that lie on the nine notes and have gracenotes, all of
them collected for fiddle and fife: Aird's Airs book 6, O'Neill's Music of Ireland, Ryan's Mammoth
Collection. The corpus has no collection for pipes; `tests.benchmarks.bench_book` counts the groups
of any folder of tunes.
"""

from __future__ import annotations

from pathlib import Path

import music21

from tests.technique.written_groups import count_groups, tunes_of

CORPUS = Path(music21.__file__).parent / "corpus"
FILES = [
    "airdsAirs/book6.abc",
    "oneills1850/0811-0899.abc",
    "oneills1850/0900-0950.abc",
    "ryansMammoth/CarmichaelsStrathspey.abc",
    "ryansMammoth/PaddyCareysFortuneJig.abc",
]


def test_of_gracenotes_in_collected_tunes_only_what_fiddlers_alone_play_is_unknown() -> None:
    groups = count_groups(tunes_of(CORPUS / file for file in FILES))
    assert groups.tunes == 8
    assert groups.recognised.total() == 38
    # Passing notes of the bow: a step down to B, runs of two to four notes.
    assert groups.other == {"{c}B": 4, "{BA}G": 4, "{edcd}e": 1, "{cBAB}e": 1}
