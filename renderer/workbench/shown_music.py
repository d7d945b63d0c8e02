"""What the page shows and plays of a file: its bytes in, staves, moments and problems out.

Reading, engraving and timing are those of every other command; here they are asked for a line at a
time, and what a line looks and sounds like is kept while nothing in it changes. So a change costs
the line that it is in, however long the exercise is.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING, Any

from renderer.errors import Problem, RungwiseError, WrongValueError
from renderer.notation.definition.text_places import line_number, marked, text_places
from renderer.notation.limits import MOST_LINES
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise, Meter
from renderer.notation.source_file import Source
from renderer.order.settings import Settings, read_settings
from renderer.reading.exercise import definition_in, read_exercise
from renderer.sound.tuning import PitchStandard
from renderer.technique.realise import lines_of_entries
from renderer.workbench.editing import fields_of
from renderer.workbench.folder import text_in
from renderer.workbench.said import plain_problem

if TYPE_CHECKING:
    from renderer.delivery.page.spectra import Noise

MOST_KNOWN = 4 * MOST_LINES
MOST_KEPT = 3_000
"""Lines that are known by their keys, and those whose staves and moments are kept."""


def plain_problems(problems: Iterable[Problem], text: str | None = None) -> list[dict[str, Any]]:
    """Return problems as JSON holds them, with their places in the text where there is one."""
    places = None if text is None else text_places(text)
    found = []
    for one in problems:
        plain = plain_problem(one)
        if places is not None:
            where = marked(places, one.place)
            plain |= {
                "start": where.start,
                "end": where.end,
                "row": line_number(places.text, where.start),
            }
        found.append(plain)
    return found


@dataclass(frozen=True, slots=True)
class _KnownLine:
    """A line by itself, under the number that it has, and how it stands in the whole."""

    alone: Exercise
    shows_meter: bool
    is_last: bool


class ShownMusic:
    """Staves, moments and sound for the page; safe to be asked by several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        # Staves do not wait while the sound is being made.
        self._sound_lock = threading.Lock()
        self._keys: OrderedDict[_KnownLine, str] = OrderedDict()
        self._lines: dict[str, _KnownLine] = {}
        self._bodies: OrderedDict[str, dict[str, Any]] = OrderedDict()
        self._sounds: dict[tuple[Any, ...], dict[str, Any]] = {}
        self._count = 0

    def read(self, name: str, data: bytes, inner: str = "") -> dict[str, Any]:
        """Return what a file holds, without its lines' staves, or what is wrong with it.

        Parameters
        ----------
        name, data:
            The file's name, which tells its form, and what is in it.
        inner:
            How movements are opened or closed, as `--inner` has it; empty as the file says.

        Returns
        -------
        `problems`, empty if it can be read; then `title` and the like, `tempo`, `rungs`,
        `remarks`, and of each line its `key` (for `bodies`), `number`, `heading`, `tune` and the
        number of the `entry` (from 0) that it comes from.
        """
        source = Source(name, data)
        text = text_in(data)
        try:
            settings = read_settings({"inner": inner} if inner else {})
            exercise = settings.applied_to(read_exercise(source))
            entries = _entries(source, text, len(exercise.lines))
            tempos = settings.tempos_of(exercise)
        except RungwiseError as error:
            return {"problems": plain_problems(error.problems, text)}
        except WrongValueError as error:
            return {"problems": plain_problems(error.at("", name).problems, text)}
        with self._lock:
            keys = [self._key(one) for one in _alone(exercise)]
        return {
            "problems": [],
            "title": exercise.title,
            "audience": exercise.audience,
            "purpose": exercise.purpose,
            "level": exercise.level,
            "composer": exercise.composer,
            "tempo": str(exercise.tempo),
            "rungs": [str(tempo) for tempo in tempos],
            "repeats": settings.repeats_of(exercise),
            "remarks": list(exercise.remarks),
            "lines": [
                {
                    "key": key,
                    "number": exercise.number_of(index),
                    "heading": line.heading,
                    "tune": line.tune,
                    "entry": entry,
                }
                for index, (line, key, entry) in enumerate(
                    zip(exercise.lines, keys, entries, strict=True)
                )
            ],
        }

    def _key(self, line: _KnownLine) -> str:
        key = self._keys.get(line)
        if key is None:
            self._count += 1
            key = self._keys[line] = f"line{self._count}"
            self._lines[key] = line
            if len(self._keys) > MOST_KNOWN:
                _, old = self._keys.popitem(last=False)
                self._lines.pop(old, None)
                self._bodies.pop(old, None)
        else:
            self._keys.move_to_end(line)
        return key

    def bodies(self, keys: Sequence[str]) -> dict[str, dict[str, Any]]:
        """Return what lines look and sound like, by their keys; what is not known is left out.

        Of each `staves` (as `renderer.delivery.page.staves` has them), `glyphs` (outlines by name),
        `music` (as the practice page's player reads it, or None where the line fits at no tempo)
        and `problems`, which say why.
        """
        with self._lock:
            return {key: self._body(key) for key in keys if key in self._lines}

    def _body(self, key: str) -> dict[str, Any]:
        body = self._bodies.get(key)
        if body is None:
            body = self._bodies[key] = _body_of(self._lines[key])
            if len(self._bodies) > MOST_KEPT:
                self._bodies.popitem(last=False)
        else:
            self._bodies.move_to_end(key)
        return body

    def sound(self, pitches: Sequence[str | PitchStandard], chanter: str) -> dict[str, Any]:
        """Return what the player needs to sound at some pitches.

        Parameters
        ----------
        pitches:
            As `--pitch` has them, at least one; chanter files as what they hold.
        chanter:
            `practice` or `pipe`.

        Raises
        ------
        RungwiseError
            For a pitch that cannot be.
        """
        asked = (*pitches, chanter)
        with self._sound_lock:
            found = self._sounds.get(asked)
            if found is None:
                settings = read_settings({"pitch": list(pitches), "chanter": chanter})
                if len(self._sounds) > 8:
                    self._sounds.clear()
                found = self._sounds[asked] = _sound(settings)
            return found


