"""Render settings: what a user asks for, as given, to what it means, checked all at once.

The one place for the defaults and the bounds of rendering; command line, pack files and the Python
interface share it. `RenderSettings` holds plain texts and numbers and imports nothing heavy;
`resolve` turns them into pitches, scales, mixes and formats.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from renderer.delivery.formats import AudioFormat, check_rate, format_named
from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.limits import MOST_COUNT_IN_BARS, MOST_GAP_BARS, MOST_REPEATS
from renderer.notation.score import Exercise
from renderer.sound.frames import HIGHEST_RATE, LOWEST_RATE
from renderer.sound.pitch import (
    Chanter,
    PitchStandard,
    Scale,
    chanter_named,
    parse_pitch,
    scale_named,
)
from renderer.sound.settings import Layout, Levels, Mix, parse_levels

if TYPE_CHECKING:
    from renderer.notation.length import Length
    from renderer.notation.score import Ladder, Placement
    from renderer.sound.voices import Voice
    from renderer.timing.expand import CountInStyle

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class RenderSettings:
    """How exercises are rendered, as the user gives it.

    Parameters
    ----------
    ladder:
        The tempos to render at; None for the exercise's own ladder, or its tempo if it has none.
        Its `repeats` are not looked at, `repeats` here is.
    pitches:
        Each `A`, `B flat`, or low A in hertz in the pipe chanter's octave.
    scale:
        `equal`, `MacNeill` or `harmonic`.
    chanter:
        `practice` or `pipe`.
    mixes:
        Each `full`, `backing`, `chanter` or `echo`.
    formats:
        Each `wav`, `flac`, `mp3` or `ogg`.
    count_in:
        Whole bars of count-in, 0 to 8.
    count_in_style:
        `clicks` or `rolls`.
    metronome, subdivide, drone:
        Whether the metronome runs through the lines, whether it also marks parts of the beat, and
        whether drones sound.
    repeats:
        How often each line is played; None for what the exercise's ladder says, or once.
    gap:
        Bars of clicks between lines, 0 to 8.
    rate:
        Frames per second, 8000 to 192000.
    gracenote, placement:
        Length and placement of gracenotes; None for the exercise's own.
    show_crossing:
        Whether each line is played once clean and once with its crossing noises to be heard.
    layout:
        `mono`, `stereo` or `split`.
    levels:
        Parts' levels in dB as text, `chanter=0,drone=-9,metronome=-6`; parts left out keep theirs.
    soundfont, preset, drone_soundfont, drone_preset:
        SoundFont files and presets (`BANK:PROGRAM`) for chanter and drones; None for the shipped.
    """

    ladder: Ladder | None = None
    pitches: tuple[str | float, ...] = ("A",)
    scale: str = "harmonic"
    chanter: str = "practice"
    mixes: tuple[str, ...] = ("full",)
    formats: tuple[str, ...] = ("mp3",)
    count_in: int = 1
    count_in_style: str = "clicks"
    metronome: bool = True
    subdivide: bool = False
    drone: bool = True
    repeats: int | None = None
    gap: int = 1
    rate: int = 44_100
    gracenote: Length | None = None
    placement: Placement | None = None
    show_crossing: bool = False
    layout: str = "stereo"
    levels: str = ""
    soundfont: Path | None = None
    preset: str | None = None
    drone_soundfont: Path | None = None
    drone_preset: str | None = None

    def applied_to(self, exercise: Exercise) -> Exercise:
        """Return the exercise with its gracenotes as these settings have them."""
        gracenotes = exercise.gracenotes
        if self.gracenote is not None:
            gracenotes = replace(gracenotes, length=self.gracenote)
        if self.placement is not None:
            gracenotes = replace(gracenotes, placement=self.placement)
        return replace(exercise, gracenotes=gracenotes)

    def repeats_of(self, exercise: Exercise) -> int:
        """Return how often each line of `exercise` is played."""
        if self.repeats is not None:
            return self.repeats
        return 1 if exercise.ladder is None else exercise.ladder.repeats


@dataclass(frozen=True, slots=True)
class Resolved:
    """What render settings mean; every tuple has at least one item and none twice."""

    pitches: tuple[PitchStandard, ...]
    scale: Scale
    chanter: Chanter
    mixes: tuple[Mix, ...]
    formats: tuple[AudioFormat, ...]
    count_in_style: CountInStyle
    layout: Layout
    levels: Levels
    voice: Voice | None
    drone_voice: Voice | None


class _Reader:
    """Reads settings one by one and collects what is wrong with them."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def read(self, place: str, reader: Callable[[], _T]) -> _T | None:
        try:
            return reader()
        except RungwiseError as error:
            # What is wrong with a file is not wrong with the setting that names it.
            self.problems += [
                problem if problem.file else replace(problem, place=place)
                for problem in error.problems
            ]
            return None

    def read_all(
        self, place: str, given: Iterable[str | float], reader: Callable[[str], _T]
    ) -> tuple[_T, ...]:
        if isinstance(given, str):
            given = (given,)
        read = [self.read(place, lambda one=one: reader(one)) for one in given]  # type: ignore[misc]
        if not read:
            self.problems.append(Problem("there is none", "name at least one", place))
        return tuple(dict.fromkeys(one for one in read if one is not None))

    def bound(self, place: str, value: int, least: int, most: int) -> None:
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            self.problems.append(
                Problem(
                    f"{value!r} is out of range",
                    f"choose a whole number from {least} to {most}",
                    place,
                )
            )


