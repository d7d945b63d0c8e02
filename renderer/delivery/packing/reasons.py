"""Why a file of a pack is made again: what its manifest says of it beside what is asked for now."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from renderer.delivery.manifest import Entry
from renderer.order.packs import PlannedFile


@dataclass(frozen=True, slots=True)
class Reason:
    """A phrase of which the file is the subject, in English and in German."""

    english: str
    german: str


NEW = Reason("is new", "ist neu")
GONE = Reason("is not there any more", "ist nicht mehr da")
NOT_REMEMBERED = Reason(
    "is not remembered, and made again to be compared",
    "ist nicht bekannt und wird zum Vergleich noch einmal gemacht",
)
REPLACED = Reason(
    "is something else or was changed, and is replaced",
    "ist etwas anderes oder wurde geändert und wird ersetzt",
)
UNFINISHED = Reason("was not finished", "wurde nicht fertig")
CHANGED = Reason("has changed", "hat sich geändert")
_LIST_CHANGED = Reason("its list has changed", "seine Liste hat sich geändert")
_CHANGES = {
    "program": Reason("the program is another version", "das Programm hat eine andere Version"),
    "music": Reason("the music has changed", "die Musik hat sich geändert"),
    "title": Reason("the title has changed", "der Titel hat sich geändert"),
    "titles": Reason("the title has changed", "der Titel hat sich geändert"),
    "soundfonts": Reason("a SoundFont has changed", "ein SoundFont hat sich geändert"),
    "series": Reason("how it is called has changed", "der Name hat sich geändert"),
    "place": Reason(
        "its place among its rungs has changed", "der Platz unter seinen Sprossen ist ein anderer"
    ),
    "told": Reason("who gets what has changed", "wer was bekommt, hat sich geändert"),
}


def reason(one: PlannedFile, entry: Entry | None, sha256: str, identity: str) -> Reason | None:
    """Say why a file is to be made; None for what is there already, or in the way.

    Parameters
    ----------
    one:
        The file.
    entry:
        What is remembered of it.
    sha256:
        Of what is there; empty for nothing.
    identity:
        What tells files of this pack from those of others.
    """
    if not sha256:
        return NEW if entry is None else GONE
    if entry is None:
        return NOT_REMEMBERED
    if not entry.is_ours(sha256) or entry.identity != identity:
        return None
    if entry.sha256 == sha256 and entry.job == one.digest:
        return None
    return _since(one, entry)


def _since(one: PlannedFile, entry: Entry) -> Reason:
    """Say what changed since a file was made."""
    if entry.job == one.digest:
        return UNFINISHED
    before, now = entry.more.get("of"), one.job.decided_by()
    if not isinstance(before, dict):
        return CHANGED
    said: list[Reason] = []
    for key, value in now.items():
        if before.get(key) == value:
            continue
        if key == "settings" and isinstance(value, dict):
            was = before.get(key)
            said += _changed_settings(was if isinstance(was, dict) else {}, value)
        else:
            said.append(_CHANGES.get(key, _LIST_CHANGED))
    different = dict.fromkeys(said)
    if not different:
        return CHANGED
    return Reason(
        ", ".join(one.english for one in different), ", ".join(one.german for one in different)
    )


def _changed_settings(before: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[Reason]:
    for key in sorted({*before, *now}):
        if before.get(key) != now.get(key):
            was, is_now = (_shown(one.get(key)) for one in (before, now))
            yield Reason(
                f"{key} is {is_now.english}, was {was.english}",
                f"{key} ist {is_now.german}, war {was.german}",
            )


def _shown(value: object) -> Reason:
    if value is None:
        return Reason("as usual", "wie üblich")
    if isinstance(value, bool):
        return Reason("on", "an") if value else Reason("off", "aus")
    if isinstance(value, list):
        each = [_shown(one) for one in value]
        return Reason(", ".join(one.english for one in each), ", ".join(one.german for one in each))
    if isinstance(value, dict):
        label = value.get("label")
        return Reason("another", "anders") if label is None else Reason(str(label), str(label))
    return Reason(str(value), str(value))
