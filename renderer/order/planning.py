"""How an exercise is practised: settings to a plan whose blocks last as their tracks do."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from renderer.notation.score import Exercise
from renderer.order.names import tempos_label
from renderer.order.settings import Settings, closing_words, track_words
from renderer.order.tracks import timeline_of
from renderer.timing.practice import USUAL_LADDER, PracticePlan, practice_plan


def practice_of(exercise: Exercise, settings: Settings) -> PracticePlan:
    """Spread the lines and rungs of an exercise over days, as settings have it.

    A block lasts as long as the track of its line alone with the same settings.

    Parameters
    ----------
    exercise:
        What is practised, as `Settings.applied_to` returns it.
    settings:
        How, and how long.

    Raises
    ------
    RungwiseError
        If a line fits at none of the rungs, or the time is too short; see `practice_plan`.
    """
    if exercise.ladder is None:
        exercise = replace(exercise, ladder=USUAL_LADDER)
    once, twice = (replace(settings, repeats=repeats) for repeats in (1, 2))

    def lasting(line: int, tempo: Fraction) -> tuple[Fraction, Fraction]:
        alone = exercise.only(line)
        first, second = (timeline_of(alone, how, tempo).duration for how in (once, twice))
        beats = second - first
        return (first - beats) * tempo / 60, beats * tempo / 60

    made = practice_plan(
        exercise,
        settings.tempos_of(exercise),
        lasting,
        settings.minutes,
        settings.days,
        repeats=settings.repeats,
        playings=settings.playings,
    )
    sounding = track_words(settings)
    said = []
    if settings.climb is not None:
        rungs = settings.tempos_of(exercise)
        said.append(f"One track has all {len(rungs)} rungs from {tempos_label(rungs)} in a row.")
    if closing := closing_words(exercise, settings):
        said.append(f"{closing}.")
    if settings.each_line and len(exercise.lines) > 1:
        said.append("Each line has a track of its own.")
    if sounding:
        said.append(f"Tracks: {sounding}.")
    return replace(made, tracks=tuple(said), led_in=_led_in(settings))


def _led_in(settings: Settings) -> str:
    if not settings.count_in:
        return "without a count-in"
    if settings.count_in_style == "rolls":
        return "after two rolls"
    bars = settings.count_in
    return f"after {'a bar' if bars == 1 else f'{bars} bars'} of count-in"