def _named(kind: str, names: Iterable[_T], name: str) -> _T:
    known = list(names)
    for one in known:
        if str(one) == name.strip().casefold():
            return one
    listed = ", ".join(str(one) for one in known)
    raise failure(f"there is no {kind} {name!r}", f"choose one of {listed}")


def _voice(soundfont: Path | None, preset: str | None) -> Voice | None:
    from renderer.sound.own_soundfont import shipped_soundfont
    from renderer.sound.synth import check_soundfont
    from renderer.sound.voices import Voice, parse_preset

    if soundfont is None and preset is None:
        return None
    if soundfont is not None:
        check_soundfont(soundfont)
    if preset is None:
        raise failure(
            f"which preset of {soundfont} is to play is not said",
            "name it as bank and program, such as 0:109, the bagpipe of General MIDI",
        )
    bank, program = parse_preset(preset)
    return Voice(soundfont or shipped_soundfont(), bank, program)


def resolve(settings: RenderSettings) -> Resolved:
    """Return what the settings mean.

    Raises
    ------
    RungwiseError
        With every problem that they have, each naming the setting.
    """
    reader = _Reader()
    pitches = reader.read_all("pitches", settings.pitches, parse_pitch)
    scale = reader.read("scale", lambda: scale_named(settings.scale))
    chanter = reader.read("chanter", lambda: chanter_named(settings.chanter))
    mixes = reader.read_all("mixes", settings.mixes, lambda name: _named("mix", Mix, name))
    formats = reader.read_all("formats", settings.formats, format_named)
    layout = reader.read("layout", lambda: _named("layout", Layout, settings.layout))
    levels = reader.read("levels", lambda: parse_levels(settings.levels))
    styles: tuple[CountInStyle, ...] = ("clicks", "rolls")
    style = reader.read(
        "count_in_style", lambda: _named("count-in style", styles, settings.count_in_style)
    )
    voice = reader.read("preset", lambda: _voice(settings.soundfont, settings.preset))
    drone_voice = reader.read(
        "drone_preset", lambda: _voice(settings.drone_soundfont, settings.drone_preset)
    )
    reader.bound("count_in", settings.count_in, 0, MOST_COUNT_IN_BARS)
    reader.bound("gap", settings.gap, 0, MOST_GAP_BARS)
    if settings.repeats is not None:
        reader.bound("repeats", settings.repeats, 1, MOST_REPEATS)
    before = len(reader.problems)
    reader.bound("rate", settings.rate, LOWEST_RATE, HIGHEST_RATE)
    if len(reader.problems) == before:
        for audio_format in formats:
            reader.read("rate", lambda one=audio_format: check_rate(one, settings.rate))  # type: ignore[misc]
    if reader.problems:
        raise RungwiseError(reader.problems)
    assert scale is not None
    assert chanter is not None
    assert style is not None
    assert layout is not None
    assert levels is not None
    # Two spellings of one pitch (466.16 and 466.160) would be two tracks of one name.
    by_label = {pitch.label: pitch for pitch in reversed(pitches)}
    return Resolved(
        pitches=tuple(pitch for pitch in pitches if by_label[pitch.label] is pitch),
        scale=scale,
        chanter=chanter,
        mixes=mixes,
        formats=formats,
        count_in_style=style,
        layout=layout,
        levels=levels,
        voice=voice,
        drone_voice=drone_voice,
    )
