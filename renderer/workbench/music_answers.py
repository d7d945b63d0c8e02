"""What the page asks of music: a text read, changed, engraved, and the sound that it plays with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from renderer.notation.source_file import Source
from renderer.order.kinds import CHANTER_SUFFIX, chanter_in
from renderer.workbench.asked import MOST_TEXT, Answering, tables_of, text_of, texts_of
from renderer.workbench.editing import edit, fields_of
from renderer.workbench.library_rows import shipped_data

if TYPE_CHECKING:
    from renderer.sound.tuning import PitchStandard
    from renderer.workbench.application import Bench

FIRST_BODIES = 12
"""Lines whose staves come along with the answer to a change."""

_MOST_CHANGES = 60
_MOST_KEYS = 60
_MOST_PITCHES = 4


def answers(bench: Bench) -> dict[str, Answering]:
    """Return the answers about music by their names."""

    def show(asked: Mapping[str, Any]) -> dict[str, Any]:
        """A text (or a file, or a shipped exercise) and changes: what it holds, shows and plays."""
        name, shipped = text_of(asked, "name"), text_of(asked, "shipped")
        text: str | None = None
        if "text" in asked:
            text = text_of(asked, "text", MOST_TEXT)
            for change in tables_of(asked, "changes", _MOST_CHANGES):
                text = edit(text, change)
            data = text.encode("utf-8", errors="replace")
        elif shipped:
            name, data = f"{shipped}.toml", shipped_data(shipped)
        else:
            data = bench.folder.read(name).data
        read = bench.music.read(name, data, text_of(asked, "inner"))
        known = set(texts_of(asked, "known", 20_000))
        wanted = [line["key"] for line in read.get("lines", ()) if line["key"] not in known]
        return {
            "text": text,
            "fields": None if text is None else fields_of(text),
            "read": read,
            "bodies": bench.music.bodies(wanted[:FIRST_BODIES]),
        }

    def bodies(asked: Mapping[str, Any]) -> dict[str, Any]:
        return {"bodies": bench.music.bodies(texts_of(asked, "keys", _MOST_KEYS))}

    def sound(asked: Mapping[str, Any]) -> dict[str, Any]:
        named = texts_of(asked, "pitches", _MOST_PITCHES) or ["A"]
        pitches = [_pitch(one) for one in named]
        chanter = text_of(asked, "chanter") or "practice"
        return bench.music.sound(pitches, chanter)

    def _pitch(named: str) -> str | PitchStandard:
        # The name of a file is one in this folder, wherever the server was started.
        if not named.casefold().endswith(CHANTER_SUFFIX):
            return named
        return chanter_in(Source(named, bench.folder.read(named).data))

    def words(_asked: Mapping[str, Any]) -> dict[str, Any]:
        """What can be written in a definition: keys, notes, movements and other choices."""
        from renderer.workbench.vocabulary import vocabulary

        return vocabulary()

    return {"show": show, "bodies": bodies, "sound": sound, "words": words}
