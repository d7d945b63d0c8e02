"""The 72 changes between two notes, as a table to be read and as a proof from the chart.

`pairs.txt` is the table that the program computes, reviewed by eye. Each of its rows is then
derived again from the nine fingerings as this module writes them, by trying every order in which
the fingers could move. To write the table anew after a change that was meant:
`python -m tests.technique.test_pairs`.
"""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from itertools import combinations, pairwise, permutations
from pathlib import Path

import pytest

from renderer.technique.text_tables import PAIR_HEADINGS, pair_rows

GOLDEN = Path(__file__).parent / "pairs.txt"

FINGERS = (
    "thumb", "left index", "left middle", "left ring",
    "right index", "right middle", "right ring", "right little",
)  # fmt: skip
NOTES = ("low G", "low A", "B", "C", "D", "E", "F", "high G", "high A")
# Source: common practice, the ascending chart of any tutor; 1 closed, 0 open, from the thumb down.
CHART = dict(
    zip(
        NOTES,
        (
            "11111111", "11111110", "11111100", "11111001", "11110001",
            "11101110", "11001110", "10001110", "00011110",
        ),
        strict=True,
    )
)  # fmt: skip
# Source: common practice, the note of each hole as the highest open one, from the thumb down.
HOLES = ("high A", "high G", "F", "E", "D", "C", "B", "low A")
PAIRS = [(first, second) for first in NOTES for second in NOTES if first != second]


def table_text() -> str:
    rows = [PAIR_HEADINGS, *pair_rows()]
    widths = [max(len(row[column]) for row in rows) for column in range(len(PAIR_HEADINGS))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]
    for start in range(1, len(lines), 8):
        lines[start] = "\n" + lines[start]
    return "\n".join(lines) + "\n"


def golden_rows() -> list[dict[str, str]]:
    lines = [line for line in GOLDEN.read_text("utf-8").splitlines() if line]
    starts = [lines[0].index(heading) for heading in PAIR_HEADINGS]
    ends: list[int | None] = [*starts[1:], None]
    return [
        {
            heading: line[start:end].strip()
            for heading, start, end in zip(PAIR_HEADINGS, starts, ends, strict=True)
        }
        for line in lines[1:]
    ]


def sounds(signs: str) -> str:
    return HOLES[signs.index("0")] if "0" in signs else "low G"


def pitch(signs: str) -> int:
    return NOTES.index(sounds(signs))


def flipped(signs: str, finger: int) -> str:
    other = "0" if signs[finger] == "1" else "1"
    return signs[:finger] + other + signs[finger + 1 :]


def names(fingers: list[int]) -> str:
    """Each hand is named once, as in the table: `left middle, ring; right little`."""
    left = ", ".join(FINGERS[finger] for finger in fingers if finger < 4)
    right = ", ".join(FINGERS[finger] for finger in fingers if finger >= 4)
    hands = [
        hand.replace(f", {side} ", ", ")
        for side, hand in (("left", left), ("right", right))
        if hand
    ]
    return "; ".join(hands).replace("thumb, index", "thumb, left index") or "-"


def low_notes(first: str, second: str, order: tuple[int, ...]) -> Iterator[str]:
    """The notes lower than both that sound when the fingers move in this order."""
    signs = CHART[first]
    for finger in order:
        signs = flipped(signs, finger)
        if pitch(signs) < min(NOTES.index(first), NOTES.index(second)):
            yield sounds(signs)


def keeps(rule: str, order: tuple[int, ...]) -> bool:
    """Whether an order of the moves obeys the table's rule against the noise."""
    named, _, place = rule.rpartition(" ")
    if named.endswith(" hand"):
        right = [finger >= 4 for finger in order]
        return right == sorted(right, reverse=named == "right hand")
    held = {FINGERS.index(name) for name in named.split(", ")}
    taken = set(order[: len(held)] if place == "first" else order[-len(held) :])
    return taken == held


def changes_hands_once(order: tuple[int, ...]) -> bool:
    """Whether one hand's fingers have all moved before the other's begin."""
    right = [finger >= 4 for finger in order]
    return right in (sorted(right), sorted(right, reverse=True))


