"""The command line's application: the table of verbs as a group whose commands are loaded late."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Annotated, Any

import typer
import typer.core
import typer.main

from renderer import __version__
from renderer.commands.verbs import VERBS, help_text

_CONTEXT = {"help_option_names": ["-h", "--help"]}


class _Loaded(Mapping[str, Any]):
    """The commands by their verbs; a verb's module is imported when it is first asked for."""

    def __init__(self) -> None:
        self._commands: dict[str, Any] = {}

    def __getitem__(self, verb: str) -> Any:
        if verb not in self._commands:
            module, _, function = VERBS[verb][0].partition(".")
            one = typer.Typer(
                add_completion=False,
                pretty_exceptions_enable=False,
                context_settings=_CONTEXT,
                rich_markup_mode="markdown",
            )
            one.command(verb)(getattr(import_module(f"renderer.commands.{module}"), function))
            self._commands[verb] = typer.main.get_command(one)
        return self._commands[verb]

    def __iter__(self) -> Iterator[str]:
        return iter(VERBS)

    def __len__(self) -> int:
        return len(VERBS)


class _Verbs(typer.core.TyperGroup):
    """The group of all verbs, with the help that needs none of them."""

    def __init__(self, **attributes: Any) -> None:
        super().__init__(**attributes)
        self.commands = _Loaded()  # type: ignore[assignment]

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Write the help of the table of verbs."""
        formatter.write(help_text())


app = typer.Typer(
    name="rungwise",
    cls=_Verbs,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings=_CONTEXT,
    rich_markup_mode="markdown",
)


def _print_version(asked: bool) -> None:
    if asked:
        typer.echo(f"rungwise {__version__}")
        raise typer.Exit


@app.callback()
def options(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_print_version, is_eager=True, help="Print the version and end."
        ),
    ] = False,
) -> None:
    """Take what may stand before a verb; nothing is left to do for it."""
