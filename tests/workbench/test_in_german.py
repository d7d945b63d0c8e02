"""What is wrong is said in German, too: all of it, and nothing that nobody says any more."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from renderer.errors import Problem, RungwiseError
from renderer.notation.definition.problems import every_table, keys_of
from renderer.notation.definition.reader import _Definition
from renderer.notation.source_file import Source
from renderer.order.pack_file import read_pack_file
from renderer.order.settings import SETTINGS
from renderer.reading.exercise import read_exercise
from renderer.sound.chanter_file import read_chanter
from renderer.workbench import in_german as module
from renderer.workbench.in_german import LONGEST, Row, Table, german_of, in_german
from renderer.workbench.said import plain_problem, said_text
from tests.workbench.sentences import HOLE, Sentences, constants, reached

TABLES: dict[str, dict[str, str]] = tomllib.loads(
    Path(module.__file__).with_name("german.toml").read_text("utf-8")
)
ENGLISH_HOLE = re.compile(r"\{([1-9])…?\}")

SAID_ELSEWHERE = {
    "workbench/hand_out.py": "said in the terminal, before there is a page",
    "technique/cautions.py": "has its German beside it",
}
"""What the workbench imports and no page shows as a problem, with why."""

NO_SENTENCES = {"on the beat", "before the beat", "in every name", "no track differs by it"}
"""Pairs of texts that are values of settings."""

KEPT = set(
    re.findall(
        r"\S+",
        """
    alcoda among an at B bar bpm bytes called chanter changes climb compressed day exercises
    falling form GB groups harmonic inner job kB keys known ladder learner learners line lines MB
    minute name names note out packs pages path pitches plain rising scale shipped soundfonts text
    title to turning utf-8 version XML Chanter Exercise
    """,
    )
)
"""Single words that come into holes and stay: keys, names of files and scales, units."""

KEPT_PHRASES = {
    "packed texts", "packed XML",  # forms, as their endings name them
    "{} MB", "{} TB", "80 ms", "B flat",
    "ornament-book.{}", "{}.toml", "<alter>", "<divisions>", "<duration>",
    " of {}", " and for {} after it", "another ", "gracenote ", "{} and {}",  # parts of others
}  # fmt: skip


@pytest.fixture(scope="module")
def trees() -> dict[str, ast.Module]:
    return reached()


@pytest.fixture(scope="module")
def sentences(trees: dict[str, ast.Module]) -> Sentences:
    return Sentences(trees)


def _said_here(places: set[str]) -> bool:
    return any(not place.startswith(tuple(SAID_ELSEWHERE)) for place in places)


def _template(english: str) -> str:
    return ENGLISH_HOLE.sub(HOLE, english)


def test_every_sentence_has_its_german(sentences: Sentences) -> None:
    known = {_template(english) for english in TABLES["sentences"]}
    assert len(sentences.whole) > 900
    missing = {
        template.replace(HOLE, "{}"): sorted(places)
        for template, places in sentences.whole.items()
        if template not in known | NO_SENTENCES and _said_here(places)
    }
    assert missing == {}


def test_every_word_of_ours_in_a_hole_has_its_german(sentences: Sentences) -> None:
    known = {_template(english) for name in ("words", "sentences") for english in TABLES[name]}
    with_them = "\n".join(known - sentences.whole.keys())
    missing = {
        shown: sorted(places)
        for template, places in sentences.words.items()
        if template not in known
        and template not in with_them
        and (shown := template.replace(HOLE, "{}")) not in KEPT | KEPT_PHRASES
        and _said_here(places)
    }
    assert missing == {}


def test_no_row_says_what_nobody_says_any_more(
    trees: dict[str, ast.Module], sentences: Sentences
) -> None:
    """Each row is a template, or is put together from a few pieces of text in the modules."""
    pieces = constants(trees.values())
    # Places are looked up part by part, without the commas before them.
    pieces |= {piece.removeprefix(", ") for piece in pieces}
    stale = [
        english
        for rows in TABLES.values()
        for english in rows
        if (template := _template(english)) not in sentences.whole
        and template not in sentences.words
        and not all(_is_made_of(piece, pieces) for piece in template.split(HOLE))
    ]
    assert stale == []


def _is_made_of(piece: str, pieces: set[str], most: int = 4) -> bool:
    """Whether a text is so many texts of the modules at most, one after the other."""
    if not re.search("[A-Za-z]", piece) or piece in pieces:
        return True
    return most > 1 and any(
        piece[:end] in pieces and _is_made_of(piece[end:], pieces, most - 1)
        for end in range(1, len(piece))
    )


@pytest.mark.parametrize(
    "said", ["the piper is asleep in bed", "this recording is a picture", "choose a new reed"]
)
def test_a_row_that_nobody_says_is_found(said: str, trees: dict[str, ast.Module]) -> None:
    assert not _is_made_of(said, constants(trees.values()))


@pytest.mark.parametrize("name", TABLES)
def test_each_hole_comes_back(name: str) -> None:
    """None is dropped or made up; what German puts together from two is told here."""
    dropped = {
        "the file ends after {1} of its {2} track{3}",  # the plural of `track`
        "{1} {2} gracenote",  # the article
    }
    for english, german in TABLES[name].items():
        holes = ENGLISH_HOLE.findall(english)
        assert holes == [str(number) for number in range(1, len(holes) + 1)], english
        back = set(re.findall(r"[{<]([1-9])[}>]", german))
        assert back == set(holes) or (english in dropped and back < set(holes)), english


ODD = ("", "7", "'Ä, x'", '["a", "b"]', "\N{RIGHT-TO-LEFT MARK}", "<1>", "{2}", "GRIFF, GRIFF")


def test_what_stands_in_holes_comes_back_as_it_was_in_the_order_of_the_german() -> None:
    table = Table(TABLES["sentences"])
    for english, german in TABLES["sentences"].items():
        holes, this = ENGLISH_HOLE.findall(english), Row(english, german)
        # What stands between two holes cannot be told from what is in them.
        odd = [one for one in ODD if not any(map(one.count, filter(None, this.pieces)))]
        for shift in range(len(odd)):
            values = [*odd[shift:], *odd[:shift]][: len(holes)]
            text = filled(english, values)
            found = table.found(text)
            assert found is not None, text
            row, back = found
            if row.rank > this.rank:
                continue  # another sentence that is closer to it
            assert (row.german, back) == (german, values), text
            if "<" not in german:
                assert german_of(text) == filled(german, values)


def filled(template: str, values: list[str]) -> str:
    return ENGLISH_HOLE.sub(lambda hole: values[int(hole[1]) - 1], template)


def test_the_sentence_with_most_words_of_its_own_is_taken() -> None:
    assert german_of("there is no ornament 'grup'") == "es gibt keine Bewegung 'grup'"
    assert german_of("there is no print size 'huge'") == "es gibt die Druckgröße 'huge' nicht"
    # A movement's name may have a word of the sentence in it.
    assert german_of("there is no throw on D on low A") == "es gibt throw on D auf low A nicht"


def test_words_of_ours_in_holes_are_german_and_names_stay() -> None:
    shown = in_german(
        Problem(
            "the note is 33.4 ms too short at 60 beats a minute for the doubling and for the grip "
            "after it (gracenotes at least 20 ms, inner notes at least 25 ms)",
            "it fits up to 50 beats a minute; play it slower, or shorten the inner notes",
            "line 3, bar 2, note 1 (low A), and 3 more notes",
            "Grip and birl.toml",
        )
    )
    assert str(shown) == (
        "Grip and birl.toml: Zeile 3, Takt 2, Ton 1 (low A), und 3 weitere Töne: "
        "der Ton ist bei 60 Schlägen in der Minute um 33.4 ms zu kurz für die Bewegung doubling "
        "und für die Bewegung grip danach (Vorschläge mindestens 20 ms, innere Töne mindestens "
        "25 ms). Es passt bis 50 Schläge in der Minute; spiele es langsamer, oder kürze die "
        "inneren Töne."
    )
    assert said_text(
        "Larkmoor.toml: Line 3: Doubling on D coming from low A cannot be played "
        "(a D gracenote cannot be heard on D): half doubling instead."
    )["de"] == (
        "Larkmoor.toml: Zeile 3: Doubling auf D, von low A kommend, geht nicht "
        "(ein Vorschlag D ist auf D nicht zu hören): stattdessen half doubling."
    )


def test_what_has_no_german_stays_english_as_a_whole() -> None:
    told = plain_problem(Problem("the run has no notes", "whistle it", "lines[1].run", "x.toml"))
    assert told["said"] == {"en": "lines[1].run: the run has no notes. Whistle it.", "de": None}
    assert german_of("Larkmoor: whistle it") is None
    assert german_of("whistle it; whistle it") is None
    assert german_of("") == ""


@pytest.mark.parametrize(
    "hostile",
    [
        "write " * 10_000,
        "; ".join(["write it"] * 2_000),
        " and ".join(["the run has no notes"] * 150),
        ": " * 1_900,
        "Line 1: " * 480,
        " is no  of  is not " * 200,
    ],
    ids=lambda text: text[:8],
)
def test_a_long_text_is_looked_at_once_a_piece(
    hostile: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However it repeats what stands around holes, nothing is tried again and again."""
    looked: list[int] = []
    found = Table.found

    def counted(self: Table, text: str) -> Any:
        looked.append(len(text))
        return found(self, text)

    monkeypatch.setattr(Table, "found", counted)
    german_of.__wrapped__(hostile)
    in_german(Problem("the run has no notes", "write it", hostile))
    assert sum(looked) < 100 * LONGEST


