"""What sounds in a track: an exercise and settings to its timed events.

Every verb that makes or describes a track asks here, so that they always agree.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.ladder import ladder_text
from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.score import Exercise
from renderer.order.names import (
    Series,
    climb_label,
    line_label,
    named_series,
    rung_labels,
    tempo_label,
)
from renderer.order.settings import Settings, read_settings, unusual
from renderer.sound.mix_settings import Mix
from renderer.timing.climb import Step, one_after_another, steps_of
from renderer.timing.expand import Introduction, NoisePlace, Timeline, expand_at
from renderer.timing.fit import fastest_tempos

INTRODUCTIONS: dict[Introduction, Note | None] = {"none": None, "E": Note.E}
"""What the chanter sounds before the first line, by the words of the setting."""


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
        The rung, in beats a minute. Left out, all rungs one after the other where settings ask for
        a track that climbs, else `Settings.tempo_of`.
    mix:
        Which mix; the first that settings ask for if left out.

    Raises
    ------
    RungwiseError
        If an ornament does not fit, or the track would be too long.
    """
    if settings.each_line and len(exercise.lines) > 1:
        raise failure(
            f"each of {len(exercise.lines)} lines makes a track of its own, and this is about one",
            "give one of them as --line",
            place="each_line",
        )
    heard = settings.mix[0] if mix is None else mix
    steps = steps_of(_rungs(exercise, settings, tempo), settings.stages_of(exercise))
    if len(steps) == 1:
        return _timeline(exercise, settings, steps[0], heard)
    timelines: list[Timeline] = []
    refused: dict[Fraction, RungwiseError] = {}
    for step in steps:
        try:
            is_later = bool(timelines or refused)
            timelines.append(_timeline(exercise, settings, step, heard, is_later=is_later))
        except RungwiseError as error:
            refused.setdefault(step.tempo, _at_step(error, step))
    if refused:
        raise _too_fast(refused, [step.tempo for step in steps], "climb")
    return one_after_another(timelines, steps)


def _rungs(exercise: Exercise, settings: Settings, tempo: Fraction | None) -> tuple[Fraction, ...]:
    if tempo is not None:
        return (tempo,)
    return settings.tempos_of(exercise) if settings.climb else (settings.tempo_of(exercise),)


def _timeline(
    exercise: Exercise, settings: Settings, step: Step, mix: Mix, *, is_later: bool = False
) -> Timeline:
    """One step of a track; later ones have the clicks between rungs as their count-in."""
    played = step.of(exercise)
    return expand_at(
        played,
        step.tempo,
        count_in=settings.gap if is_later else settings.count_in,
        count_in_style="clicks" if is_later else settings.count_in_style,
        repeats=settings.repeats_of(exercise),
        echo=mix is Mix.ECHO,
        gap=settings.gap,
        subdivide=settings.subdivide,
        noises=crossing_noises(played) if settings.show_crossing else None,
        introduction=None if is_later else INTRODUCTIONS[settings.introduction],
    )


def _at_step(error: RungwiseError, step: Step) -> RungwiseError:
    """What is wrong, with how movements are played there where that changes within the track."""
    if step.inner is None:
        return error
    return RungwiseError(
        replace(one, cause=f"{one.cause}, with inner notes {step.inner}") for one in error.problems
    )


def _too_fast(
    refused: Mapping[Fraction, RungwiseError], tempos: Sequence[Fraction], option: str
) -> RungwiseError:
    """What is wrong with the fastest of some rungs, and which of all rungs can be played."""
    fastest = refused[max(refused)]
    playable = [tempo for tempo in dict.fromkeys(tempos) if tempo not in refused]
    if not playable or min(refused) < max(playable):
        return fastest
    first = fastest.problems[0]
    listed = ", ".join(tempo_label(tempo) for tempo in sorted(refused))
    rungs_are = "the rung at {} is" if len(refused) == 1 else "the rungs at {} are"
    summary = Problem(
        f"{rungs_are.format(listed)} too fast",
        f"the others can be played: --{option} {ladder_text(playable)}",
        file=first.file,
    )
    return RungwiseError([*fastest.problems, summary])


def durations_of(
    exercise: Exercise, settings: Settings, tempos: Sequence[Fraction | None]
) -> dict[tuple[Fraction | None, Mix], Fraction]:
    """Return how long the tracks of an exercise last in seconds, by tempo and mix.

    Parameters
    ----------
    exercise:
        What is played, as `Settings.applied_to` returns it.
    settings:
        How.
    tempos:
        Of each track, in beats a minute, as `Settings.takes_of` returns them: None for one that
        climbs.

    Raises
    ------
    RungwiseError
        If an ornament does not fit at one of the tempos: what lacks room at the fastest of them,
        and which rungs can be played.
    """
    ringing = _tail(settings)
    durations: dict[tuple[Fraction | None, Mix], Fraction] = {}
    refused: dict[Fraction, RungwiseError] = {}
    for tempo in dict.fromkeys(tempos):
        for mix in settings.mix:
            try:
                timeline = timeline_of(exercise, settings, tempo, mix)
                durations[tempo, mix] = timeline.duration + ringing
            except RungwiseError as error:
                if tempo is None:
                    raise
                refused[tempo] = error
                break
    if refused:
        raise _too_fast(refused, [tempo for tempo in tempos if tempo is not None], "ladder")
    return durations


