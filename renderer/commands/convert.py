"""`rungwise convert`: an exercise from one written form to another."""

from __future__ import annotations

import enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands.options import output_console, refuse_to_replace
from renderer.errors import failure

if TYPE_CHECKING:
    from renderer.notation.printed import Opened


class OrnamentForm(enum.StrEnum):
    """How ornaments are written in scores."""

    CLOSED = "closed"
    OPEN = "open"
    AS_WRITTEN = "as written"


class TuningName(enum.StrEnum):
    """How a MIDI file says the tuning."""

    MTS = "mts"
    BEND = "bend"
    NONE = "none"


class RestsName(enum.StrEnum):
    """What the chanter does at a rest."""

    SILENCE = "silence"
    HOLD = "hold"


def transposition(text: str) -> int | None:
    """Read `--transpose`: semitones, or None for `auto`; raise a `RungwiseError` otherwise."""
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


def convert(
    source: Annotated[
        Path,
        typer.Argument(
            metavar="IN", help="A definition, ABC, MusicXML or MIDI file, or a shipped exercise."
        ),
    ],
    target: Annotated[
        Path,
        typer.Argument(
            metavar="OUT", help="The file to write: .toml, .abc, .musicxml, .xml, .mxl or .mid."
        ),
    ],
    part: Annotated[
        str | None, typer.Option(help="The part or track to read, by name or number from 1.")
    ] = None,
    tune: Annotated[
        str | None, typer.Option(help="ABC: the tune to read, by its X: number or title.")
    ] = None,
    transpose: Annotated[
        str, typer.Option(help="Semitones, or auto for the nearest that fits the nine notes.")
    ] = "0",
    rests: Annotated[
        RestsName, typer.Option(help="At a rest, stop the chanter or hold the note before.")
    ] = RestsName.SILENCE,
    repeats: Annotated[
        bool, typer.Option("--repeats/--no-repeats", help="Play repeats and endings out.")
    ] = True,
    gracenote_under: Annotated[
        str, typer.Option(help="MIDI in: shorter notes before longer ones are gracenotes.")
    ] = "80 ms",
    ornaments: Annotated[
        OrnamentForm,
        typer.Option(help="Scores out: as gracenote groups, opened into notes, or as played."),
    ] = OrnamentForm.CLOSED,
    pitch: Annotated[
        str, typer.Option(help="A, B flat, or low A in hertz in the pipe chanter's octave.")
    ] = "A",
    scale: Annotated[str, typer.Option(help="equal, MacNeill or harmonic.")] = "harmonic",
    chanter: Annotated[str, typer.Option(help="practice or pipe.")] = "practice",
    tuning: Annotated[
        TuningName, typer.Option(help="MIDI out: tuning messages, pitch bend, or neither.")
    ] = TuningName.BEND,
    tempo: Annotated[
        float | None,
        typer.Option(help="MIDI out: beats per minute; the exercise's own if left out."),
    ] = None,
    count_in: Annotated[int, typer.Option(help="MIDI out: bars of count-in.")] = 0,
    drone: Annotated[bool, typer.Option("--drone/--no-drone", help="MIDI out: drones.")] = True,
    metronome: Annotated[
        bool, typer.Option("--metronome/--no-metronome", help="MIDI out: clicks through the track.")
    ] = True,
) -> None:
    """Write an exercise in another form: definition, ABC, MusicXML or MIDI.

    Reads any of them, or a shipped exercise by name; writes the form that OUT's ending names, and
    lists what that form does not hold.

    Example: rungwise convert doublings.toml doublings.musicxml
    """
    from renderer.delivery.convert import Conversion
    from renderer.delivery.convert import convert as write
    from renderer.notation.definition_fields import WrongValueError, read_inner_length
    from renderer.notation.written import Reading
    from renderer.sound.pitch import chanter_named, parse_pitch, scale_named
    from renderer.technique.reading import read_exercise
    from renderer.timing.expand import exact_tempo

    if part is not None and tune is not None:
        raise failure("--part and --tune are both given", "a file has parts or tunes: give one")
    try:
        shortest = read_inner_length(gracenote_under)
    except WrongValueError as error:
        raise failure(error.cause, error.remedy, place="--gracenote-under") from None
    if shortest.is_share_of_beat:
        raise failure(
            f"{gracenote_under!r} is a share of the beat",
            "write it in ms, such as '80 ms'",
            place="--gracenote-under",
        )
    forms: dict[OrnamentForm, Opened] = {
        OrnamentForm.CLOSED: "closed",
        OrnamentForm.OPEN: "open",
        OrnamentForm.AS_WRITTEN: "as written",
    }
    semitones = transposition(transpose)
    reading = Reading(
        part=part if tune is None else tune,
        transpose="auto" if semitones is None else semitones,
        rests="hold" if rests is RestsName.HOLD else "silence",
        play_repeats=repeats,
        gracenote_under_ms=float(shortest.value),
    )
    conversion = Conversion(
        opened=forms[ornaments],
        pitch=parse_pitch(pitch),
        scale=scale_named(scale),
        chanter=chanter_named(chanter),
        tuning=tuning.value,
        tempo=None if tempo is None else exact_tempo(tempo),
        count_in=count_in,
        drones=drone,
        metronome=metronome,
    )
    refuse_to_replace(source, target)
    exercise = read_exercise(source, reading)
    lost = write(exercise, target, conversion)
    console = output_console()
    for remark in exercise.remarks:
        console.print(remark, markup=False, highlight=False)
    console.print(f"Written: {target}", markup=False, highlight=False)
    if lost:
        console.print(f"What {target.suffix} does not hold:", markup=False, highlight=False)
    for phrase in lost:
        console.print(f"  - {phrase}", markup=False, highlight=False)
