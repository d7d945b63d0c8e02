"""From titles to file names that every file system takes and that sort in practice order.

Names keep the title's letters in every script. What Windows, FAT, macOS or a shell would stumble
over goes: reserved characters and device names, control and formatting characters, dots and spaces
at the ends, marks at the start that hide a file or make it look like an option or a comment.
Lengths are in bytes of UTF-8.
"""

from __future__ import annotations

import hashlib
import itertools
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from renderer.notation.kept_settings import decimal_text

LONGEST_NAME = 140
"""Bytes of a whole file name. File systems allow 255 (ext4, APFS) or 255 UTF-16 units (NTFS,
exFAT); encrypted home folders (eCryptfs) only 143. Windows also counts the path, 260 in all."""

_STEM_BYTES = 78
"""What a title and what is unusual get of that, so that pitch, mix, rung, tempo and format always
fit behind it."""

_LEAST_STEM_BYTES = 24
"""What is left to a title however much is unusual."""

_RUNG_BYTES = 34
"""What a rung takes at most behind pitch and mix; where lines or climbs are named too, the title is
shortened by what they take beyond it."""

_VARIATION_BYTES = 150
"""What is unusual is said in words, and the title is shortened first; where that is not enough, the
name grows beyond `LONGEST_NAME` to 240 bytes, which all but encrypted folders take."""

_DIGEST_LETTERS = 6

# Microsoft, "Naming Files, Paths, and Namespaces"; the superscript digits are on that list too.
_RESERVED = {"con", "prn", "aux", "nul", "conin$", "conout$"} | {
    device + digit for device in ("com", "lpt") for digit in "0123456789¹²³"
}

_REPLACED = str.maketrans(
    {'"': "'", "/": "-", "\\": "-", ":": "-", "|": "-", "*": "", "?": "", "<": "(", ">": ")"}
)
_DROPPED_CATEGORIES = {"Cc", "Cf", "Cs", "Co", "Cn"}
_EDGES = " .-#~_"
_NAMELESS = "Exercise"


def _shortened(text: str, most_bytes: int) -> str:
    """Cut `text` to `most_bytes` of UTF-8 between characters, at a space if one is near the end."""
    encoded = text.encode()
    if len(encoded) <= most_bytes:
        return text
    cut = encoded[:most_bytes].decode(errors="ignore")
    # A letter must not lose the accents that follow it and turn into another letter.
    if unicodedata.combining(text[len(cut)]):
        cut = cut.rstrip("".join({c for c in cut if unicodedata.combining(c)}))[:-1]
    words = cut.rsplit(" ", 1)
    return words[0] if len(words) == 2 and len(words[0]) * 3 > len(cut) * 2 else cut


def safe_stem(title: str, *, most_bytes: int = _STEM_BYTES) -> str:
    """Return `title` as a file name without its ending, safe on every file system.

    Parameters
    ----------
    title:
        Any text.
    most_bytes:
        The most that it may take, in bytes of UTF-8; at least 16.

    Returns
    -------
    A name that is never empty, in Unicode normal form C. Different titles may give the same name:
    `distinct` tells them apart.
    """
    text = unicodedata.normalize("NFC", re.sub(r"\s+", " ", title)).translate(_REPLACED)
    text = "".join(c for c in text if unicodedata.category(c) not in _DROPPED_CATEGORIES)
    text = re.sub(r" {2,}", " ", text).strip(_EDGES)
    text = unicodedata.normalize("NFC", _shortened(text, most_bytes)).rstrip(_EDGES)
    if text.split(".")[0].rstrip().casefold() in _RESERVED:
        text = f"{_NAMELESS} {text}"
    return text or _NAMELESS


def collision_key(name: str) -> str:
    """Return what two names share when some file system takes them for one.

    Windows and macOS ignore case, and macOS also how accents are composed.
    """
    folded = unicodedata.normalize("NFD", name).casefold()
    return unicodedata.normalize("NFD", folded)


