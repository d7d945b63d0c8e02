"""Advice: what can be said of a line, weighed, to the few sentences that are worth reading.

A sheet says each thing once, where it first occurs. What is worth most is what goes wrong most and
costs most (`advice.toml`, where every sentence about a movement has its source); lines on which
nothing is worth saying stay silent. Lines, bars and beats are counted from 1.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib import resources
from typing import Any

from renderer.notation.pitch import Note
from renderer.notation.score import PICKUP
from renderer.technique import german
from renderer.technique.cautions import Caution, CautionKind
from renderer.technique.difficulty import movement_points
from renderer.technique.fragments import Fragment
from renderer.technique.movement import Movement

MOST_ADVICE = 3
"""How many sentences of advice a line gets at most (judgement)."""


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence about a movement, and where it is true.

    Parameters
    ----------
    text:
        With `{first}` and `{last}` for the movement's first and last gracenote.
    german:
        The same in German.
    source:
        Where it is taken from.
    opened:
        Whether it is true of movements that are opened out (True) or closed (False); None of both.
    slots, gracenotes:
        The fewest that a movement needs for it to be true.
    same_note:
        Whether it is true coming from the melody note itself (True) or from another (False); None
        of both.
    """

    text: str
    german: str
    source: str
    opened: bool | None = None
    slots: int = 1
    gracenotes: int = 0
    same_note: bool | None = None

    def is_true_of(self, slots: Fragment, previous: Note | None, *, opened: bool) -> bool:
        """Whether it can be said of a movement as it is played here."""
        gracenotes = sum(slot.gracenote is not None for slot in slots)
        comes_from_same = previous is None or previous is slots[-1].note
        return (
            self.opened in (None, opened)
            and len(slots) >= self.slots
            and gracenotes >= self.gracenotes
            and self.same_note in (None, comes_from_same)
        )

    def said_of(self, slots: Fragment) -> str:
        """Return the sentence with the gracenotes of the movement at hand."""
        gracenotes = [slot.gracenote for slot in slots if slot.gracenote is not None]
        if not gracenotes:
            return self.text
        first, last = (_gracenote_name(one) for one in (gracenotes[0], gracenotes[-1]))
        return self.text.replace("{first}", first).replace("{last}", last)

    def said_in_german(self, slots: Fragment) -> str:
        """Return what `said_of` returns, in German."""
        gracenotes = [slot.gracenote for slot in slots if slot.gracenote is not None]
        if not gracenotes:
            return self.german
        first, last = (german.gracenote_word(one) for one in (gracenotes[0], gracenotes[-1]))
        return self.german.replace("{first}", first).replace("{last}", last)


def _gracenote_name(note: Note) -> str:
    """A gracenote as players say it in passing: `G gracenote` for a high G one."""
    return f"{'G' if note is Note.HIGH_G else note} gracenote"


@dataclass(frozen=True, slots=True)
class Remark:
    """Something that can be said at a place of a line.

    Parameters
    ----------
    topic:
        What it is about: of remarks with one topic, one is said on a sheet.
    text, german:
        The sentence in either language.
    worth:
        What it is worth to be said, for one occurrence.
    bar, beat:
        Where it first occurs.
    """

    topic: tuple[str, ...]
    text: str
    german: str
    worth: float
    bar: int
    beat: Fraction


@dataclass(frozen=True, slots=True)
class Advice:
    """A sentence worth reading, with the bar and beat where it first occurs, both from 1.

    `german` is the same sentence in German; `bar_number` is the number that the bar is known by,
    as `bar_numbers` has it.
    """

    bar: int
    beat: Fraction
    text: str
    german: str
    bar_number: str = ""

    def __str__(self) -> str:
        where = "Pickup" if self.bar_number == PICKUP else f"Bar {self.bar_number or self.bar}"
        return f"{where}: {self.text}"


