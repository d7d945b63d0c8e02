"""The signs that say in which order bars are played: repeats, endings, da capo, segno, coda, fine.

They are kept as written; `renderer.timing.order_of_playing` alone says what follows from them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Literal, get_args

MOST_PASSES = 99
"""How often a repeat is played, and the highest number of an ending."""
LONGEST_WORDS = 80
"""Of words that are looked through for a jump."""

Jump = Literal["D.C.", "D.C. al Fine", "D.C. al Coda", "D.S.", "D.S. al Fine", "D.S. al Coda"]
JUMPS: tuple[Jump, ...] = get_args(Jump)


@dataclass(frozen=True, slots=True)
class Signs:
    """What stands at the bar lines of a bar and over it.

    Parameters
    ----------
    opens:
        A repeat begins with this bar.
    closes:
        How often the music up to the end of this bar is played in all: 2 for a plain repeat sign,
        0 without one.
    endings:
        The passes in which this bar is played, in order; empty for all of them.
    double:
        A double bar line ends it; False where it is the last bar of its line, or a repeat sign
        stands there.
    segno, coda:
        The sign stands at its beginning.
    to_coda, fine:
        The word or sign stands at its end.
    jump:
        Where the player goes from its end, as it is written.
    """

    opens: bool = False
    closes: int = 0
    endings: tuple[int, ...] = ()
    double: bool = False
    segno: bool = False
    coda: bool = False
    to_coda: bool = False
    fine: bool = False
    jump: Jump | None = None

    @property
    def at_start(self) -> Signs:
        """Those at the beginning of the bar, and its endings."""
        return Signs(opens=self.opens, endings=self.endings, segno=self.segno, coda=self.coda)

    @property
    def at_end(self) -> Signs:
        """Those at the end of the bar, and its endings."""
        return replace(self, opens=False, segno=False, coda=False)

    def joined(self, other: Signs) -> Signs:
        """These signs and those of another."""
        return Signs(
            opens=self.opens or other.opens,
            closes=max(self.closes, other.closes),
            endings=self.endings or other.endings,
            double=self.double or other.double,
            segno=self.segno or other.segno,
            coda=self.coda or other.coda,
            to_coda=self.to_coda or other.to_coda,
            fine=self.fine or other.fine,
            jump=self.jump or other.jump,
        )


NO_SIGNS = Signs()

_JUMP = re.compile(
    r"\W*(?P<from>d\s*\.?\s*[cs]|da\s?capo|da[cl]\s?segno)\b\.?"
    r"(?:\W+(?:al|to|a)?\W*(?P<to>fine|(?:the\s+)?coda|end)\b.*|\W+(?:senza|sin|no)\b.*|\W*)",
    re.IGNORECASE,
)
_TO_CODA = re.compile(r"\W*(?:to\s+(?:the\s+)?coda|da\s?coda|al\s+coda)\W*", re.IGNORECASE)
_FINE = re.compile(r"\W*fine\W*", re.IGNORECASE)
_SEGNO = re.compile(r"\W*segno\W*", re.IGNORECASE)
_CODA = re.compile(r"\W*coda\W*", re.IGNORECASE)


def signs_of_words(words: str) -> Signs:
    """Return what words above the staff say, such as `D.C. al Fine` or `To Coda`."""
    if len(words) > LONGEST_WORDS:
        return NO_SIGNS
    text = " ".join(words.split())
    match = _JUMP.fullmatch(text)
    if match is not None:
        sign = "D.S." if "s" in match["from"].casefold() else "D.C."
        goal = (match["to"] or "").casefold()
        end = " al Coda" if goal.endswith("coda") else " al Fine" if goal else ""
        return Signs(jump=jump_named(sign + end))
    alone = ((_TO_CODA, Signs(to_coda=True)), (_FINE, Signs(fine=True)))
    signs = ((_SEGNO, Signs(segno=True)), (_CODA, Signs(coda=True)))
    return next((sign for word, sign in (*alone, *signs) if word.fullmatch(text)), NO_SIGNS)


def jump_named(name: str) -> Jump | None:
    """Return the jump of that name, or None."""
    return next((jump for jump in JUMPS if jump == name), None)


def passes_of_ending(text: str) -> tuple[int, ...]:
    """Return the passes that an ending's number names, such as `1, 2` or `1-3`, in order."""
    numbers: set[int] = set()
    for first, last in re.findall(r"(\d{1,3})(?:\s*-\s*(\d{1,3}))?", text[:1000]):
        numbers.update(range(int(first), min(int(last or first), MOST_PASSES) + 1))
    return tuple(sorted(number for number in numbers if 1 <= number <= MOST_PASSES))


def ending_text(passes: tuple[int, ...]) -> str:
    """Return an ending's number as it is written: `1,3`, or `1-3` where that is shorter."""
    texts: list[str] = []
    at = 0
    while at < len(passes):
        last = at
        while last + 1 < len(passes) and passes[last + 1] == passes[last] + 1:
            last += 1
        if last - at >= 2:
            texts.append(f"{passes[at]}-{passes[last]}")
            at = last + 1
        else:
            texts.append(str(passes[at]))
            at += 1
    return ",".join(texts)
