"""An order: all that is asked for, before anything is made, as plain data.

An order holds the bytes of its sources and the settings, how scores are read among them. It can be
kept as JSON, compared by its digest, and turned into jobs, one for each file.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from renderer import __version__
from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.notation.written import ALL_TUNES
from renderer.order.digests import digest_of, plain_source, soundfont_digests, source_from_plain
from renderer.order.documents import Document, DocumentJob, plan_document
from renderer.order.jobs import plan_tracks
from renderer.order.settings import Settings, plain_settings, settings_from_plain
from renderer.order.track_job import TrackJob
from renderer.reading.exercise import read_exercise, tunes_of

_FORM = "rungwise-order"
_MOST_REFUSED = 5
"""Tunes of a file that are named as not read."""


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be made.

    Parameters
    ----------
    sources:
        What the exercises are read from, at least one.
    settings:
        How they are read, and how their tracks are made.
    """

    sources: tuple[Source, ...]
    settings: Settings

    @property
    def digest(self) -> str:
        """The SHA-256 of all that decides the result, as hexadecimal digits.

        That is the sources and their names, the settings, the bytes of the SoundFonts and the
        version of the program.
        """
        return digest_of(
            {
                **self._plain(),
                "program": __version__,
                "soundfonts": list(soundfont_digests(self.settings)),
            }
        )

    def _plain(self) -> dict[str, Any]:
        return {
            _FORM: 1,
            "sources": [plain_source(source) for source in self.sources],
            "settings": plain_settings(self.settings),
        }

    def to_json(self) -> str:
        """Return the order as JSON, which `order_from_json` reads."""
        return json.dumps(self._plain(), indent=1)

    def exercises(self) -> tuple[Exercise, ...]:
        """Return the exercises as they are written, or the only line that is asked for of each.

        Raises a `RungwiseError` with what is wrong with all of them.
        """
        return tuple(exercise for _, exercise in self.read())

    def read(self) -> list[tuple[Source, Exercise]]:
        """Return every exercise with its source; of all tunes of a file, those that can be read.

        Raises a `RungwiseError` with what is wrong with all of them.
        """
        read: list[tuple[Source, Exercise]] = []
        problems: list[Problem] = []
        for source in self.sources:
            try:
                read += self._tunes(source)
            except RungwiseError as error:
                problems += error.problems
        if problems:
            raise RungwiseError(dict.fromkeys(problems))
        return read

    def _tunes(self, source: Source) -> list[tuple[Source, Exercise]]:
        if self.settings.tune != ALL_TUNES:
            exercise = read_exercise(source, self.settings.reading)
            return [(source, self.settings.chosen(exercise))]
        read: list[tuple[Source, Exercise]] = []
        refused: list[Problem] = []
        for tune in tunes_of(source):
            try:
                exercise = read_exercise(tune, self.settings.reading)
            except RungwiseError as error:
                refused.append(error.problems[0])
            else:
                read.append((tune, self.settings.chosen(exercise)))
        if not read:
            raise RungwiseError(refused[:_MOST_REFUSED])
        if refused:
            first, exercise = read[0]
            said = "; ".join(f"{one.place}: {one.cause}" for one in refused[:_MOST_REFUSED])
            more = len(refused) - _MOST_REFUSED
            remark = f"{len(refused)} of {len(refused) + len(read)} tunes cannot be read ({said}"
            remark += f"; and {more} more)." if more > 0 else ")."
            read[0] = first, replace(exercise, remarks=(*exercise.remarks, remark))
        return read

    def jobs(self, folder: Path) -> tuple[TrackJob, ...]:
        """Return the tracks to make, in practice order; raises a `RungwiseError` as they do.

        Parameters
        ----------
        folder:
            Where their files go; nothing is written.
        """
        read = self.read()
        exercises = [exercise for _, exercise in read]
        return plan_tracks(exercises, folder, self.settings, sources=[source for source, _ in read])

    def document(self, kind: Document, path: Path, *, today: date | None = None) -> DocumentJob:
        """Return the job of a sheet, a score or a practice plan; errors as for `plan_document`.

        Parameters
        ----------
        kind:
            Which of them.
        path:
            Its file; nothing is written.
        today:
            The day that it is, for a plan without a first day.
        """
        sources, exercises = zip(*self.read(), strict=True)
        return plan_document(kind, exercises, path, self.settings, sources=sources, today=today)


def order_from_json(text: str) -> Order:
    """Return the order that `Order.to_json` has written.

    Raises a `RungwiseError` for text that is no order, and for settings that are none.
    """
    try:
        plain: Mapping[str, Any] = json.loads(text)
        if plain[_FORM] != 1:
            raise ValueError(plain[_FORM])
        sources = tuple(source_from_plain(one) for one in plain["sources"])
        given = dict(plain["settings"])
    except (KeyError, TypeError, ValueError):
        raise failure("this is no order of this program", "give one as it was written") from None
    return Order(sources, settings_from_plain(given))
