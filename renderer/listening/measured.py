"""What was heard, as the text of a chanter file: of one chanter, or the tuning amid several."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

from renderer.listening.hearing import HeardChanter
from renderer.listening.several import Compared
from renderer.notation.pitch import Note
from renderer.sound.chanter_file import chanter_text

_OCTAVE = "A practice chanter; pitches are in the pipe chanter's octave."


def measured_text(heard: HeardChanter, name: str, *, on: datetime.date, at: str = "") -> str:
    """Return the chanter file of one chanter.

    Parameters
    ----------
    heard:
        The chanter; notes that were not heard are left to its scale.
    name:
        What it is called.
    on, at:
        When and where it was recorded.
    """
    drones = heard.drones
    hz = {note.note: note.hz for note in heard.notes if note.is_heard}
    return chanter_text(
        name,
        {**hz, Note.LOW_A: heard.low_a_hz},
        scale=heard.scale,
        tenors_hz=() if drones is None else drones.tenors_hz,
        bass_hz=None if drones is None else drones.bass_hz,
        on=on,
        at=at,
        remarks=[*([_OCTAVE] if heard.is_practice else []), *heard.remarks],
    )


def middle_text(
    compared: Compared,
    heard: Mapping[str, HeardChanter],
    called: Mapping[str, str],
    name: str = "",
    *,
    on: datetime.date,
    at: str = "",
) -> str:
    """Return the chanter file of the median of several chanters.

    Parameters
    ----------
    compared, heard:
        The chanters, and what was heard of each, by the same names.
    called:
        What each is called in remarks, by those names.
    name:
        What the median is called; if left out, the median of so many chanters.
    on, at:
        When and where they were recorded.
    """
    missing = [note for note in Note if note not in compared.middle_hz]
    return chanter_text(
        name or f"Median of {len(heard)} chanters",
        compared.middle_hz,
        scale=heard[compared.nearest].scale,
        on=on,
        at=at,
        remarks=[
            f"The median of {', '.join(called[one] for one in heard)}.",
            *(f"{note} was heard of none; it is taken from the scale." for note in missing),
        ],
    )
