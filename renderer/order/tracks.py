"""What sounds in a track: an exercise and settings to its timed events.

Every verb that makes or describes a track asks here, so that they always agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from renderer.errors import Problem, RungwiseError
from renderer.notation.ladder import ladder_text
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise
from renderer.order.names import tempo_label
from renderer.order.settings import Settings, read_settings
from renderer.sound.mix_settings import Mix
from renderer.technique.report import crossings
from renderer.timing.expand import Introduction, NoisePlace, Timeline, expand_at

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
        The rung, in beats a minute; `Settings.tempo_of` if left out.
    mix:
        Which mix; the first that settings ask for if left out.

    Raises
    ------
    RungwiseError
        If an ornament does not fit, or the track would be too long.
    """
    speed = settings.tempo_of(exercise) if tempo is None else tempo
    repeats = settings.repeats_of(exercise)
    return expand_at(
        exercise,
        speed,
        count_in=settings.count_in,
        count_in_style=settings.count_in_style,
        repeats=repeats,
        echo=(settings.mix[0] if mix is None else mix) is Mix.ECHO,
        gap=settings.gap,
        subdivide=settings.subdivide,
        noises=_crossing_noises(exercise) if settings.show_crossing else None,
        introduction=_INTRODUCTIONS[settings.introduction],
    )


def durations_of(
    exercise: Exercise, settings: Settings, tempos: Sequence[Fraction]
) -> dict[tuple[Fraction, Mix], Fraction]:
    """Return how long the tracks of an exercise last in seconds, by tempo and mix.

    Parameters
    ----------
    exercise:
        What is played, as `Settings.applied_to` returns it.
    settings:
        How.
    tempos:
        The rungs, in beats a minute.

    Raises
    ------
    RungwiseError
        If an ornament does not fit at one of the tempos: what lacks room at the fastest of them,
        and which rungs can be played.
    """
    # Imported when it is needed: it brings numpy along.
    from renderer.sound.reverberation import tail

    durations: dict[tuple[Fraction, Mix], Fraction] = {}
    refused: dict[Fraction, RungwiseError] = {}
    for tempo in dict.fromkeys(tempos):
        for mix in settings.mix:
            try:
                timeline = timeline_of(exercise, settings, tempo, mix)
                durations[tempo, mix] = timeline.duration + tail(settings.room)
            except RungwiseError as error:
                refused[tempo] = error
                break
    if not refused:
        return durations
    fastest = refused[max(refused)]
    playable = [tempo for tempo in tempos if tempo not in refused]
    if not playable or min(refused) < max(playable):
        raise fastest
    first = fastest.problems[0]
    listed = ", ".join(tempo_label(tempo) for tempo in sorted(refused))
    rungs_are = "the rung at {} is" if len(refused) == 1 else "the rungs at {} are"
    summary = Problem(
        f"{rungs_are.format(listed)} too fast",
        f"the others can be played: --ladder {ladder_text(playable)}",
        file=first.file,
    )
    raise RungwiseError([*fastest.problems, summary])


def expand(
    exercise: Exercise, tempo: str | float | Fraction | None = None, **settings: Any
) -> Timeline:
    """Expand an exercise at one tempo into the timed events of its track.

    Parameters
    ----------
    exercise:
        From `renderer.read_exercise`.
    tempo:
        Beats per minute, exactly as written; the exercise's own if left out.
    settings:
        The settings that `rungwise events` knows, by their names: `count_in=2`, `mix="echo"` (see
        `renderer.order.settings`).

    Raises
    ------
    RungwiseError
        If a setting is out of range, an ornament does not fit into its note at this tempo, or the
        track would be too long.
    """
    asked = read_settings({**settings, "tempo": tempo})
    return timeline_of(asked.applied_to(asked.chosen(exercise)), asked)


def _crossing_noises(exercise: Exercise) -> dict[NoisePlace, Note]:
    """Return the crossing noises that lurk in an exercise, by their places."""
    return {
        (number, noise.bar, noise.item, noise.slot, noise.before_gracenote): noise.heard
        for number, line in enumerate(exercise.lines, start=1)
        for noise in crossings(line)
    }
