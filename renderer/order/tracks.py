"""What sounds in a track: an exercise and settings to its timed events.

Every verb that makes or describes a track asks here, so that they always agree.
"""

from __future__ import annotations

from fractions import Fraction

from renderer.notation.pitch import Note
from renderer.notation.score import Exercise
from renderer.order.settings import Settings
from renderer.sound.mix_settings import Mix
from renderer.technique.report import crossings
from renderer.timing.expand import Introduction, NoisePlace, Timeline, expand

_INTRODUCTIONS: dict[Introduction, Note | None] = {"none": None, "E": Note.E}


def timeline_of(
    exercise: Exercise, settings: Settings, tempo: Fraction | None = None, mix: Mix | None = None
) -> Timeline:
    """Return the timed events of one track.

    Parameters
    ----------
    exercise:
        What is played, as `Settings.applied_to` returns it.
    settings:
        How.
    tempo:
        The rung, in beats a minute; the tempo that settings ask for, or the exercise's own, if
        left out.
    mix:
        Which mix; the first that settings ask for if left out.

    Raises
    ------
    RungwiseError
        If an ornament does not fit, or the track would be too long.
    """
    speed = settings.tempo if tempo is None else tempo
    return expand(
        exercise,
        exercise.tempo if speed is None else speed,
        count_in=settings.count_in,
        count_in_style=settings.count_in_style,
        repeats=settings.repeats_of(exercise),
        echo=(settings.mix[0] if mix is None else mix) is Mix.ECHO,
        gap=settings.gap,
        subdivide=settings.subdivide,
        noises=_crossing_noises(exercise) if settings.show_crossing else None,
        introduction=_INTRODUCTIONS[settings.introduction],
    )


def _crossing_noises(exercise: Exercise) -> dict[NoisePlace, Note]:
    """Return the crossing noises that lurk in an exercise, by their places."""
    return {
        (number, noise.bar, noise.item, noise.slot, noise.before_gracenote): noise.heard
        for number, line in enumerate(exercise.lines, start=1)
        for noise in crossings(line)
    }
