"""The constructs of the ABC music standard 2.1 (December 2011), one by one: what becomes of each.

A construct is *read*; or *passed over*, with a remark where the music loses by it; or *refused*,
where a chanter cannot play it or nobody can tell what was meant. Sections are those of the
standard; rows without one are what people type beyond it. What is read is given as this program
writes it, in `K:HP`.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from renderer.errors import RungwiseError
from renderer.notation.abc.writer import write_abc
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.reading.exercise import read_exercise


@dataclass(frozen=True)
class Row:
    """A construct: its section, the music, what is read of it, and what is said.

    `header` goes before `K:`, `key` is its value; `says` is part of the remark or of the refusal.
    """

    section: str
    what: str
    music: str
    read: str = ""
    says: str = ""
    header: str = ""
    key: str = "HP"
    tempo: int | None = 60

    def __str__(self) -> str:
        return f"{self.section} {self.what}".strip()


READ = (
    Row("2.2.5", "a comment", "A4 B4 % slow\n|c8|]", "A4 B4 | c8 |]"),
    Row("2.2.6", "a line that goes on in the next", "A4 \\\nB4|c8|]", "A4 B4 | c8 |]"),
    Row("3.1.6", "common time", "A8|]", "A8 |]", header="M:C"),
    Row("3.1.6", "cut time", "A8|]", "A8 |]", header="M:C|\nQ:1/2=60"),
    Row("3.1.6", "a meter of several parts", "A3 B2|]", "A3 B2 |]", header="M:(2+3)/8\nQ:1/8=60"),
    Row("3.1.6", "no meter", "A3|B5|]", "A6 | [M:5/4]B8- B2 |]", header="M:none\nL:1/4"),
    Row("3.1.7", "a unit length", "A4|]", "A8 |]", header="L:1/4"),
    Row("3.1.8", "a tempo", "A8|]", "A8 |]", header="Q:1/4=84", tempo=84),
    Row(
        "3.1.8", "a tempo with words", "A8|]", '"^""^Slow"A8 |]', header='Q:"Slow" 1/4=50', tempo=50
    ),
    Row("3.1.8", "a tempo of several notes", "A8|]", "A8 |]", header="Q:1/8 1/8=50", tempo=50),
    Row("3.1.14", "the key of the pipes", "c4 f4|]", "c4 f4 |]", key="Hp"),
    Row("3.1.14", "a key with the chanter's sharps", "c4 f4|]", "c4 f4 |]", key="Amix"),
    Row("3.1.14", "accidentals of the key", "c4 f4|]", "c4 f4 |]", key="A exp ^c ^f"),
    Row("3.2", "a field in a line", "A8|[M:2/4]B4|]", "A8 | [M:2/4]B4 |]"),
    Row("4.1", "octaves", "A4 c'4|]", says="c' is not on the chanter"),
    Row("4.2", "an accidental", "^c4 ^f4|]", "c4 f4 |]"),
    Row("4.3", "lengths", "A2 B/ c/ d3/2 e// e// f2 g|]", "A2 B/2c/2d3/2 e/4e/4 f2 g |]"),
    Row("4.4", "broken rhythm", "A>B c<d e2 f2|]", "A3/2B/2 c/2d3/2 e2 f2 |]"),
    Row("4.5", "a rest", "A4 z4|]", "A4 z4 |]"),
    Row("4.5", "an invisible rest", "A4 x4|]", "A4 z4 |]"),
    Row("4.5", "bars of rest", "A8|Z2|]", "A8 | z8 | z8 |]"),
    Row("4.6", "a clef", "A8|]", "A8 |]", key="HP clef=treble"),
    Row("4.7", "back-ticks among beams", "A2``B2 c4|]", "A2 B2 c4 |]"),
    Row("4.8", "a repeat", "|:A8|B8:|", "|: A8 | B8 :|"),
    Row("4.8", "two repeats back to back", "A8::B8:|", "A8 :|: B8 :|"),
    Row("4.8", "a double bar", "A8||B8|]", "A8 || B8 |]"),
    Row("4.8", "a part played three times", "|::A8::|", "|: A8 ::|"),
    Row("4.9", "endings", "A8|1 B8:|2 c8|]", "A8 | [1 B8 :| [2 c8 |]"),
    Row("4.9", "endings in brackets", "A8|[1 B8:|[2 c8|]", "A8 | [1 B8 :| [2 c8 |]"),
    Row(
        "4.10",
        "endings of several passes",
        "A8|1,3 B8:|2 c8|]",
        "A8 | [1,3 B8 :| [2 c8 |]",
    ),
    Row("4.11", "a tie in the bar", "A4-A4|]", "A8 |]"),
    Row("4.11", "a tie over the bar line", "A8-|A8|]", "A8- | A8 |]"),
    Row("4.11", "a slur", "(A4 B4)|]", "A4 B4 |]"),
    Row("4.12", "gracenotes", "{g}A4 {gBd}B4|]", "{g}A4 {gBd}B4 |]"),
    Row("4.12", "an acciaccatura", "{/g}A8|]", "{g}A8 |]"),
    Row("4.13", "a triplet", "(3ABc d2 e4|]", "(3:2:3ABc d2 e4 |]"),
    Row("4.13", "a tuplet in full", "(3:2:3ABc d2 e4|]", "(3:2:3ABc d2 e4 |]"),
    Row("4.14", "segno and fine", "!segno!A8|B8!fine!|]", "!segno!A8 | B8 !fine! |]"),
    Row("4.16", "a symbol of one's own", "A8|TB8|]", "A8 | B8 !fine! |]", header="U:T=!fine!"),
    Row("4.17", "a unison", "[AA]8|]", "A8 |]"),
    Row("4.19", "words over a note", 'A8|"^softly"B8|]', 'A8 | "^softly"B8 |]'),
    Row("9", "a macro", "~A4 B4|]", "{gAd}A4 B4 |]", header="m: ~A = {gAd}A"),
    Row(
        "9",
        "a macro for any note",
        "~A4 ~B4|]",
        "{BG}A2 A2 {cA}B2 B2 |]",
        header="m: ~n4 = {om}n2 n2",
    ),
    # Beyond the standard.
    Row("", "an ending at the start of a line", "A8|\n1 B8:|\n2 c8|]", "A8 | [1 B8 :| [2 c8 |]"),
    Row("", "an ending before the line's end", "A8|1 B8:|2\nc8|]", "A8 | [1 B8 :| [2 c8 |]"),
    Row("", "an ending inside a bar", "A4[1B4:|[2c4|]", "A4 | [1 B4 :| [2 c4 |]"),
    Row("", "a repeat sign with a space", "| :A8|B8: |", "|: A8 | B8 :|"),
    Row("", "a bar sign over a line's end", "A8|B8:\n|c8|]", "A8 | B8 :| c8 |]"),
    Row("", "a closing bar over a line's end", "A8|\n]\nB8|]", "A8 || B8 |]"),
    Row("", "a repeat that opens on the next line", "A8|\n:B8:|", "A8 |: B8 :|"),
    Row(
        "",
        "endings in words",
        'A8|"1st time"B8:|"2nd time"c8|]',
        "A8 | [1 B8 :| [2 c8 |]",
    ),
    Row("", "a chord of one note", "[A]8|[A2]4|]", "A8 | A8 |]"),
    Row("", "a meter without brackets", "A8|M:2/4 B4|]", "A8 | [M:2/4]B4 |]"),
    Row("", "cut time in a small letter", "A8|]", "A8 |]", header="M:c|\nQ:1/2=60"),
    Row("", "beats a minute", "A8|]", "A8 |]", header="Q:80 bpm", tempo=80),
    Row("", "a tempo that is about right", "A8|]", "A8 |]", header="Q:1/4=~80", tempo=80),
    Row("", "the pipes' key in full", "c4 f4|]", "c4 f4 |]", key="Hp exp ^f ^c"),
)

PASSED_OVER = (
    Row("2.2.4", "music behind an empty line", "A8|]\n\nB8|", "A8 |]", "not read: the empty line"),
    Row("3.1.8", "units a minute", "A8|]", "A8 |]", "units of 1/8", header="Q:120"),
    Row("3.1.9", "an order of parts not marked", "A8|]", "A8 |]", "names A, B", header="P:AB"),
    Row("4.14", "a decoration", "!trill!A8|]", "A8 |]", "Decorations"),
    Row("4.18", "a chord symbol", '"Am"A8|]', "A8 |]", "Chord symbols"),
    Row("4.19", "words under a note", '"_softly"A8|]', "A8 |]", "Annotations"),
    Row("5", "lyrics", "A8|]\nw:oh", "A8 |]", "Lyrics"),
    Row("7", "a second voice", "V:1\nA8|]\nV:2\nc8|]", "A8 |]", "Only the first voice"),
    Row("8.1", "signs that are kept free", "A4 * B4|]", "A4 B4 |]", "which ABC keeps free"),
    Row("", "a range of tempos", "A8|]", "A8 |]", "lower end", header="Q:1/4=70-80", tempo=70),
    Row("", "a tempo in words", "A8|]", "A8 |]", "names no number", header="Q:march"),
    Row("", "no tempo", "A8|]", "A8 |]", "Q: on line 5 is not read", header="Q:1/4=(60)"),
    Row("", "a tempo nobody plays", "A8|]", "A8 |]", "passed over", header="Q:1/4=1600"),
    Row("", "no meter of that kind", "A8|]", "A8 |]", "M: on line 4 is not read", header="M:x"),
    Row("", "no unit length", "A8|]", "A8 |]", "L: on line 6 is not read", header="L:quaver"),
    Row("", "no key of that name", "c8|]", "c8 |]", "K: on line 7 is not read", key="Q"),
    Row("", "no macro", "A8|]", "A8 |]", "m: on line 4 is not read", header="m:x"),
    Row(
        "",
        "meters that take turns",
        "A6|B9|]",
        "A6 | [M:9/8]B8- B |]",
        "each bar has the meter that it fills",
        header="M:6/8 9/8\nQ:3/8=60",
    ),
    Row("", "a tie into the next part", "A8-||\nA8|]", "A8 || A8 |]", "A tie into another part"),
    Row("", "a colon of no bar line", "A4:B4|]", "A4 B4 |]", "belongs to no bar line"),
    Row("", "gracenotes before a rest", "{g}z4 A4|]", "z4 A4 |]", "lead to a rest"),
    Row("", "gracenotes before nothing", "A8|{g}|]", "A8 |]", "Gracenotes after the last note"),
    Row("", "a bar that lacks a beat", "A8|B6|c8|]", "A8 | [|] B6 | c8 |]", "do not add up"),
)

REFUSED = (
    Row("4.17", "a chord", "[Ac]8|]", says="one note at a time"),
    Row("7.4", "a second voice in a bar", "A8 & c8|]", says="a chanter plays one voice"),
    Row("4.12", "a brace left open", "{gA8|]", says="is not closed"),
    Row("4.19", "a quotation mark left open", '"^softly A8|]', says="the text has no end"),
    Row("4.4", "broken rhythm before a bar line", "A4>|B4|]", says="has no second note"),
    Row("4.3", "a length of nothing", "A0 B8|]", says="a note has no length"),
    Row("", "a letter of no meaning", "A4 \\ B4|]", says="means nothing here"),
)


def read(row: Row) -> Exercise:
    letters = {line[0] for line in row.header.splitlines()}
    usual = {"M": "M:4/4", "L": "L:1/8", "Q": "Q:1/4=60"}
    header = [usual[letter] for letter in usual if letter not in letters]
    lines = ["%abc-2.1", "X:1", "T:Tune"]
    lines += sorted([*row.header.splitlines(), *header], key=lambda line: "MQL".find(line[0]))
    text = "\n".join([*lines, f"K:{row.key}", row.music]) + "\n"
    return read_exercise(Source("tune.abc", text.encode()))


def written(exercise: Exercise) -> str:
    return " ".join(write_abc(exercise).decode().split("K:HP\n")[1].split())


@pytest.mark.parametrize("row", [row for row in READ if row.read], ids=str)
def test_a_construct_is_read(row: Row) -> None:
    exercise = read(row)
    assert written(exercise) == row.read
    assert exercise.tempo == row.tempo
    assert exercise.remarks == ()


@pytest.mark.parametrize("row", PASSED_OVER, ids=str)
def test_a_construct_is_passed_over_with_a_remark(row: Row) -> None:
    exercise = read(row)
    assert written(exercise) == row.read
    assert row.says in " ".join(exercise.remarks)


@pytest.mark.parametrize("row", [*REFUSED, *(row for row in READ if row.says)], ids=str)
def test_a_construct_is_refused(row: Row) -> None:
    with pytest.raises(RungwiseError) as caught:
        read(row)
    assert row.says in str(caught.value)