@dataclass(frozen=True, slots=True)
class TrackSize:
    """A track that could be made: its name without an ending, its rungs, and how long it lasts.

    `duration` is in seconds, exact; None where an ornament does not fit at one of its tempos.
    """

    name: str
    tempos: tuple[Fraction, ...]
    duration: Fraction | None


@dataclass(frozen=True, slots=True)
class Take:
    """A track to be made of an exercise, at any pitch and mix.

    Parameters
    ----------
    exercise:
        What is played.
    number:
        The number of its line, where that has a track of its own; else None.
    tempo:
        The rung, in beats a minute; None where it climbs.
    label:
        What names say of it.
    """

    exercise: Exercise
    number: int | None
    tempo: Fraction | None
    label: str


def takes_of(played: Exercise, settings: Settings) -> tuple[Take, ...]:
    """Return the tracks of an exercise at any pitch and mix, in practice order: line by line.

    Parameters
    ----------
    played:
        As `Settings.applied_to` returns it.
    settings:
        How.

    Raises
    ------
    RungwiseError
        If a rung is out of range.
    """
    takes, tempos = settings.takes_of(played), settings.tempos_of(played)
    labels = (climb_label(tempos),) if None in takes else rung_labels(tempos)
    found = []
    last = played.number_of(len(played.lines) - 1)
    for part in settings.parts_of(played):
        number, named = None, ""
        if settings.each_line:
            number = part.number_of(0)
            named = f"{line_label(number, part.lines[0].heading, last)} - "
        for tempo, label in zip(takes, labels, strict=True):
            found.append(Take(part, number, tempo, named + label))
    return tuple(found)


def named_takes(
    written: Sequence[Exercise],
    takes: Sequence[Sequence[Take]],
    settings: Settings,
    prefix: str = "",
) -> tuple[dict[tuple[str, str], tuple[Series, tuple[str, ...]]], ...]:
    """Return the series of some exercises and the names of their tracks, as `named_series` does.

    Parameters
    ----------
    written:
        As they were read, the only line chosen.
    takes:
        Of each, as `takes_of` returns them.
    settings:
        How.
    prefix:
        What every name begins with.
    """
    pitches = [pitch.label for one in written for pitch in settings.pitches_of(one)]
    return named_series(
        [(one.whole_title or one.title, one.title) for one in written],
        [unusual(one, settings) for one in written],
        list(dict.fromkeys(pitches)),
        settings.mix,
        [[take.label for take in each] for each in takes],
        prefix,
    )


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
    takes, tempos = takes_of(played, settings), settings.tempos_of(played)
    (by_sound,) = named_takes([exercise], [takes], settings)
    parts = {id(take.exercise): take.exercise for take in takes}
    stages = settings.stages_of(played)
    if len(parts) > 1 or stages:
        limits = {key: _fastest(part, stages) for key, part in parts.items()}
    else:
        limits = dict.fromkeys(parts, fastest)
    lasting = {key: _lasting(part, settings, limits[key]) for key, part in parts.items()}
    found = []
    for (_, mix_name), (_, names) in by_sound.items():
        for take, name in zip(takes, names, strict=True):
            rungs = tempos if take.tempo is None else (take.tempo,)
            lasts = lasting[id(take.exercise)](take.tempo, Mix(mix_name))
            found.append(TrackSize(name, rungs, lasts))
    return tuple(found)


def _lasting(
    played: Exercise, settings: Settings, fastest: Fraction | None
) -> Callable[[Fraction | None, Mix], Fraction | None]:
    """Return what tells how long a track lasts, None where it does not fit."""
    tempos, stages = settings.tempos_of(played), settings.stages_of(played)
    known: dict[Mix, Fraction] = {}
    ringing = _tail(settings)

    def lasts(take: Fraction | None, mix: Mix) -> Fraction | None:
        if fastest is not None and (max(tempos) if take is None else take) > fastest:
            return None
        if take is None or stages:
            return timeline_of(played, settings, take, mix).duration + ringing
        if mix not in known:
            # It has the same beats at every tempo, so the slowest tells all.
            known[mix] = timeline_of(played, settings, min(tempos), mix).duration * min(tempos)
        return known[mix] / take + ringing

    return lasts


def _fastest(part: Exercise, stages: Sequence[Inner]) -> Fraction | None:
    """The fastest tempo at which all of it fits, in every way in which it is played."""
    ways = [Step(part.tempo, stage).of(part) for stage in stages] or [part]
    limits = (limit for way in ways for limit in fastest_tempos(way))
    return min((limit for limit in limits if limit is not None), default=None)


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


def crossing_noises(exercise: Exercise) -> dict[NoisePlace, Note]:
    """Return the crossing noises that lurk in an exercise, by their places."""
    # Imported where it is needed: few tracks have them.
    from renderer.technique.report import crossings

    return {
        (number, noise.bar, noise.item, noise.slot, noise.before_gracenote): noise.heard
        for number, line in enumerate(exercise.lines, start=1)
        for noise in crossings(line)
    }