def distinct(stems: Iterable[str]) -> tuple[str, ...]:
    """Return the names in order, each told apart from those before it by ` (2)`, ` (3)` and so on.

    Names are the same when some file system takes them for one (see `collision_key`).
    """
    taken: set[str] = set()
    result: list[str] = []
    for stem in stems:
        candidate, number = stem, 1
        while collision_key(candidate) in taken:
            number += 1
            candidate = f"{stem} ({number})"
        taken.add(collision_key(candidate))
        result.append(candidate)
    return tuple(result)


def tempo_label(tempo: Fraction) -> str:
    """Return a tempo in beats per minute as people read it: `60`, `62.5`, `33.33`."""
    return f"{float(tempo):.2f}".rstrip("0").rstrip(".")


def tempos_label(tempos: Sequence[Fraction]) -> str:
    """Return the tempo of a track as people read it, of one that climbs `50 to 88`."""
    first, last = tempo_label(tempos[0]), tempo_label(tempos[-1])
    return first if len(tempos) == 1 else f"{first} to {last}"


def _tempo_in_name(tempo: Fraction) -> str:
    """Return a tempo with so many digits that no other has the same: `060`, `033.3333`."""
    whole, point, decimals = decimal_text(tempo).partition(".")
    return f"{whole.zfill(3)}{point}{decimals}"


@dataclass(frozen=True, slots=True)
class Series:
    """The tracks of one exercise that are practised one after the other: one pitch, one mix.

    Parameters
    ----------
    stem:
        The exercise's file name, from `safe_stem`.
    pitch:
        As players say it: `A`, `B flat`, `478 Hz`.
    mix:
        `full`, `backing`, `chanter` or `echo`.
    variation:
        What is not as usual, from `variation_label`; mostly empty.
    """

    stem: str
    pitch: str
    mix: str
    variation: str = ""

    @property
    def name(self) -> str:
        """The name that all its tracks and its playlists begin with."""
        parts = (self.stem, self.pitch, self.mix, self.variation)
        return " - ".join(part for part in parts if part)


def variation_label(variations: Sequence[str]) -> str:
    """Return what is not as usual as a part of a file name: `pipe chanter, no metronome`.

    What no file system would take (more than a dozen settings at once) ends in a digest of the
    whole, so that it still differs from others.
    """
    text = ", ".join(variations)
    short = safe_stem(text, most_bytes=_VARIATION_BYTES) if text else ""
    if short == text:
        return text
    digest = hashlib.sha256(text.encode()).hexdigest()[:_DIGEST_LETTERS]
    room = _VARIATION_BYTES - _DIGEST_LETTERS - 1
    return f"{safe_stem(text, most_bytes=room)} {digest}"


def stem_bytes(variation: str) -> int:
    """Return how many bytes of UTF-8 a title may take beside such a variation."""
    taken = len(variation.encode()) + len(" - ") if variation else 0
    return max(_STEM_BYTES - taken, _LEAST_STEM_BYTES)


_LINE_BYTES = 40


def line_label(number: int, heading: str, last: int) -> str:
    """Return what names of tracks say of a line that is one by itself: `line 02 Low A to D`.

    Parameters
    ----------
    number, heading:
        As the sheet has them; the heading may be empty.
    last:
        The number of the last line, so that names sort.
    """
    label = f"line {number:0{len(str(last))}d}"
    name = safe_stem(heading, most_bytes=_LINE_BYTES - len(label)) if heading.strip() else ""
    is_said = not name or name.casefold() == f"line {number}"
    return label if is_said else f"{label} {name}"


def _stems(
    titles: Sequence[tuple[str, str]],
    variations: Sequence[str],
    rungs: Sequence[Sequence[str]],
    prefix: str,
) -> tuple[str, ...]:
    stems = []
    for (whole, title), variation, labels in zip(titles, variations, rungs, strict=True):
        # Which line it is tells tracks apart, so it is the title that is shortened.
        line = title.removeprefix(whole)
        longest = max((len(label.encode()) for label in labels), default=0)
        taken = len(line.encode()) + len(prefix.encode()) + max(0, longest - _RUNG_BYTES)
        room = stem_bytes(variation) - taken
        stems.append(prefix + safe_stem(whole, most_bytes=max(room, 16)) + line)
    if len(stems) > 1:
        digits = len(str(len(stems)))
        stems = [f"{number:0{digits}d} {stem}" for number, stem in enumerate(stems, start=1)]
    return distinct(stems)


