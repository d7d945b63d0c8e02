"""Options for reading scores, which every command that reads an exercise has alike.

They say which part of an ABC, MusicXML or MIDI file is read and how; a definition is read as it is.
"""

from __future__ import annotations

import enum
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.errors import failure

if TYPE_CHECKING:
    from renderer.notation.written import Reading

_PANEL = "Reading scores (ABC, MusicXML, MIDI)"


class RestsName(enum.StrEnum):
    """What the chanter does at a rest."""

    SILENCE = "silence"
    HOLD = "hold"


PartOption = Annotated[
    str | None,
    typer.Option(
        "--part", help="The part or track, by name or number from 1.", rich_help_panel=_PANEL
    ),
]
TuneOption = Annotated[
    str | None,
    typer.Option(
        "--tune", help="ABC: the tune, by its X: number or title.", rich_help_panel=_PANEL
    ),
]
TransposeOption = Annotated[
    str,
    typer.Option(
        "--transpose",
        help="Semitones, or auto for the nearest that fits the nine notes.",
        rich_help_panel=_PANEL,
    ),
]
RestsOption = Annotated[
    RestsName,
    typer.Option(
        "--rests",
        case_sensitive=False,
        help="At a rest, stop the chanter or hold the note before.",
        rich_help_panel=_PANEL,
    ),
]
NoRepeatsOption = Annotated[
    bool,
    typer.Option(
        "--no-repeats",
        help="Read repeats and endings once instead of playing them out.",
        rich_help_panel=_PANEL,
    ),
]
GracenoteUnderOption = Annotated[
    str,
    typer.Option(
        "--gracenote-under",
        help="MIDI: notes shorter than this before longer ones are gracenotes.",
        rich_help_panel=_PANEL,
    ),
]

USUAL_GRACENOTE_UNDER = "80 ms"


def _transposition(text: str) -> int | None:
    """Return semitones, or None for `auto`."""
    if text.strip().casefold() == "auto":
        return None
    try:
        semitones = int(text)
    except ValueError:
        semitones = 99
    if abs(semitones) > 48:
        raise failure(
            f"{text!r} is no transposition",
            "write semitones up or down, such as 2 or -12, or auto",
            place="--transpose",
        )
    return semitones


def reading_of(
    part: str | None,
    tune: str | None,
    transpose: str,
    rests: RestsName,
    no_repeats: bool,
    gracenote_under: str,
) -> Reading:
    """Return what the options ask of a score; raise a `RungwiseError` for what they cannot mean."""
    from renderer.notation.definition.fields import WrongValueError, read_inner_length
    from renderer.notation.written import Reading

    if part is not None and tune is not None:
        raise failure("--part and --tune are both given", "a file has parts or tunes: give one")
    try:
        shortest = read_inner_length(gracenote_under)
    except WrongValueError as error:
        raise failure(error.cause, error.remedy, place="--gracenote-under") from None
    if shortest.is_share_of_beat:
        raise failure(
            f"{gracenote_under!r} is a share of the beat",
            f"write it in ms, such as '{USUAL_GRACENOTE_UNDER}'",
            place="--gracenote-under",
        )
    semitones = _transposition(transpose)
    return Reading(
        part=part if tune is None else tune,
        transpose="auto" if semitones is None else semitones,
        rests=rests.value,
        play_repeats=not no_repeats,
        gracenote_under_ms=float(shortest.value),
    )