# Problems as files bring them about

VALUES = (
    "3", "-1", "99999999", "true", '"foo"', '""', "[]", '["x"]', "[[1]]", "{ a = 1 }", "1.5", "nan",
    "2026-01-01", '"3/4x"', '"45 ms"', '"low A, H, K"', '"low A B"', '"g"', "[1, 2, 99]",
    '"1/0 beat"', '"3 beat"', '"5 ms"', "low A", '"a', "90,5", "\N{LEFT DOUBLE QUOTATION MARK}x",
)  # fmt: skip
LINE = '[[lines]]\nrun = "low A, B, D"\n'
SLIPS = (
    '[lines]\nrun="A"\n', '[[lines]]\nrun="A"\nrun="B"\n', "[x\n", "title = \n", 'title "x"\n',
    'the title = "x"\n', "A B D\n", "X:1\nK:HP\nA\n", 'title = "x" y\n', "title = 'it's'\n",
    'title = "a "b" c"\n', "tempo = 60 bpm\n", "tempo = sixty\n", "a = [1,\n[[lines]]\n",
    "b = {a = 1\n", 'title = "x\\y"\n', "plain = True\n", 'tempo = 60 title = "x"\n',
    ".".join("abcdefghijklmnopqr") + " = 1\n", "[gracenotes]\n[gracenotes]\n", "",
)  # fmt: skip
ABC = (
    "A2 A2", "A2 | [AB]", "{g", "{g}", "A & B", "^G2 B,", '"x', "|: A2 :|3 B", "(3AB", "A>", "zz",
    "[K:C]A", "P:AB\nA", "w: la", "A99", "C,D,", "$", "!coda!A !D.C.!", "{g}A2{d}", "A B c d e f",
    "M:x\nA", "[M:7/9]A2 A2", "[Q:foo] A", "{g}z2", "{gx}A", "=c d",
)  # fmt: skip


