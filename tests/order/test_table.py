"""The table of settings is walked: what each row promises, every part of the program keeps."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
import typer.main

import renderer
from renderer.commands.app import app
from renderer.commands.options import option_of
from renderer.delivery.sheet.content import content_of
from renderer.delivery.sheet.layout import sheet_settings
from renderer.errors import RungwiseError
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.notation.written import Reading
from renderer.order.planning import practice_of
from renderer.order.setting_row import EVERY_NAME, NO_TRACK, READ, TRACKS, Setting
from renderer.order.settings import (
    BY_NAME,
    SETTINGS,
    Settings,
    every_plain,
    plain_settings,
    settings_from_plain,
    usual_settings,
)
from renderer.order.tracks import timeline_of, track_sizes
from renderer.reading.exercise import read_exercise
from renderer.technique.report import assess
from renderer.timing.data import timeline_data
from tests.delivery.larkmoor import asked

COMMANDS: dict[str, Any] = typer.main.get_command(app).commands  # type: ignore[attr-defined]

OTHER_THAN_USUAL: dict[str, Any] = {
    "line": 2,
    "lines": "2",
    "bars": "1",
    "lead_in": True,
    "tempo": "72.5",
    "ladder": "50:80:10",
    "climb": "40:60:10",
    "each_line": True,
    "pitch": ["B flat", 478],
    "mix": ["echo"],
    "format": ["wav", "flac"],
    "share": True,
    "chanter": "pipe",
    "scale": "MacNeill",
    "preset": "0:109",
    "drone_preset": "0:2",
    "drone": False,
    "metronome": False,
    "subdivide": True,
    "count_in": 3,
    "count_in_style": "rolls",
    "introduction": "E",
    "gap": 0,
    "repeats": 4,
    "gracenote": "40 ms",
    "placement": "before the beat",
    "gracenotes": "pure",
    "steady": True,
    "inner": "1/3 beat",
    "open_to_close": ["even", "1/4 beat", "120 ms", "80 ms"],
    "beat": "last",
    "show_crossing": True,
    "layout": "split",
    "room": "hall",
    "levels": {"drone": -12},
    "rate": 48_000,
    "part": "2",
    "tune": "Second",
    "transpose": "auto",
    "read_as": "chanter",
    "rests": "hold",
    "no_repeats": True,
    "gracenote_under": "60 ms",
    "recognise": "opened",
    "ornaments": "open",
    "tuning": "mts",
    "fingering": True,
    "advice": "all",
    "marks": "all",
    "counting": "ruler",
    "size": "large",
    "paper": "letter",
    "imposition": "cards",
    "explain": True,
    "landscape": True,
    "booklet": "First term",
    "audience": "Larkmoor juniors",
    "link": "https://example.org",
    "date": "2026-11-25",
    "minutes": 10,
    "days": 7,
    "playings": 20,
    "learner": "Jamie",
    "start": "2026-12-01",
    "at": "19:30",
    "gets": ["sheet"],
    "zip": True,
    "max_size": "16 MB",
}
"""A value of each setting that is not its default, as a user writes it; SoundFonts need files."""

OUTSIDE_THE_TABLE = {
    # Where what is made goes, and how a report of it is printed: no order has these.
    "--output",
    "--replace",
    "--tidy",
    "--dry-run",
    "--new",
    "--loop",
    "--device",
    "--why",
    "--watch",
    "--format",
    # What a verb of books asks of them, and no other verb.
    "--among",
    "--ornament",
    "--lines",
    "--pages",
    "--cover",
    "--help",
}


def rows(*, of: str) -> list[Setting]:
    return [row for row in SETTINGS if of in row.verbs]


@pytest.mark.parametrize("row", SETTINGS, ids=lambda row: row.name)
def test_each_row_says_all_that_is_asked_of_it(row: Setting) -> None:
    assert re.fullmatch(r"[a-z][a-z_]*", row.name)
    assert row.help.endswith(".")
    assert row.kind.bounds
    assert row.verbs <= set(COMMANDS)
    assert row.verbs
    # What names say is a matter of tracks alone.
    assert (row.said == NO_TRACK) == ("render" not in row.verbs)
    assert row.name in OTHER_THAN_USUAL or "soundfont" in row.name


@pytest.mark.parametrize("verb", sorted({verb for row in SETTINGS for verb in row.verbs}))
def test_a_verb_has_an_option_for_each_row_that_knows_it_and_no_other(verb: str) -> None:
    options = {
        name: parameter
        for parameter in COMMANDS[verb].params
        for name in parameter.opts
        if name.startswith("--")
    }
    known = {option_of(row): row for row in rows(of=verb)}
    assert set(options) - OUTSIDE_THE_TABLE == set(known) - OUTSIDE_THE_TABLE
    for name, row in known.items():
        assert options[name].help.startswith(row.help)


def test_whatever_tracks_differ_by_all_verbs_of_tracks_know() -> None:
    for row in SETTINGS:
        if row.said == NO_TRACK:
            assert not row.verbs & {"render", "events", "check"}, row.name
        elif row.name in ("format", "share"):
            # How a file is encoded, which a report has no say in; its own form is its --format.
            assert row.verbs == {"render", "pack"}
        else:
            assert row.verbs >= TRACKS, row.name
    for verb in COMMANDS:
        # A verb that counts tracks in speaks of them, and knows them whole; a page counts in too.
        if BY_NAME["count_in"] in rows(of=verb):
            assert verb in TRACKS | {"convert", "pack", "page"}


TWO_LINES = b"""
title = "Two lines"
meter = "3/4"
[[lines]]
run = "C, E, F"
[[lines]]
run = "low A, B, C"
ornament = "grip"
walk = true
[ornaments]
inner = "1/4 beat"
"""
OF_TRACKS = [
    row
    for row in SETTINGS
    if row.verbs >= TRACKS
    and row.name in OTHER_THAN_USUAL
    and (row.name == "line" or not row.verbs >= READ)
]
"""What tracks differ by, but for how scores are read, which a definition has no use for."""


def exercise_as(settings: Settings) -> Exercise:
    return settings.applied_to(settings.chosen(read_exercise(Source("two.toml", TWO_LINES))))


def checked(settings: Settings) -> object:
    exercise = exercise_as(settings)
    written = settings.chosen(read_exercise(Source("two.toml", TWO_LINES)))
    return track_sizes(written, settings, None), assess(exercise)


def planned(settings: Settings) -> object:
    made = practice_of(exercise_as(settings), settings)
    return [day.items for day in made.days], made.lines, (*made.remarks, *made.tracks)


def told(settings: Settings) -> object:
    if settings.ladder is not None or settings.each_line:
        with pytest.raises(RungwiseError, match=r"(?i)give one of them as --(tempo|line)"):
            timeline_of(exercise_as(settings), settings)
        return None
    return every_plain(settings, "events"), timeline_data(
        timeline_of(exercise_as(settings), settings)
    )


def printed(settings: Settings) -> object:
    content = content_of(exercise_as(settings), sheet_settings(settings), settings)
    return content.directions, content.tracks, content.facts, content.lines


@pytest.mark.parametrize("says", [checked, planned, told, printed])
def test_no_verb_takes_a_setting_of_tracks_without_a_use_for_it(
    says: Callable[[Settings], object],
) -> None:
    usual = says(asked())
    # A line that is practised alone has no other to be parted from; and how its notes are played is
    # nothing to a plan as long as they fit.
    useless = {"gap", "gracenote", "placement", "inner", "beat"} if says is planned else set()
    same = {
        row.name
        for row in OF_TRACKS
        if says(asked(**{row.name: OTHER_THAN_USUAL[row.name]})) == usual
    }
    assert same <= useless


@pytest.mark.parametrize("row", SETTINGS, ids=lambda row: row.name)
def test_each_row_is_a_keyword_a_key_and_a_value(row: Setting) -> None:
    if row.name not in OTHER_THAN_USUAL:
        return
    given = OTHER_THAN_USUAL[row.name]
    settings = asked(**{row.name: given})
    value = getattr(settings, row.name)
    assert value != row.default
    changed = [one.name for one in fields(Settings) if getattr(settings, one.name) != one.default]
    assert changed == [row.name]
    plain = plain_settings(settings)
    assert list(plain) == [row.key]
    assert settings_from_plain(plain) == settings
    # A value that was read already is read as itself.
    assert row.kind.read(value) == value


@pytest.mark.parametrize("row", SETTINGS, ids=lambda row: row.name)
@pytest.mark.parametrize(
    "nonsense",
    [object(), "\x00?", -1.5, [], {"a": 1}],
    ids=["an object", "controls", "minus 1.5", "a list", "a table"],
)
def test_nonsense_is_refused_in_words_at_its_place(row: Setting, nonsense: object) -> None:
    takes_any_text = row.kind.metavar in ("TEXT", "FILE") and not row.kind.choices
    if isinstance(nonsense, str) and takes_any_text and row.name != "transpose":
        return
    with pytest.raises(RungwiseError) as caught:
        asked(**{row.name: nonsense})
    assert {problem.place for problem in caught.value.problems} == {row.name}
    for problem in caught.value.problems:
        assert problem.cause
        assert problem.remedy


EVERYDAY = frozenset(
    [
        "at",
        "date",
        "days",
        "line",
        "link",
        "minutes",
        "part",
        "room",
        "scale",
        "share",
        "size",
        "start",
        "tune",
    ]
)
"""Words that stand for much else besides the settings of that name."""

OF_THEIR_OWN = {
    ("delivery/for_analysts.py", "gracenotes"),  # whether they are among the notes
    ("delivery/sheet/engraving.py", "gracenotes"),  # those of a column of notes
    ("delivery/sheet/pages.py", "audience"),  # a cover's line, empty for none
    # How scores are read is their readers' to say, and the table has it from there.
    ("reading/exercise.py", "recognise"),
}


def defaults_in(path: Path) -> Iterator[str]:
    """The names of public functions' parameters and of classes' fields that have a default."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            given = node.args
            placed = [*given.posonlyargs, *given.args]
            pairs: list[tuple[str, ast.expr | None]] = [
                *zip([one.arg for one in placed[::-1]], given.defaults[::-1], strict=False),
                *zip([one.arg for one in given.kwonlyargs], given.kw_defaults, strict=True),
            ]
        elif isinstance(node, ast.ClassDef):
            pairs = [
                (one.target.id, one.value)
                for one in node.body
                if isinstance(one, ast.AnnAssign) and isinstance(one.target, ast.Name)
            ]
        else:
            continue
        for name, default in pairs:
            # None asks for the default, it is none.
            if default is not None and ast.unparse(default) != "None":
                yield name


