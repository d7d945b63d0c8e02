"""`rungwise convert`: an exercise from one written form to another."""

from __future__ import annotations

import enum
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands import scores, values
from renderer.commands.options import naming, output_console, refuse_to_replace

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
    part: scores.PartOption = None,
    tune: scores.TuneOption = None,
    transpose: scores.TransposeOption = "0",
    rests: scores.RestsOption = scores.RestsName.SILENCE,
    no_repeats: scores.NoRepeatsOption = False,
    gracenote_under: scores.GracenoteUnderOption = scores.USUAL_GRACENOTE_UNDER,
    ornaments: Annotated[
        OrnamentForm,
        typer.Option(
            case_sensitive=False,
            help="Scores out: as gracenote groups, opened into notes, or as they are.",
        ),
    ] = OrnamentForm.AS_WRITTEN,
    pitch: Annotated[
        str, typer.Option(help="A, B flat, or low A in hertz in the pipe chanter's octave.")
    ] = "A",
    scale: Annotated[str, typer.Option(help="equal, MacNeill or harmonic.")] = "harmonic",
    chanter: Annotated[str, typer.Option(help="practice or pipe.")] = "practice",
    tuning: Annotated[
        TuningName,
        typer.Option(
            case_sensitive=False, help="MIDI out: tuning messages, pitch bend, or neither."
        ),
    ] = TuningName.BEND,
    tempo: Annotated[
        Fraction | None,
        values.tempo(help="MIDI out: beats per minute; the exercise's own if left out."),
    ] = None,
    count_in: Annotated[int, values.whole("--count-in", 1, help="MIDI out: bars of count-in.")] = 0,
    drone: Annotated[bool, typer.Option("--drone/--no-drone", help="MIDI out: drones.")] = True,
    metronome: Annotated[
        bool, typer.Option("--metronome/--no-metronome", help="MIDI out: clicks through the track.")
    ] = True,
) -> None:
    """Write an exercise in another form: definition, ABC, MusicXML or MIDI.

    Reads any of them, or a shipped exercise by name; writes the form that OUT's ending names, and
    lists what that form does not hold. In MIDI each line is played once and the next follows at
    once.

    Example: rungwise convert doublings.toml doublings.musicxml
    """
    from renderer.delivery.convert import Conversion
    from renderer.delivery.convert import convert as write
    from renderer.reading.exercise import read_exercise
    from renderer.sound.pitch import chanter_named, parse_pitch, scale_named
    from renderer.timing.expand import exact_tempo

    forms: dict[OrnamentForm, Opened] = {
        OrnamentForm.CLOSED: "closed",
        OrnamentForm.OPEN: "open",
        OrnamentForm.AS_WRITTEN: "as written",
    }
    reading = scores.reading_of(part, tune, transpose, rests, no_repeats, gracenote_under)
    with naming("--pitch"):
        standard = parse_pitch(pitch)
    with naming("--scale"):
        chosen_scale = scale_named(scale)
    with naming("--chanter"):
        chosen_chanter = chanter_named(chanter)
    with naming("--tempo"):
        speed = None if tempo is None else exact_tempo(tempo)
    conversion = Conversion(
        opened=forms[ornaments],
        pitch=standard,
        scale=chosen_scale,
        chanter=chosen_chanter,
        tuning=tuning.value,
        tempo=speed,
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
