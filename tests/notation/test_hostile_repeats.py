"""Repeats, endings, jumps and orders that nobody means: read within bounds, or refused in words."""

from __future__ import annotations

import pytest

from renderer.errors import RungwiseError
from renderer.notation.limits import MOST_BARS
from renderer.notation.signs import MOST_PASSES
from renderer.notation.source_file import Source
from renderer.notation.written import Reading
from renderer.reading.exercise import read_exercise
from renderer.timing.order_of_playing import order_of_playing
from tests.limits import cpu_time

ABC = "X:1\nT:x\nM:4/4\nL:1/4\nK:HP\n"
MANY = 1000


def abc(code: str) -> Source:
    return Source("tune.abc", f"{ABC}{code}\n".encode())


def definition(code: str) -> Source:
    text = f'title = "x"\nmeter = "4/4"\n[[lines]]\nabc = "L:1/4 {code}"\n'
    return Source("tune.toml", text.encode())


def musicxml(*measures: str) -> Source:
    attributes = (
        "<attributes><divisions>1</divisions><time><beats>4</beats>"
        "<beat-type>4</beat-type></time></attributes>"
    )
    note = (
        "<note><pitch><step>A</step><octave>4</octave></pitch><duration>4</duration>"
        "<type>whole</type></note>"
    )
    bars = "".join(
        f'<measure number="{number}">{attributes * (number == 1)}'
        f"{signs.replace('NOTE', note) if 'NOTE' in signs else signs + note}</measure>"
        for number, signs in enumerate(measures, start=1)
    )
    return Source(
        "tune.musicxml",
        (
            '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>x</part-name>'
            f'</score-part></part-list><part id="P1">{bars}</part></score-partwise>'
        ).encode(),
    )


def repeat(direction: str, **times: str) -> str:
    side = "left" if direction == "forward" else "right"
    more = "".join(f' {name}="{value}"' for name, value in times.items())
    return f'<barline location="{side}"><repeat direction="{direction}"{more}/></barline>'


def played_bars(source: Source) -> int:
    with cpu_time():
        return sum(map(len, order_of_playing(read_exercise(source))))


@pytest.mark.parametrize(
    ("source", "bars"),
    [
        (abc("|:" * MANY + "A4" + ":|" * MANY), 2),
        (abc("|:A4" * MANY + ":|" * MANY), MANY + 1),
        (abc("|:A4" * MANY + "B4:|" * MANY), MANY - 1 + 2 * MANY),
        (definition("|:" * MANY + "A4" + ":|" * MANY), 2),
        (definition("|:A4" * MANY + ":|" * MANY), MANY + 1),
        (musicxml(*[repeat("forward")] * MANY, *["NOTE" + repeat("backward")] * MANY), 3001),
    ],
)
def test_repeats_a_thousand_deep_are_read_as_repeats_side_by_side(
    source: Source, bars: int
) -> None:
    """ABC and MusicXML know no repeat within a repeat: each sign goes back to the last one.

    The numbers of bars are worked out by hand.
    """
    assert played_bars(source) == bars


@pytest.mark.parametrize(
    "source",
    [
        abc("|:A4|[999 B4:|[1 c4|]"),
        abc("|:A4|[1-999 B4:|[2 c4|]"),
        abc("|:A4" + "".join(f"|[{number} B4:" for number in range(1, MANY)) + "|]"),
        abc("|:A4|[" + ",".join(map(str, range(1, MANY))) + " B4:|]"),
        abc("A4" + ":" * 999 + "|"),
        definition("|:A4|[999 B4:|[1 c4|]"),
        definition("|:A4|[1-999 B4:|[2 c4|]"),
        definition("A4" + ":" * 999 + "|"),
        musicxml(repeat("forward"), f"NOTE{repeat('backward', times='999999999')}"),
        musicxml(
            repeat("forward"),
            '<barline location="left"><ending number="1-999" type="start"/></barline>NOTE'
            f"{repeat('backward')}",
        ),
    ],
)
def test_endings_up_to_999_are_played_as_often_as_anyone_could_mean(source: Source) -> None:
    try:
        count = played_bars(source)
    except RungwiseError as error:
        assert all(problem.cause and problem.remedy for problem in error.problems)
    else:
        assert count <= MOST_PASSES * (MANY + 1)


FOR_EVER = "".join(
    f"!segno!!coda!A4!dacoda!!{jump}!|"
    for jump in ["D.C.", "D.C.alcoda", "D.S.", "D.S.alcoda", "D.C.alfine"] * 100
)


@pytest.mark.parametrize(
    "source",
    [
        abc(FOR_EVER),
        definition(FOR_EVER),
        abc("|:" + "A4|" * 2000 + "A4" + ":" * 98 + "|"),
        musicxml(
            *['<direction><sound dacapo="yes" coda="a" tocoda="a"/></direction>'] * MANY,
        ),
    ],
)
def test_codas_and_repeats_that_never_end_are_refused_and_can_be_played_once(
    source: Source,
) -> None:
    with cpu_time(), pytest.raises(RungwiseError, match="play out to more than") as caught:
        read_exercise(source)
    assert "--no-repeats" in str(caught.value)
    once = read_exercise(source, Reading(play_repeats=False))
    assert sum(map(len, order_of_playing(once))) <= MOST_BARS


@pytest.mark.parametrize(
    ("order", "said"),
    [
        ("[0]", "there is no line 0"),
        ("[-1]", "there is no line -1"),
        ("[2]", "there is no line 2"),
        ('["A"]', "order"),
        ("[" + "1," * 200_000 + "]", "more than"),
        ("1", "order"),
        ("[true]", "order"),
    ],
)
def test_an_order_of_lines_that_cannot_be_followed_is_refused(order: str, said: str) -> None:
    text = f'title = "x"\nmeter = "4/4"\norder = {order}\n[[lines]]\nabc = "A4"\n'
    with cpu_time(), pytest.raises(RungwiseError, match=said) as caught:
        read_exercise(Source("x.toml", text.encode()))
    assert len(str(caught.value)) < 500


def test_parts_that_repeat_each_other_without_end_are_refused() -> None:
    parts = "P:" + "(" * 8 + "A" + "9)" * 8 + "9\n"
    text = ABC.replace("K:HP\n", f"{parts}K:HP\n") + "P:A\nA4|]\n"
    with cpu_time():
        try:
            read_exercise(Source("tune.abc", text.encode()))
        except RungwiseError as error:
            assert "more than" in str(error)
