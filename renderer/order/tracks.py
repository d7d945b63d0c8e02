"""What sounds in a track: an exercise and settings to its timed events.

Every verb that makes or describes a track asks here, so that they always agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from renderer.errors import Problem, RungwiseError
from renderer.notation.ladder import ladder_text
from renderer.notation.pitch import Note
from renderer.notation.score import Exercise
from renderer.order.names import named_series, tempo_label
from renderer.order.settings import Settings, read_settings, unusual
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
    ringing = _tail(settings)
    durations: dict[tuple[Fraction, Mix], Fraction] = {}
    refused: dict[Fraction, RungwiseError] = {}
    for tempo in dict.fromkeys(tempos):
        for mix in settings.mix:
            try:
                timeline = timeline_of(exercise, settings, tempo, mix)
                durations[tempo, mix] = timeline.duration + ringing
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


@dataclass(frozen=True, slots=True)
class TrackSize:
    """A track that could be made: its name without an ending, its rung, and how long it lasts.

    `duration` is in seconds, exact; None where an ornament does not fit at its tempo.
    """

    name: str
    tempo: Fraction
    duration: Fraction | None


def track_sizes(
    exercise: Exercise, settings: Settings, fastest: Fraction | None
) -> tuple[TrackSize, ...]:
    """Return the tracks that `rungwise render` makes of an exercise with the same settings.

    Parameters
    ----------
    exercise:
        As it is written, the only line chosen.
    settings:
        How.
    fastest:
        The fastest tempo at which all of it fits; None where it fits at every one.
    """
    played = settings.applied_to(exercise)
    tempos = settings.tempos_of(played)
    (by_sound,) = named_series(
        [(exercise.whole_title or exercise.title, exercise.title)],
        [unusual(exercise, settings)],
        [pitch.label for pitch in settings.pitches_of(exercise)],
        settings.mix,
        [tempos],
    )
    slowest = min(tempos)
    beats: dict[str, Fraction] = {}
    if fastest is None or slowest <= fastest:
        for mix in settings.mix:
            timeline = timeline_of(played, settings, slowest, mix)
            beats[mix] = timeline.duration * slowest
    found = []
    for (_, mix_name), (_, names) in by_sound.items():
        for tempo, name in zip(tempos, names, strict=True):
            fits = fastest is None or tempo <= fastest
            lasts = beats[mix_name] / tempo + _tail(settings) if fits else None
            found.append(TrackSize(name, tempo, lasts))
    return tuple(found)


def _tail(settings: Settings) -> Fraction:
    """How long a room goes on sounding after the music, in seconds."""
    if settings.room == "none":
        return Fraction(0)
    # Imported when it is needed: it brings numpy along.
    from renderer.sound.reverberation import tail

    return tail(settings.room)


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
