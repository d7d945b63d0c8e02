"""What the program advises can be done with the verb at hand: no sentence names what it lacks."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
import typer

from renderer.commands.app import app
from renderer.order.setting_row import PLAYED, SCORED

ROOMS = Path(__file__).parent.parent / "renderer"
OPTION = re.compile(r"--[a-z][a-z-]+")

VERBS_THAT_SAY = {
    # Whatever reads a score may be asked to read it otherwise.
    "--tune": SCORED,
    "--transpose": SCORED,
    "--read-as": SCORED,
    "--no-repeats": SCORED,
    "--gracenote-under": SCORED,
    # A tempo that is a list: `render takes` it, as the sentence says.
    "--ladder": {"render"},
    "--repeats": {"plan"},
    "--tempo": {"render", "events", "check", "sheet", "plan", "convert"},
    "--part": SCORED,
    "--replace": {"render", "demo", "audition", "sheet", "plan", "convert", "events", "expand",
                  "abridge", "coverage", "pack"},
    "--level": {"list"},
    "--movement": {"list"},
    "--time": {"list"},
    "--lines": {"abridge"},
    # What these name besides, whoever knows the one knows.
    "--climb": PLAYED,
    "--gap": PLAYED,
    "--inner": PLAYED,
    "--line": PLAYED,
    "--new": {"pack"},
    "--device": {"play"},
    "--port": {"serve", "open"},
    "--pages": {"abridge"},
    "--shortcut": {"open"},
}  # fmt: skip
"""Options that sentences outside `commands/` name, and the verbs that may come to say so."""


def texts(path: Path) -> list[str]:
    """The texts of a module that are no docstrings and no help."""
    tree = ast.parse(path.read_text("utf-8"))
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in alone
    ]


def named_options() -> dict[str, set[str]]:
    """Every option that a sentence outside `commands/` names, with the modules that do."""
    named: dict[str, set[str]] = {}
    for path in sorted(ROOMS.rglob("*.py")):
        place = path.relative_to(ROOMS)
        # Options of programs of our own beside the command line; `-o` is every verb's own matter.
        if place.parts[0] in ("commands", "cli.py") or place.name == "__main__.py":
            continue
        for text in texts(path):
            for option in OPTION.findall(text):
                named.setdefault(option, set()).add(str(place))
    # The table of settings gives its rows option names.
    named.pop("--for", None)
    # What a call has said, and not what it is to say.
    named.pop("--output", None)
    return named


def options_of(verb: str) -> set[str]:
    group = typer.main.get_command(app)
    command = group.commands[verb]  # type: ignore[attr-defined]
    return {name for parameter in command.params for name in parameter.opts}


def test_it_is_known_which_verbs_say_each_option_that_is_named() -> None:
    assert {name: places for name, places in named_options().items() if name not in VERBS_THAT_SAY
            } == {}  # fmt: skip


@pytest.mark.parametrize("option", sorted(VERBS_THAT_SAY))
def test_an_option_that_is_advised_is_there_in_every_verb_that_advises_it(option: str) -> None:
    for verb in sorted(VERBS_THAT_SAY[option]):
        assert option in options_of(verb), verb


def test_inner_notes_can_be_set_wherever_gracenotes_can() -> None:
    group = typer.main.get_command(app)
    for verb in group.commands:  # type: ignore[attr-defined]
        assert ("--inner" in options_of(verb)) == ("--gracenote" in options_of(verb)), verb


def test_scores_are_read_alike_by_every_verb_that_takes_an_exercise() -> None:
    group = typer.main.get_command(app)
    for verb, command in group.commands.items():  # type: ignore[attr-defined]
        takes_exercises = {"file", "files", "sources"} & {
            one.name for one in command.params if one.param_type_name == "argument"
        }
        # A pack's file names exercises, and says how they are read.
        assert bool(takes_exercises) == (verb in SCORED | {"pack"}), verb
