"""Several timelines of an exercise, one after the other in a track: rungs, movements that close.

Each keeps its own exact times, so that a rung in a track that climbs sounds as it does by itself:
what follows the first only begins later, and its count-in is clicks between rungs. The whole is a
`Timeline` like any other, at the tempo of its first rung: beats of the others are counted in beats
of that one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from renderer.notation.playing import Inner
from renderer.notation.score import Exercise, Line
from renderer.timing.expand import Timeline, check_duration
from renderer.timing.fit import shortened_words
from renderer.timing.order_of_playing import PlayedBar, PlayedExercise
from renderer.timing.room import Fitted
from renderer.timing.soundings import Chain, Moment
from renderer.timing.timeline import Section, SectionKind


@dataclass(frozen=True, slots=True)
class Step:
    """What of a track is played at one tempo, movements in one way.

    Parameters
    ----------
    tempo:
        Beats per minute.
    inner:
        How long the inner notes of all movements last; None where the exercise says it.
    """

    tempo: Fraction
    inner: Inner | None = None

    def of(self, exercise: Exercise) -> Exercise:
        """Return an exercise with its movements played in this way."""
        if self.inner is None:
            return exercise
        lines = tuple(replace(line, inner=None) for line in exercise.lines)
        return replace(exercise, inner=self.inner, lines=lines)


def steps_of(tempos: Sequence[Fraction], inner: Sequence[Inner]) -> tuple[Step, ...]:
    """Return the steps of a track in order: rungs, and ways to play movements.

    Parameters
    ----------
    tempos:
        The rungs, in beats a minute; at least one.
    inner:
        How long inner notes last, from opened to closed; empty where the exercise says it.

    Returns
    -------
    As many as there are of the longer row; the shorter one is spread over it, each of its members
    for as many steps as any other or one more. Both begin with their first and end with their last.
    """
    count = max(len(tempos), len(inner))
    return tuple(
        Step(
            tempos[at * len(tempos) // count],
            inner[at * len(inner) // count] if inner else None,
        )
        for at in range(count)
    )


def _scaled(chain: Chain, factor: Fraction) -> Chain:
    """A line's soundings in beats of another tempo: so many of those to one of its own."""
    if factor == 1:
        return chain

    def moved(moment: Moment) -> Moment:
        return Moment(moment.beats * factor, moment.seconds) if moment.beats else moment

    return Chain(
        tuple(
            replace(one, start=moved(one.start), gracenote_lasts=moved(one.gracenote_lasts))
            for one in chain.soundings
        ),
        tuple(start * factor for start in chain.bar_starts),
        tuple(stretch * factor for stretch in chain.stretch),
    )


def _told(timelines: Sequence[Timeline]) -> tuple[str, ...]:
    """The remarks of all, each once; which movements are shortened is told of the fastest rung."""
    said: dict[str, None] = {}
    shortened: list[tuple[Fraction, str]] = []
    for one in timelines:
        words = shortened_words(one.exercise, one.fit, one.tempo)
        if words is not None:
            shortened.append((one.tempo, words))
        said |= dict.fromkeys(remark for remark in one.remarks if remark != words)
    if shortened:
        _, words = max(shortened)
        others = len({tempo for tempo, _ in shortened}) - 1
        rungs = "1 slower rung" if others == 1 else f"{others} slower rungs"
        said[words + (f" Some are on {rungs} too." if others else "")] = None
    return tuple(said)


def one_after_another(timelines: Sequence[Timeline], steps: Sequence[Step]) -> Timeline:
    """Return the timeline of a track in which others follow each other without a pause.

    Parameters
    ----------
    timelines:
        Of the same written exercise, at least one; each expanded by itself, the later ones with
        the clicks between rungs as their count-in.
    steps:
        What each of them is.

    Returns
    -------
    Its events are those of the parts, each moved by what lasts before it, and its length is the
    sum. Playings of a bar are counted through.

    Raises
    ------
    RungwiseError
        If the track would be too long.
    """
    first = timelines[0]
    if len(timelines) == 1:
        return first
    lines: list[Line] = []
    bars: list[tuple[PlayedBar, ...]] = []
    numbers: list[int] = []
    chains: list[Chain] = []
    sections: list[Section] = []
    heads: set[int] = set()
    begin = Fraction(0)
    for timeline, step in zip(timelines, steps, strict=True):
        heads.add(len(sections))
        for section in timeline.sections:
            kind = section.kind
            if timeline is not first and kind is SectionKind.COUNT_IN:
                kind = SectionKind.GAP
            sections.append(
                replace(
                    section,
                    kind=kind,
                    start=section.start + begin,
                    line=section.line + len(lines),
                    inner=step.inner,
                )
            )
        factor = first.tempo / timeline.tempo
        chains += [_scaled(chain, factor) for chain in timeline.chains]
        exercise = timeline.exercise
        numbers += [exercise.number_of(at) for at in range(len(exercise.lines))]
        lines += exercise.lines
        if step.inner is not None:
            lines[-len(exercise.lines) :] = (
                replace(line, inner=step.inner) for line in exercise.lines
            )
        bars += timeline.order.lines
        begin += timeline.duration
    check_duration(begin, first.written)
    music = replace(first.exercise, lines=tuple(lines), numbers=tuple(numbers))
    return replace(
        first,
        order=PlayedExercise(first.written, music, tuple(bars)),
        sections=tuple(sections),
        fit=Fitted(tuple(chains), {}, {}),
        heads=frozenset(heads),
        said=_told(timelines),
    )