@dataclass(frozen=True, slots=True)
class LineAdvice:
    """What is said under one line.

    Parameters
    ----------
    said:
        What stands here for the first time, in the order of its worth.
    as_lines:
        The lines, from 1, under which the rest of what is worth saying stands already.
    """

    said: tuple[Advice, ...]
    as_lines: tuple[int, ...]


@cache
def _data() -> Mapping[str, Any]:
    text = (resources.files(__package__) / "advice.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


_PLAYED = {"opened": True, "closed": False}
_FROM = {"the same note": True, "another note": False}


@cache
def sentences() -> Mapping[str, tuple[Sentence, ...]]:
    """Return the sentences about each movement of the book, by its name, the most useful first."""
    return {
        name: tuple(
            Sentence(
                text=row["text"],
                german=row["de"],
                source=row["source"],
                opened=_PLAYED[row["played"]] if "played" in row else None,
                slots=row.get("slots", 1),
                gracenotes=row.get("gracenotes", 0),
                same_note=_FROM[row["from"]] if "from" in row else None,
            )
            for row in table["sentences"]
        )
        for name, table in _data().items()
        if name != "worth"
    }


def movement_remarks(
    movement: Movement,
    slots: Fragment,
    previous: Note | None,
    *,
    opened: bool,
    bar: int,
    beat: Fraction,
) -> Iterator[Remark]:
    """Yield what can be said about a movement as it is played at one place.

    Parameters
    ----------
    movement:
        As the book has it; a definition's own movements have no sentences.
    slots, previous:
        How it is played there, and the note before; None at a start.
    opened:
        Whether it is opened out.
    bar, beat:
        The place.
    """
    weights = _data()["worth"]
    true = [
        sentence
        for sentence in sentences().get(movement.name) or sentences().get(movement.way_of, ())
        if sentence.is_true_of(slots, previous, opened=opened)
    ]
    for index, sentence in enumerate(true):
        # The harder the movement, the more its first sentence is worth: up to 1.5 times.
        harder = 1 + (movement_points(movement) or 0) / 30
        worth = weights["further"] if index else weights["movement"] * harder
        topic = ("movement", movement.name, sentence.text)
        said = sentence.said_of(slots), sentence.said_in_german(slots)
        yield Remark(topic, *said, worth, bar, beat)


def caution_remark(caution: Caution, bar: int, beat: Fraction) -> Remark:
    """Return a caution as something that can be said at one place."""
    worth = _data()["worth"][caution.kind.value]
    # What is written amiss is said of every such place.
    said = caution.text if caution.kind is CautionKind.UNHEARD_GRACENOTE else caution.rule
    return Remark((caution.kind.value, said), caution.text, caution.german, worth, bar, beat)


def choose_advice(lines: Iterable[Sequence[Remark]]) -> Iterator[LineAdvice]:
    """Choose, line by line, what is worth saying there and has not been said before.

    Parameters
    ----------
    lines:
        For each line all that can be said, in the order of the music.
    """
    said_under: dict[tuple[str, ...], int] = {}
    least = _data()["worth"]["least"]
    for number, remarks in enumerate(lines, start=1):
        found: dict[tuple[str, ...], Remark] = {}
        counts: dict[tuple[str, ...], int] = {}
        for remark in remarks:
            found.setdefault(remark.topic, remark)
            counts[remark.topic] = counts.get(remark.topic, 0) + 1
        worth = {
            topic: remark.worth * (1 + math.log2(counts[topic]) / 10)
            for topic, remark in found.items()
        }
        ranked = sorted(
            (topic for topic in found if worth[topic] >= least), key=lambda topic: -worth[topic]
        )
        new = [topic for topic in ranked if topic not in said_under][:MOST_ADVICE]
        as_lines = [said_under[topic] for topic in ranked[:MOST_ADVICE] if topic in said_under]
        said_under |= dict.fromkeys(new, number)
        yield LineAdvice(
            tuple(Advice(found[t].bar, found[t].beat, found[t].text, found[t].german) for t in new),
            tuple(sorted(set(as_lines))),
        )
