"""What a series of tracks is played with that is not usual, in few words.

Names and albums carry it, so that a track without metronome or at the pipe chanter neither replaces
its sister nor looks like it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from renderer.delivery.settings import RenderSettings, Resolved
from renderer.notation.score import Exercise
from renderer.sound.settings import Levels

_USUAL = RenderSettings()


def _count_in(settings: RenderSettings) -> Iterator[str]:
    if settings.count_in == 0:
        yield "no count-in"
        return
    if settings.count_in_style.strip().casefold() != _USUAL.count_in_style:
        yield settings.count_in_style.strip().casefold()
    elif settings.count_in != _USUAL.count_in:
        yield f"count-in {settings.count_in}"


def _levels(levels: Levels) -> Iterator[str]:
    for part in ("chanter", "drone", "metronome"):
        level = getattr(levels, part)
        if level != getattr(Levels(), part):
            yield f"{part} {level:g} dB"


def _voice(part: str, soundfont: Path | None, preset: str | None) -> Iterator[str]:
    if preset is not None:
        name = "" if soundfont is None else f"{soundfont.stem} "
        yield f"{part} {name}{preset.strip().replace(':', '-')}"


def variations(exercise: Exercise, settings: RenderSettings, resolved: Resolved) -> tuple[str, ...]:
    """Return what is not as usual, such as `pipe chanter` and `no metronome`.

    Pitch, mix, tempo and format are left out: every track says these.

    Parameters
    ----------
    exercise:
        As it was read, its gracenotes and repeats its own.
    settings, resolved:
        What was asked for, and what it means.
    """
    found: list[str] = []
    usual_gracenotes = exercise.gracenotes
    if resolved.chanter.value != _USUAL.chanter:
        found.append(f"{resolved.chanter} chanter")
    if resolved.scale.name != _USUAL.scale:
        found.append(resolved.scale.name)
    found += _voice("chanter", settings.soundfont, settings.preset)
    found += _voice("drones", settings.drone_soundfont, settings.drone_preset)
    if not settings.drone:
        found.append("no drone")
    if not settings.metronome:
        found.append("no metronome")
    if settings.subdivide:
        found.append("subdivided")
    found += _count_in(settings)
    if settings.gap != _USUAL.gap:
        found.append(f"gap {settings.gap}")
    if settings.repeats not in (None, _USUAL.repeats_of(exercise)):
        found.append("once each" if settings.repeats == 1 else f"{settings.repeats} times each")
    if settings.gracenote not in (None, usual_gracenotes.length):
        found.append(f"gracenotes {settings.gracenote}".replace("/", "-"))
    if settings.placement not in (None, usual_gracenotes.placement):
        found.append(str(settings.placement))
    if resolved.layout.value != _USUAL.layout:
        found.append(resolved.layout.value)
    found += _levels(resolved.levels)
    if settings.rate != _USUAL.rate:
        found.append(f"{settings.rate} Hz")
    return tuple(found)
