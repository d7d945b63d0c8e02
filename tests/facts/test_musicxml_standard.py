"""The constructs of MusicXML 4.0 (W3C, June 2021), one by one: what becomes of each.

A construct is *read*; or *passed over*, with a remark where the music loses by it; or *refused*,
where a chanter cannot play it or nobody can tell what was meant. Rows are named after elements of
the standard's reference, w3c.github.io/musicxml. What is read is given in ABC, as this program
writes it. A row without a remark says so: the element tells a page or a synthesizer something, and
nothing of which note sounds when.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import pytest

from renderer.errors import RungwiseError
from renderer.notation.abc.writer import write_abc
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.reading.exercise import read_exercise

Outcome = Literal["read", "passed over", "refused"]


def note(name: str, quarters: float = 1, inside: str = "", *, before: str = "") -> str:
    """A note such as `C#5`, its length in quarters; `before` goes first, `inside` after length."""
    alter = "<alter>1</alter>" if "#" in name else ""
    pitch = f"<pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"
    length = f"<duration>{round(quarters * 12)}</duration>" if quarters else ""
    return f"<note>{before}{pitch}{length}{inside}</note>"


def direction(inside: str, sound: str = "") -> str:
    return f"<direction><direction-type>{inside}</direction-type>{sound}</direction>"


def barline(inside: str, location: str = "right") -> str:
    return f'<barline location="{location}">{inside}</barline>'


def attributes(inside: str) -> str:
    return f"<attributes>{inside}</attributes>"


A, B, C, D = note("A4"), note("B4"), note("C#5"), note("D5")
BAR = A + B
GRACE = note("G5", 0, before="<grace/>")
BACK = "<backup><duration>24</duration></backup>"
NOTHING = "<duration>0</duration>"
REPEAT = '<repeat direction="{}"/>'


@dataclass(frozen=True)
class Row:
    """An element, the music of one bar of 2/4 or of several, what is read of it, and said."""

    what: str
    bars: tuple[str, ...]
    outcome: Outcome
    read: str = "A2 B2 |]"
    says: str = ""
    head: str = ""
    tempo: int = 60

    def __str__(self) -> str:
        return self.what


def row(what: str, outcome: Outcome, *bars: str, **rest: object) -> Row:
    return Row(what, bars, outcome, **rest)  # type: ignore[arg-type]


PLAIN: Outcome = "passed over"
ROWS = (
    # Of the whole score
    row("work-title", "read", BAR, head="<work><work-title>Tune</work-title></work>"),
    row("part-group", PLAIN, BAR),
    row("credit", PLAIN, BAR, head="<credit><credit-words>page 1</credit-words></credit>"),
    row("defaults", PLAIN, BAR, head="<defaults/>"),
    # attributes
    row("divisions", "read", attributes("<divisions>24</divisions>") + note("A4", 4), read="A4 |]"),
    row("key", "read", attributes("<key><fifths>2</fifths></key>") + note("C#5", 2), read="c4 |]"),
    row("clef", PLAIN, attributes("<clef><sign>G</sign><line>2</line></clef>") + BAR),
    row("staves", PLAIN, attributes("<staves>1</staves>") + BAR),
    row("transpose", PLAIN, attributes("<transpose><chromatic>1</chromatic></transpose>") + BAR),
    row(
        "time of several parts",
        "read",
        attributes("<time><beats>2+3</beats><beat-type>8</beat-type></time>") + note("A4", 2.5),
        read="A4- A |]",
        tempo=120,  # its beat is a quaver
    ),
    row(
        "senza-misura",
        "read",
        attributes("<time><senza-misura/></time>") + note("A4", 3),
        read="A6 |]",
    ),
    row(
        "measure-repeat",
        "read",
        BAR,
        attributes('<measure-style><measure-repeat type="start">1</measure-repeat></measure-style>')
        + '<note><rest measure="yes"/><duration>24</duration></note>',
        read="A2 B2 | A2 B2 |]",
    ),
    # note
    row("grace", "read", GRACE + note("A4", 2), read="{g}A4 |]"),
    row("rest", "read", A + "<note><rest/><duration>12</duration></note>", read="A2 z2 |]"),
    row("dot and type", "read", note("A4", 1.5) + note("B4", 0.5), read="A3 B |]"),
    row(
        "time-modification",
        "read",
        "".join(
            note(
                name,
                1 / 3,
                "<type>eighth</type><time-modification><actual-notes>3</actual-notes>"
                "<normal-notes>2</normal-notes></time-modification>",
            )
            for name in ("A4", "B4", "C#5")
        )
        + D,
        read="(3:2:3ABc d2 |]",
    ),
    row("tie", "read", A + note("A4", 1, '<tie type="stop"/>'), read="A4 |]"),
    row(
        "tied over the bar line",
        "read",
        BAR,
        note("B4", 2, '<notations><tied type="stop"/></notations>'),
        read="A2 B2- | B4 |]",
    ),
    row("slur", PLAIN, note("A4", 1, '<notations><slur type="start"/></notations>') + B),
    row("beam, stem", PLAIN, note("A4", 1, "<stem>down</stem>") + B),
    row("forward", "read", A + "<forward><duration>12</duration></forward>", read="A2 z2 |]"),
    row("chord", "refused", A + note("C#5", before="<chord/>") + B, says="two notes or more sound"),
    row(
        "unpitched",
        "refused",
        "<note><unpitched/><duration>24</duration></note>",
        says="a note has no pitch",
    ),
    row(
        "alter of a quarter tone",
        "refused",
        A.replace("</step>", "</step><alter>0.5</alter>") + B,
        says="a quarter tone above A4",
    ),
    row(
        "grace before a rest",
        "refused",
        A + GRACE + "<note><rest/><duration>12</duration></note>",
        says="gracenotes lead to a rest",
    ),
    row("grace behind the last note", PLAIN, BAR + GRACE, says="Gracenotes after the last note"),
    row("cue", PLAIN, BAR + BACK + note("E5", 2, before="<cue/>")),
    row("lyric", PLAIN, note("A4", 1, "<lyric><text>oh</text></lyric>") + B, says="Lyrics"),
    row(
        "ornaments",
        PLAIN,
        note("A4", 1, "<notations><ornaments><trill-mark/></ornaments></notations>") + B,
        says="Decorations",
    ),
    row(
        "fermata", PLAIN, note("A4", 1, "<notations><fermata/></notations>") + B, says="Decorations"
    ),
    row(
        "backup to a second voice",
        PLAIN,
        BAR + BACK + note("E5", 2, "<voice>2</voice>"),
        says="Only the first voice",
    ),
    row("a note of no length", PLAIN, note("E5", 0, NOTHING) + BAR, says="Notes of no length"),
    # direction and sound
    row("words", "read", direction("<words>softly</words>") + BAR, read='"^""^softly"A2 B2 |]'),
    row(
        "rehearsal",
        "read",
        BAR,
        direction("<rehearsal>B</rehearsal>") + BAR,
        read='A2 B2 || "^B"A2 B2 |]',
    ),
    row("segno", "read", direction("<segno/>") + BAR, read="!segno!A2 B2 |]"),
    row("coda", "read", BAR, direction("<coda/>") + BAR, read="A2 B2 | !coda!A2 B2 |]"),
    row("sound fine", "read", BAR + '<sound fine="yes"/>', read="A2 B2 !fine! |]"),
    row("sound dacapo", "read", BAR + '<sound dacapo="yes"/>', read="A2 B2 !D.C.! |]"),
    row("sound tempo", "read", '<sound tempo="84"/>' + BAR, tempo=84),
    row(
        "metronome",
        "read",
        direction(
            "<metronome><beat-unit>eighth</beat-unit><per-minute>144</per-minute></metronome>"
        )
        + BAR,
        tempo=72,
    ),
    row(
        "metronome without a number",
        PLAIN,
        direction(
            "<metronome><beat-unit>quarter</beat-unit><per-minute>fast</per-minute></metronome>"
        )
        + BAR,
        says="The metronome mark in bar 1 is not read",
    ),
    row("a tempo nobody plays", PLAIN, '<sound tempo="1600"/>' + BAR, says="is passed over"),
    row("a tempo that is no number", PLAIN, '<sound tempo="x"/>' + BAR, says="is not read"),
    row("dynamics, wedge", PLAIN, direction("<dynamics><f/></dynamics>") + BAR),
    row("harmony", PLAIN, "<harmony/>" + BAR, says="Chord symbols"),
    row("figured-bass", PLAIN, "<figured-bass/>" + BAR),
    row("listening, bookmark, link", PLAIN, "<listening/><bookmark/><link/>" + BAR),
    # barline and print
    row(
        "repeat",
        "read",
        barline(REPEAT.format("forward"), "left") + BAR + barline(REPEAT.format("backward")),
        read="|: A2 B2 :|",
    ),
    row(
        "repeat times",
        "read",
        BAR + barline('<repeat direction="backward" times="3"/>'),
        read="A2 B2 ::|",
    ),
    row(
        "ending",
        "read",
        BAR,
        barline('<ending number="1" type="start"/>', "left")
        + BAR
        + barline('<ending number="1" type="stop"/>' + REPEAT.format("backward")),
        barline('<ending number="2" type="start"/>', "left")
        + BAR
        + barline('<ending number="2" type="discontinue"/>'),
        read="A2 B2 | [1 A2 B2 :| [2 A2 B2 |]",
    ),
    row(
        "bar-style",
        "read",
        BAR + barline("<bar-style>light-light</bar-style>"),
        BAR,
        read="A2 B2 || A2 B2 |]",
    ),
    row("print", PLAIN, '<print new-system="yes"/>' + BAR),
    row("an implicit, short first bar", "read", A, BAR, read="A2 | A2 B2 |]"),
    row("a bar that is too long", "read", BAR + C, read="A2 B2 c2 |]", says="is longer than 2/4"),
)


def read(row: Row) -> Exercise:
    first = attributes(
        "<divisions>12</divisions><time><beats>2</beats><beat-type>4</beat-type></time>"
    )
    if "tempo" not in row.bars[0] and "metronome" not in row.bars[0]:
        first += '<sound tempo="60"/>'
    bars = "".join(
        f'<measure number="{number}">{first if number == 1 else ""}{bar}</measure>'
        for number, bar in enumerate(row.bars, start=1)
    )
    score = (
        f'<score-partwise version="4.0">{row.head}<part-list><part-group type="start"/>'
        f'<score-part id="P1"><part-name>Chanter</part-name></score-part></part-list>'
        f'<part id="P1">{bars}</part></score-partwise>'
    )
    return read_exercise(Source("Tune.musicxml", score.encode()))


def written(exercise: Exercise) -> str:
    body = write_abc(exercise).decode().split("K:HP\n")[1]
    return " ".join(body.replace("[I:setbarnb 1]", "").split())


@pytest.mark.parametrize("row", [row for row in ROWS if row.outcome != "refused"], ids=str)
def test_a_construct_is_read_or_passed_over(row: Row) -> None:
    exercise = read(row)
    assert written(exercise) == row.read
    assert exercise.tempo == row.tempo
    assert exercise.title == "Tune"
    said = [remark for remark in exercise.remarks if "has no tempo mark" not in remark]
    assert len(said) == bool(row.says)
    assert row.says in " ".join(said)


@pytest.mark.parametrize("row", [row for row in ROWS if row.outcome == "refused"], ids=str)
def test_a_construct_is_refused(row: Row) -> None:
    with pytest.raises(RungwiseError) as caught:
        read(row)
    assert row.says in str(caught.value)


def test_a_score_by_time_is_read_as_one_by_parts() -> None:
    """score-timewise: measures hold parts, not parts measures."""
    bar = attributes("<divisions>12</divisions>") + '<sound tempo="60"/>' + BAR
    score = (
        '<score-timewise><part-list><score-part id="P1"><part-name>x</part-name></score-part>'
        f'</part-list><measure number="1"><part id="P1">{bar}</part></measure></score-timewise>'
    )
    assert written(read_exercise(Source("t.xml", score.encode()))) == "A2 B2 |]"


def test_an_opus_is_refused_as_no_score() -> None:
    with pytest.raises(RungwiseError, match=r"no MusicXML score \(its root is <opus>\)"):
        read_exercise(Source("t.xml", b"<opus/>"))