def definitions() -> Iterator[str]:
    for where, table in every_table(_Definition):
        heading = re.search(r"under (\[+[\w.-]+\]+)", where)
        for key in [*keys_of(table), "tittle", "Title", "tempo", "nonsense"]:
            for value in VALUES:
                if where.startswith("at the top"):
                    yield f"{key} = {value}\n{LINE}"
                elif heading and heading[1] == "[[lines]]":
                    yield f"{LINE}{key} = {value}\n"
                elif heading:
                    yield f"{LINE}{heading[1]}\n{key} = {value}\n"
    for pattern in ("runs", "scale", "against"):
        for key in ("span", "direction", "notes", "among", "limit", "step", "from", "to", "others"):
            yield from (f"[[lines]]\n{pattern} = {{ {key} = {value} }}\n" for value in VALUES)
    more = (
        "", "walk = true", 'on = "first"', 'on = "high A"', 'rhythm = "dot-cut"',
        'inner = "1/2 beat"', 'inner = ["50 ms", "1/4 beat"]', 'gracenote = "1/4 beat"',
    )  # fmt: skip
    for ornament in ("doublin", "doubling", "doubling D", "throw on D", "taorluath"):
        for run in ("low A, B, D", "D, E, high A, high G", "low G, low A", "C, D"):
            for words in more:
                for how in ("replace", "error"):
                    yield (
                        f'impossible = "{how}"\ntempo = 300\n[[lines]]\nrun = "{run}"\n'
                        f'ornament = "{ornament}"\n{words}\n'
                    )
    yield from (f"meter = \"4/4\"\n[[lines]]\nabc = '''{one}'''\n" for one in ABC)
    yield from SLIPS