def _entries(source: Source, text: str, count: int) -> list[int]:
    """Return of each line the number of the entry (from 0) that it comes from."""
    table = fields_of(text)
    written = table.get("lines") if table else None
    # An entry stands for one line or more: as many lines as entries are one for each.
    if not isinstance(written, list) or len(written) == count:
        return list(range(count))
    definition = definition_in(source)
    counts = (1,) * count if definition is None else lines_of_entries(definition)
    return [entry for entry, lines in enumerate(counts) for _ in range(lines)]


def _alone(exercise: Exercise) -> list[_KnownLine]:
    """Return each line by itself, without what neither its looks nor its sound depend on."""
    bare = replace(
        exercise,
        title="",
        audience="",
        purpose="",
        level="",
        composer="",
        tune_type="",
        origin="",
        notes="",
        ladder=None,
        remarks=(),
        source="",
    )
    count = len(bare.lines)
    found = []
    before: Meter | None = None
    for number, line in enumerate(bare.lines, start=1):
        shows_meter = line.bars[0].meter != before or bool(line.tune)
        found.append(_KnownLine(bare.only(number), shows_meter, number == count))
        before = line.bars[-1].meter
    return found


def _body_of(line: _KnownLine) -> dict[str, Any]:
    """Return what one line looks and sounds like; see `ShownMusic.bodies`."""
    from renderer.delivery.page.contents import line_music
    from renderer.delivery.page.staves import Glyphs, staves_of

    glyphs = Glyphs()
    problems: list[dict[str, Any]] = []
    music: dict[str, Any] | None = None
    staves: dict[str, Any] | None = None
    try:
        (staves,) = staves_of(
            line.alone, glyphs, shows_meter=line.shows_meter, ends_there=line.is_last
        )
        music = line_music(line.alone, 1, read_settings({}))
        if music is None:
            problems = plain_problems(
                [Problem("this line fits at no tempo", "open its movements less")]
            )
    except RungwiseError as error:
        problems = plain_problems(error.problems)
    return {"staves": staves, "glyphs": glyphs.paths, "music": music, "problems": problems}


def _sound(settings: Settings) -> dict[str, Any]:
    from renderer.delivery.page.contents import sound_contents
    from renderer.delivery.page.spectra import soundings_of
    from renderer.order.tracks import timeline_of

    # Every gracenote before every note, and every noise, so that no change asks for other tones;
    # and the levels of one shipped exercise, so that nothing becomes louder while somebody writes.
    gracenotes = [(gracenote, note) for gracenote in Note for note in Note if gracenote != note]
    reference = settings.applied_to(read_exercise(REFERENCE))
    timeline = timeline_of(reference.only(1), replace(settings, repeats=3), reference.tempo)
    pitches = settings.pitches_of(reference)
    soundings = soundings_of(gracenotes, _every_noise(), pure=settings.gracenotes == "pure")
    return sound_contents(pitches, soundings, timeline, settings)


def _every_noise() -> Iterator[Noise]:
    """Yield every crossing noise that can lurk between two notes."""
    from renderer.delivery.page.spectra import Noise
    from renderer.technique.finger_changes import change

    for previous, gracenote, note in product(Note, (None, *Note), Note):
        crossing = change(previous, gracenote, note).crossing
        if crossing is not None and gracenote is not note:
            yield Noise(previous, gracenote, note, crossing.before_gracenote, crossing.heard)


REFERENCE = "doublings-over-a-wide-step"
"""The shipped exercise that sets the page's levels."""