def stay_together(fingers: set[int], order: tuple[int, ...]) -> bool:
    """Whether these fingers move one right after the other, none else between them."""
    places = [order.index(finger) for finger in fingers]
    return max(places) - min(places) == len(fingers) - 1


def passed_through(
    first: str, second: str, orders: list[tuple[int, ...]], as_one: AbstractSet[int] = frozenset()
) -> set[str]:
    """The notes strictly between the two that sound while fingers move one by one.

    Nothing sounds between the moves of those fingers that move as one.
    """
    low, high = sorted((NOTES.index(first), NOTES.index(second)))
    passed = set()
    for order in orders:
        signs = CHART[first]
        for finger, following in pairwise(order):
            signs = flipped(signs, finger)
            if low < pitch(signs) < high and not {finger, following} <= as_one:
                passed.add(sounds(signs))
    return passed


def fingers_called(words: str, moving: list[int]) -> set[int]:
    """Which of the moving fingers the table names so."""
    for count in range(1, len(moving) + 1):
        for some in combinations(sorted(moving), count):
            if names(list(some)) == words:
                return set(some)
    raise AssertionError(words)


def test_the_printed_table_is_what_the_program_computes() -> None:
    assert GOLDEN.read_text("utf-8") == table_text()


def test_the_table_has_every_ordered_pair_once() -> None:
    assert [row["Pair"] for row in golden_rows()] == [f"{a} to {b}" for a, b in PAIRS]
    assert len(PAIRS) == 72


@pytest.mark.parametrize(("first", "second"), PAIRS)
def test_every_row_follows_from_the_chart(first: str, second: str) -> None:
    row = golden_rows()[PAIRS.index((first, second))]
    begin, end = CHART[first], CHART[second]
    lifts = [f for f in range(8) if (begin[f], end[f]) == ("1", "0")]
    closes = [f for f in range(8) if (begin[f], end[f]) == ("0", "1")]
    assert row["Lifts"] == names(lifts)
    assert row["Closes"] == names(closes)

    orders = list(permutations(lifts + closes))
    noises = {order: set(low_notes(first, second, order)) for order in orders}
    if row["Crossing noise"] == "-":
        assert not any(noises.values())
    else:
        heard, _, rule = row["Crossing noise"].partition(": ")
        obeying = [order for order in orders if keeps(rule, order)]
        by_hands, *lowest = heard.split(" or ")
        for note in (by_hands, *lowest):
            assert any(note in notes for notes in noises.values())
        reached = {note for notes in noises.values() for note in notes}
        assert min(reached, key=NOTES.index) == [by_hands, *lowest][-1]
        assert obeying
        assert not any(noises[order] for order in obeying)
        if rule.endswith("hand first"):
            other = "right" if rule.startswith("left") else "left"
            wrong = [order for order in orders if keeps(f"{other} hand first", order)]
            assert all(by_hands in noises[order] for order in wrong)

    rolled = {}
    for part in filter("-".__ne__, row["Rolling noise"].split(" / ")):
        heard, _, together = part.partition(": ")
        rolled[together] = set(heard.split(" or "))
    by_hand = [order for order in orders if changes_hands_once(order)]
    assert set().union(*rolled.values()) == passed_through(first, second, by_hand)
    for together, heard_notes in rolled.items():
        if together != "both hands":
            as_one = fingers_called(together, lifts + closes)
            kept = [order for order in by_hand if stay_together(as_one, order)]
            assert kept
            assert not heard_notes & passed_through(first, second, kept, as_one)

    unheard = [f for f in sorted(lifts + closes) if sounds(flipped(end, f)) == second]
    assert row["Silent"] == names(unheard)

    lifted = begin
    for finger in lifts:
        lifted = flipped(lifted, finger)
    count, _, steady = row["Hold"].partition(": ")
    assert int(count) == lifted.count("1")
    assert bool(steady) == (int(count) < 3)
    if steady:
        free = [f for f in closes if sounds(flipped(begin, f)) == first]
        assert steady.removesuffix(" first") in ([FINGERS[f] for f in free] or ["nothing"])


if __name__ == "__main__":
    GOLDEN.write_text(table_text(), "utf-8")