def scores() -> Iterator[tuple[str, bytes]]:
    for head in ("X:1\nT:a\nM:4/4\nL:1/8\nK:HP\n", "X:1\nK:D\n", "X:1\nM:foo\nK:HP\n", ""):
        yield from (("x.abc", f"{head}{body}\n".encode()) for body in ABC)
    for name in ("x.mid", "x.musicxml", "x.mxl", "x.abc", "x.toml", "x.txt", "x.foo", "x"):
        for data in (b"MThd", b"RIFF", b"<a/>", b"<score-partwise/>", b"PK", b"\xff\xfea", b"\0",
                     b'<!DOCTYPE a [<!ENTITY x "y">]><a/>', b"\xe9\n",
                     b"MThd\0\0\0\6\0\2\0\1\0\x60",
                     b"MThd\0\0\0\6\0\1\0\2\0\x60MTrk\0\0\0\x09\0"):  # fmt: skip
            yield name, data


def packs() -> Iterator[str]:
    base = 'exercises = ["first-gracenotes"]\n'
    learner = '[[learners]]\nname = "Jamie"\n'
    for row in SETTINGS:
        yield from (f"{base}{row.key} = {value}\n{learner}" for value in VALUES)
    for value in VALUES:
        yield f"exercises = {value}\n"
        yield f"{base}learners = {value}\n"
        yield f"{base}[[learners]]\nname = {value}\n"
        yield f'{base}[[groups]]\nname = "g"\nlearners = {value}\n'
        yield f"exercises = [{{ file = {value} }}]\n{learner}{learner}"
    yield f'{base}[[learners]]\nname = "a/b"\n[[learners]]\nname = "A"\n[[learners]]\nname = "a"\n'
    yield f'exercises = [{{ file = "first-gracenotes", for = ["Jamies"] }}]\n{learner}'
    yield f'{base}tempo = 60\nladder = "50:80:10"\nclimb = true\npitch = "A"\n{learner}'
    yield LINE


def chanters() -> Iterator[str]:
    keys = ("name", "scale", "notes", "drones", "measured", "foo", "notes.C", "notes.H",
            "drones.bass", "drones.tenors", "measured.on", "measured.at")  # fmt: skip
    for value in VALUES:
        yield f"low-a = {value}\n"
        yield from (f"low-a = 476\n{key} = {value}\n" for key in keys)
    yield 'low-a = 476\n[notes]\nB = "-300 cents"\nC = 300\n'


def found_problems() -> Iterator[Problem]:
    def of(read: Any, *given: Any, **more: Any) -> tuple[Problem, ...]:
        try:
            read(*given, **more)
        except RungwiseError as error:
            return error.problems
        except tomllib.TOMLDecodeError:
            pass
        return ()

    for text in definitions():
        yield from of(read_exercise, Source("x.toml", text.encode()))
    for name, data in scores():
        yield from of(read_exercise, Source(name, data))
    for text in packs():
        yield from of(read_pack_file, Source("x.toml", text.encode()))
    for text in chanters():
        yield from of(lambda one: read_chanter(tomllib.loads(one), file="x.toml"), text)


OURS = re.compile(
    r"(?<![-\w.])(the|is|are|of|and|or|with|write|it|has|have|there|no|not|this|its|be|one|which|"
    r"would|cannot|a [a-z]{3,})(?![-\w])"
)
QUOTED = re.compile(r"'[^']*'|`[^`]*`|\"[^\"]*\"|\[[^\]]*\]|\{[^}]*\}|on the beat|before the beat")


def test_whatever_is_wrong_with_a_file_is_said_in_german() -> None:
    problems = dict.fromkeys(found_problems())
    assert len(problems) > 2_500
    unsaid = [str(one) for one in problems if in_german(one) is None]
    assert unsaid == []
    mixed = {}
    for one in problems:
        german = in_german(one)
        assert german is not None
        for said in (german.cause, german.remedy):
            # Of a name that may be any words, and of what another program says, nothing is known.
            left = OURS.findall(
                re.sub(
                    r"throw on D|\((File is not a zip file|not well-formed.*)\)",
                    "",
                    QUOTED.sub("", said),
                )
            )
            if left and "gib" not in said and "the-title" not in said:
                mixed[said] = left
    assert mixed == {}


def test_problems_are_sentences_without_a_full_stop_and_remarks_have_one() -> None:
    for english, german in TABLES["sentences"].items():
        ends = english[-1] in ".)"
        assert (german[-1] == ".") == (english[-1] == "."), english
        assert german[:1].isupper() == english[:1].isupper() or not ends, english