def test_defaults_of_settings_stand_in_the_table_alone() -> None:
    house = Path(renderer.__file__).parent
    found = {
        (path.relative_to(house).as_posix(), name)
        for room in ("timing", "reading", "sound", "order", "delivery")
        for path in (house / room).rglob("*.py")
        for name in defaults_in(path)
        if name in BY_NAME.keys() - EVERYDAY and path.name != "settings.py"
    }
    assert found == OF_THEIR_OWN, "take what is usual from the table, or say what the word means"
    assert Reading() == usual_settings().reading


def test_every_verb_has_defaults_that_its_rows_allow() -> None:
    for verb in COMMANDS:
        usual = usual_settings(verb)
        for row in rows(of=verb):
            value = getattr(usual, row.name)
            assert value is None or row.kind.read(value) == value


def test_python_knows_the_settings_by_their_names(tmp_path: Path) -> None:
    render: Any = renderer.render
    with pytest.raises(RungwiseError) as caught:
        render(Exercise("None", ()), tmp_path, **{row.name: object() for row in SETTINGS})
    assert {problem.place for problem in caught.value.problems} == {row.name for row in SETTINGS}


def test_what_every_name_says_is_what_tracks_of_one_order_differ_in() -> None:
    said = {row.name for row in SETTINGS if row.said == EVERY_NAME}
    assert said == {"tempo", "ladder", "climb", "each_line", "pitch", "mix", "format"}
