"""An exercise to another written form: definition, ABC, MusicXML or MIDI.

The file is read back before it takes its place, and what the form did not hold is told.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import replace as replaced
from pathlib import Path

from renderer.delivery.claims import claim, kept_file, of_line, which_is_read
from renderer.errors import RungwiseError, failure
from renderer.notation.compare import differences
from renderer.notation.printed import Opened, with_ornaments
from renderer.notation.score import Exercise
from renderer.notation.source_file import MUSICXML
from renderer.order.setting_row import NO_TRACK, READ
from renderer.order.settings import Settings, known_to
from renderer.order.tracks import timeline_of
from renderer.reading.exercise import with_movements
from renderer.sound.tuning import Chanter, transposition
from renderer.timing.order_of_playing import played

_AUDIBLE_CENTS = 2
"""What is off by less is not worth a word (judgement)."""


def _as_definition(exercise: Exercise, _: Settings) -> bytes:
    from renderer.notation.definition.writer import write_definition

    return write_definition(exercise)


def _as_abc(exercise: Exercise, settings: Settings) -> bytes:
    from renderer.notation.abc.writer import write_abc

    return write_abc(exercise, opened=_opened(settings))


def _as_musicxml(exercise: Exercise, settings: Settings) -> bytes:
    from renderer.notation.musicxml.writer import Instrument, write_musicxml

    name = "Practice chanter" if settings.chanter is Chanter.PRACTICE else "Pipe chanter"
    semitones, _ = transposition(settings.pitches_of(exercise)[0], settings.chanter)
    instrument = Instrument(name, semitones)
    return write_musicxml(exercise, opened=_opened(settings), instrument=instrument)


def _as_mxl(exercise: Exercise, settings: Settings) -> bytes:
    from renderer.notation.musicxml.file import packed

    return packed(_as_musicxml(exercise, settings))


def _as_midi(exercise: Exercise, settings: Settings) -> bytes:
    from renderer.delivery.midi_writer import midi_sound, write_midi

    sounding = dataclasses.replace(settings, pitch=settings.pitches_of(exercise))
    return write_midi(timeline_of(exercise, settings), midi_sound(sounding))


def _opened(settings: Settings) -> Opened:
    """How a score has ornaments; raises a `RungwiseError` for what only a sheet can have."""
    for opened in ("as written", "open", "closed"):
        if settings.ornaments == opened:
            return opened
    raise failure(
        f"a score has ornaments in one form, not {settings.ornaments}",
        "choose open, closed or as written",
        place="ornaments",
    )


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


_WRITERS: dict[str, Callable[[Exercise, Settings], bytes]] = {
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


def _as_played(exercise: Exercise) -> Exercise:
    """The exercise as it is played, no sign left; bars are numbered only where a score does."""
    music = played(exercise).exercise
    if music is exercise or any(bar.number for line in exercise.lines for bar in line.bars):
        return music
    lines = (
        replaced(line, bars=tuple(replaced(bar, number="") for bar in line.bars))
        for line in music.lines
    )
    return replaced(music, lines=tuple(lines))


def _lost(exercise: Exercise, again: Exercise, form: str, opened: Opened) -> list[str]:
    """What was not read back; of a form that is played, of the exercise as it is played."""
    music = _as_played(exercise) if form in _PLAYED_FORMS else exercise
    lost = differences(music, again, opened=opened)
    if music is exercise:
        return lost
    return ["repeats, endings, jumps and the order of parts as signs: they are played out", *lost]


def _settings_lost(settings: Settings, form: str) -> Iterator[str]:
    """Yield the settings of tracks that were asked for and that a score of such a form lacks."""
    kept = {"tempo", "ladder"} | ({"pitch", "chanter"} if form in MUSICXML else set())
    for row in known_to("convert"):
        is_kept = row.own is not None or row.verbs >= READ or row.name in kept
        if is_kept or row.said == NO_TRACK:
            continue
        if settings.of(row.name) != row.default_of("convert"):
            yield f"what tracks alone have: {row.key} {row.shown(settings)}".rstrip()


def convert(
    exercise: Exercise, path: Path, settings: Settings, *, replace: bool = False
) -> list[str]:
    """Write an exercise in the form that the path's ending names.

    Parameters
    ----------
    exercise:
        What is written.
    path:
        The file to make or replace: `.toml`, `.abc`, `.musicxml`, `.xml`, `.mxl`, `.mid`, `.midi`.
    settings:
        How: for MIDI all of them, for scores their pitch, chanter and ornaments.
    replace:
        Whether a file that is there is replaced even if it is something else, or was changed.

    Returns
    -------
    What the form does not hold, as phrases.

    Raises
    ------
    RungwiseError
        For an ending that is no form, an ornament that does not fit, a written form that could not
        be read again, a file that is there and not this score as it was written, or a disk that
        refuses; a file that was there stays as it was.
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
    if form not in _PLAYED_FORMS:
        exercise = settings.timed(exercise)
    if exercise.played_once:
        # No form can say so: each bar is written once instead.
        exercise = replaced(_as_played(exercise), played_once=False)
    opened = _opened(settings)
    if form in (".toml", *_PLAYED_FORMS):
        # A definition says beside its movements how they are played; MIDI has them as played.
        exercise, opened = with_ornaments(exercise, opened), "as written"
    content = _WRITERS[form](exercise, settings)
    lost: list[str] = []
    mine = claim(
        of_line("a conversion", settings),
        [exercise.source or exercise.title],
        path.parent,
        which_is_read(settings),
        replace=replace,
    )
    with kept_file(path, mine) as part:
        part.write_bytes(content)
        try:
            read_back = _read_back(part, form)
            lost += _lost(exercise, read_back, form, opened)
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
    if form not in _PLAYED_FORMS:
        lost += _settings_lost(settings, form)
    pitch = settings.pitches_of(exercise)[0]
    _, cents = transposition(pitch, settings.chanter)
    if form in MUSICXML and abs(cents) > _AUDIBLE_CENTS:
        lost.append(
            f"the pitch of low A to the cent: {pitch.label} is {abs(cents):.0f} cents "
            f"{'above' if cents > 0 else 'below'} the semitone that the part is transposed to"
        )
    return lost
