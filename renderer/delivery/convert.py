"""An exercise to another written form: definition, ABC, MusicXML or MIDI.

The file is read back before it takes its place, and what the form did not hold is told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from renderer.delivery.files import whole_file
from renderer.errors import RungwiseError, failure
from renderer.notation.compare import differences
from renderer.notation.printed import Opened
from renderer.notation.score import Exercise
from renderer.reading.exercise import with_movements
from renderer.sound.pitch import Chanter, PitchStandard, Scale, transposition

_AUDIBLE_CENTS = 2
"""What is off by less is not worth a word (judgement)."""


@dataclass(frozen=True, slots=True)
class Conversion:
    """How an exercise is written.

    Parameters
    ----------
    pitch, scale, chanter:
        MusicXML's transposition and instrument; MIDI's tuning.
    opened:
        Scores: ornaments as groups (`closed`), as real notes (`open`), or as they are played
        (`as written`).
    tuning:
        MIDI: `mts`, `bend` or `none`.
    tempo:
        MIDI: beats per minute; the exercise's own if None.
    count_in, repeats, gap:
        MIDI: as for `renderer.timing.expand.expand`.
    drones, metronome:
        MIDI: whether they sound.
    """

    pitch: PitchStandard
    scale: Scale
    opened: Opened = "as written"
    chanter: Chanter = Chanter.PRACTICE
    tuning: str = "bend"
    tempo: Fraction | None = None
    count_in: int = 0
    repeats: int = 1
    gap: int = 0
    drones: bool = True
    metronome: bool = True


def _as_definition(exercise: Exercise, _: Conversion) -> bytes:
    from renderer.notation.definition.writer import write_definition

    return write_definition(exercise)


def _as_abc(exercise: Exercise, conversion: Conversion) -> bytes:
    from renderer.notation.abc.writer import write_abc

    return write_abc(exercise, opened=conversion.opened)


def _as_musicxml(exercise: Exercise, conversion: Conversion) -> bytes:
    from renderer.notation.musicxml.writer import Instrument, write_musicxml

    name = "Practice chanter" if conversion.chanter is Chanter.PRACTICE else "Pipe chanter"
    semitones, _ = transposition(conversion.pitch, conversion.chanter)
    instrument = Instrument(name, semitones)
    return write_musicxml(exercise, opened=conversion.opened, instrument=instrument)


def _as_mxl(exercise: Exercise, conversion: Conversion) -> bytes:
    from renderer.notation.musicxml.file import packed

    return packed(_as_musicxml(exercise, conversion))


def _as_midi(exercise: Exercise, conversion: Conversion) -> bytes:
    from renderer.delivery.midi import MidiSound, tuning_named, write_midi
    from renderer.timing.expand import expand

    timeline = expand(
        exercise,
        conversion.tempo,
        count_in=conversion.count_in,
        repeats=conversion.repeats,
        gap=conversion.gap,
    )
    sound = MidiSound(
        conversion.pitch,
        conversion.scale,
        conversion.chanter,
        tuning_named(conversion.tuning),
        conversion.drones,
        conversion.metronome,
    )
    return write_midi(timeline, sound)


def _read_back(path: Path, form: str) -> Exercise:
    if form == ".toml":
        from renderer.notation.definition.reader import read_definition
        from renderer.technique.realise import realise

        return realise(read_definition(path))
    reader: Callable[[Path], Exercise]
    if form == ".abc":
        from renderer.notation.abc.reader import read_abc as reader
    elif form in (".mid", ".midi"):
        from renderer.notation.midi.reader import read_midi as reader
    else:
        from renderer.notation.musicxml.reader import read_musicxml as reader
    return with_movements(reader(path))


_WRITERS: dict[str, Callable[[Exercise, Conversion], bytes]] = {
    ".toml": _as_definition,
    ".abc": _as_abc,
    ".musicxml": _as_musicxml,
    ".xml": _as_musicxml,
    ".mxl": _as_mxl,
    ".mid": _as_midi,
    ".midi": _as_midi,
}
FORMS = tuple(_WRITERS)
"""The endings of files that can be written."""


_USUAL_FORMS = (".toml", ".abc", ".musicxml", ".mid")
_PLAYED_FORMS = (".mid", ".midi")
"""Of use to a player even where they do not read back as an exercise."""


def convert(exercise: Exercise, path: Path, conversion: Conversion) -> list[str]:
    """Write an exercise in the form that the path's ending names.

    Parameters
    ----------
    exercise:
        What is written.
    path:
        The file to make or replace: `.toml`, `.abc`, `.musicxml`, `.xml`, `.mxl`, `.mid`, `.midi`.
    conversion:
        How.

    Returns
    -------
    What the form does not hold, as phrases.

    Raises
    ------
    RungwiseError
        For an ending that is no form, an ornament that does not fit, a written form that could not
        be read again, or a disk that refuses; a file that was there stays as it was.
    """
    form = path.suffix.casefold()
    if form not in _WRITERS and path.is_dir():
        raise failure(
            "it is a folder",
            f"name a file in it that ends in one of {', '.join(FORMS)}",
            file=str(path),
        )
    if form not in _WRITERS:
        raise failure(
            f"{form or 'no ending'!r} is no form to write",
            f"end the file's name in one of {', '.join(FORMS)}",
            file=str(path),
        )
    content = _WRITERS[form](exercise, conversion)
    lost: list[str] = []
    with whole_file(path) as part:
        part.write_bytes(content)
        try:
            read_back = _read_back(part, form)
            lost += differences(exercise, read_back, opened=conversion.opened)
        except RungwiseError as error:
            first = error.problems[0]
            cause = f"{first.place}: {first.cause}" if first.place else first.cause
            if form not in _PLAYED_FORMS:
                others = [kind for kind in _USUAL_FORMS if kind != form]
                raise failure(
                    f"this exercise as {form} could not be read again ({cause})",
                    f"write it as {', '.join(others[:-1])} or {others[-1]}",
                    file=str(path),
                ) from None
            lost.append(f"it cannot be read back: {cause}")
    _, cents = transposition(conversion.pitch, conversion.chanter)
    if form in (".musicxml", ".xml", ".mxl") and abs(cents) > _AUDIBLE_CENTS:
        lost.append(
            f"the pitch of low A to the cent: {conversion.pitch.label} is {abs(cents):.0f} cents "
            f"{'above' if cents > 0 else 'below'} the semitone that the part is transposed to"
        )
    return lost