def named_series(
    titles: Sequence[tuple[str, str]],
    variations: Sequence[Sequence[str]],
    pitches: Sequence[str],
    mixes: Sequence[str],
    rungs: Sequence[Sequence[str]],
    prefix: str = "",
) -> tuple[dict[tuple[str, str], tuple[Series, tuple[str, ...]]], ...]:
    """Return the series of some exercises and the names of their tracks, without their ending.

    Parameters
    ----------
    titles:
        Each exercise's title, first that of the whole where it is a line taken out of one. Names of
        several exercises begin with a number.
    variations:
        What is not as usual with each, in words.
    pitches, mixes:
        Those that all of them are made at, as `Series` has them.
    rungs:
        Which track of a series each of its tracks is, in practice order: from `rung_labels` or
        `climb_label`, with `line_label` before it.
    prefix:
        What every name begins with.

    Returns
    -------
    For each exercise, by pitch and mix, the series and the names of its tracks.
    """
    labels = [variation_label(one) for one in variations]
    found = []
    stems = _stems(titles, labels, rungs, prefix)
    for stem, label, each in zip(stems, labels, rungs, strict=True):
        series = [Series(stem, pitch, mix, label) for pitch in pitches for mix in mixes]
        found.append({(one.pitch, one.mix): (one, track_names(one, each)) for one in series})
    return tuple(found)


def track_names(series: Series, rungs: Iterable[str]) -> tuple[str, ...]:
    """Return the file names of a series, without their ending.

    Parameters
    ----------
    series:
        What the tracks have in common.
    rungs:
        Which of them each is, from `rung_labels` or `climb_label`.
    """
    return tuple(f"{series.name} - {rung}" for rung in rungs)


_MOST_LISTED = 6


def climb_label(tempos: Sequence[Fraction]) -> str:
    """Return what a name says of a track that climbs: `climb 050 to 088 by 2 bpm`.

    Tracks of other rungs have another: where steps differ and there are more than a few, the rungs
    are told by a digest.

    Parameters
    ----------
    tempos:
        Its rungs in beats a minute, in the order in which they are played.
    """
    names = [_tempo_in_name(tempo) for tempo in tempos]
    gaps = {later - earlier for earlier, later in itertools.pairwise(tempos)}
    if len(tempos) > 2 and len(gaps) == 1 and 0 not in gaps:
        return f"climb {names[0]} to {names[-1]} by {decimal_text(abs(gaps.pop()))} bpm"
    if len(tempos) <= _MOST_LISTED:
        return f"climb {', '.join(names)} bpm"
    digest = hashlib.sha256(" ".join(names).encode()).hexdigest()[:_DIGEST_LETTERS]
    return f"climb {names[0]} to {names[-1]} in {len(names)} rungs {digest} bpm"


def rung_labels(tempos: Sequence[Fraction]) -> tuple[str, ...]:
    """Return what names say of the rungs of a ladder: `060 bpm`.

    Tempos are written with three digits and all their decimals (twelve at most), so that names of a
    rising ladder sort by themselves, and no track has the name of one at another tempo. Where they
    do not sort (a falling ladder, a rung that comes twice) the rung's number comes first.

    Parameters
    ----------
    tempos:
        The rungs in practice order, beats per minute.
    """
    labels = [f"{_tempo_in_name(tempo)} bpm" for tempo in tempos]
    if any(later <= earlier for earlier, later in itertools.pairwise(labels)):
        digits = len(str(len(tempos)))
        labels = [
            f"rung {number:0{digits}d} - {label}" for number, label in enumerate(labels, start=1)
        ]
    return tuple(labels)
