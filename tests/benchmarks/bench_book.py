"""The share of written gracenote groups that the ornament book recognises.

    python -m tests.benchmarks.bench_book [FOLDER ...]

Reads the tunes on the nine notes of music21's corpus (fiddlers' and fifers' collections, whose
gracenotes are not pipers'), and of any folders given with tunes of your own as ABC or MusicXML; for
each prints the share and what is not recognised, the most frequent first.
"""

from __future__ import annotations

import sys
from pathlib import Path

import music21

from tests.technique.written_groups import ENDINGS, Groups, count_groups, tunes_of

CORPUS = Path(music21.__file__).parent / "corpus"
MOST_SHOWN = 15


def _show(name: str, groups: Groups) -> None:
    total = groups.recognised.total() + groups.other.total()
    print(f"{name}: {groups.tunes} tunes with gracenotes, {total} groups, "
          f"{100 * groups.share:.1f} % recognised")  # fmt: skip
    for group, count in groups.other.most_common(MOST_SHOWN):
        print(f"  {count:5} {group}")


def main() -> None:
    """Print the shares of the corpus and of each folder given."""
    for folder in [CORPUS, *map(Path, sys.argv[1:])]:
        files = sorted(path for path in folder.rglob("*") if path.suffix in ENDINGS)
        _show(
            "music21's corpus" if folder is CORPUS else str(folder), count_groups(tunes_of(files))
        )


if __name__ == "__main__":
    main()
