"""An exercise at one tempo, expanded into the timed events of a track.

A track is a chain of sections: a count-in of whole bars, then each line played as often as asked,
with bars of clicks between one line and the next (and, for an echo track, the same length left
free for the learner after each playing). A gracenote takes its time from the slot that it leads
(`on the beat`) or from what sounds before it (`before the beat`); it lasts the same at every tempo.
What a movement has before its beat takes its time from what sounds before it, at the head of a
track from the count-in. Movements are shortened, and give way a little, where the
tempo leaves them too little room.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from renderer.errors import failure
from renderer.notation.limits import (
    LEAST_SOUNDING_MS,
    LONGEST_TRACK_HOURS,
    MOST_COUNT_IN_BARS,
    MOST_GAP_BARS,
    MOST_REPEATS,
)
from renderer.notation.pitch import Note
from renderer.notation.score import Bar, Exercise, bar_offsets
from renderer.timing.fit import give_way, shortened_words
from renderer.timing.order_of_playing import PlayedExercise, played
from renderer.timing.room import Fitted, Joins, fitted, moved_to_the_start
from renderer.timing.soundings import (
    MILLISECOND,
    NOTHING,
    Chain,
    Moment,
    Sounding,
    beats_of_lines,
    chains_of,
)
from renderer.timing.timeline import (
    Click,
    ClickKind,
    Event,
    Role,
    Roll,
    Section,
    SectionKind,
)

CountInStyle = Literal["clicks", "rolls"]
Introduction = Literal["none", "E"]

_ROLL_BEATS, ROLL_COUNT = 3, 4
"""A pipe band starts on two rolls of three beats, counted in four in every meter, since each is
followed by its beat of rest (common practice)."""

LEAST_INTRODUCTION = LEAST_SOUNDING_MS * MILLISECOND

CROSSING_NOISE_MS = 25
"""How long a crossing noise sounds where it is to be heard (the project's own choice)."""

NoisePlace = tuple[int, int, int, int, bool]
"""Line, bar, item and slot from 1, and whether the noise sounds before the slot's gracenote."""


@dataclass(frozen=True, slots=True)
class _Placed:
    """A sounding in the track.

    Its start and how long its gracenote lasts, in seconds; its written line and bar (from 1) and
    which time that bar is played; which playing of its line it is in; and the number by which note
    ids name the line.
    """

    start: Fraction
    sounding: Sounding
    gracenote_lasts: Fraction = Fraction(0)
    line: int = 0
    bar: int = 0
    turn: int = 0
    playing: int = 0
    number: int = 0
    bars_before: int = 0

    def event(self, start: Fraction, length: Fraction, note: Note | None, role: Role) -> Event:
        written = self.sounding
        return Event(
            start,
            length,
            note,
            role,
            self.line,
            self.bar,
            written.item,
            written.slot,
            self.turn,
            self.number,
            self.bars_before,
        )


@dataclass(frozen=True, slots=True)
class Timeline:
    """Everything that happens in a track. Iterating yields the chanter's events in order.

    Events and clicks are made as they are asked for, so that hours of track take no memory.

    Parameters
    ----------
    order:
        The exercise that is played, its bars in the order in which they are played.
    tempo:
        Beats per minute.
    sections:
        The stretches of the track in order, tiling it. Their lines are those of `exercise`.
    rolls:
        Snare-drum rolls of the count-in.
    drones_start:
        When the drones strike in, seconds.
    fit:
        Each line's soundings, movements as long as they are at this tempo.
    subdivide:
        Whether the metronome also marks halves (or thirds, in compound meters) of the beat.
    noises:
        The crossing noises that sound in every second turn of a line, by their places; None where
        they were not asked for.
    introduction:
        What the chanter sounds for the beat before the first line.
    heads:
        The numbers (from 0) of the sections that begin as a track does: nothing of theirs sounds
        before them.
    said:
        Its remarks, where they were worked out already.
    """

    order: PlayedExercise
    tempo: Fraction
    sections: tuple[Section, ...]
    rolls: tuple[Roll, ...]
    drones_start: Fraction
    fit: Fitted
    subdivide: bool
    noises: Mapping[NoisePlace, Note] | None = None
    introduction: Note | None = None
    heads: frozenset[int] = frozenset((0,))
    said: tuple[str, ...] | None = None

    @property
    def exercise(self) -> Exercise:
        """The exercise as it is played: a line for each run of bars, no sign left to follow."""
        return self.order.exercise

    @property
    def written(self) -> Exercise:
        """The exercise as it is written, whose lines and bars events name."""
        return self.order.written

    @property
    def chains(self) -> tuple[Chain, ...]:
        """Each line's soundings, movements as long as they are at this tempo."""
        return self.fit.chains

    @property
    def remarks(self) -> tuple[str, ...]:
        """What was decided that the user should know, in sentences."""
        return tuple(_remarks(self)) if self.said is None else self.said

    @property
    def duration(self) -> Fraction:
        """The length of the track in seconds, exact."""
        last = self.sections[-1]
        return last.start + last.length

    @property
    def seconds_per_beat(self) -> Fraction:
        """The length of a beat at this rung, before any tempo mark."""
        return 60 / self.tempo

    def __iter__(self) -> Iterator[Event]:
        placed = self._placed()
        current = next(placed, None)
        while current is not None:
            following = next(placed, None)
            start, sounding = current.start, current.sounding
            if sounding.gracenote is not None:
                lasts = current.gracenote_lasts
                yield current.event(start, lasts, sounding.gracenote, Role.GRACENOTE)
                start += lasts
            length = (self.duration if following is None else following.start) - start
            if length <= 0:
                pass
            elif self.noises is None:
                yield current.event(start, length, sounding.note, sounding.role)
            else:
                yield from self._with_noises(current, following, start, length)
            current = following

    def _with_noises(
        self, current: _Placed, following: _Placed | None, start: Fraction, length: Fraction
    ) -> Iterator[Event]:
        """Yield the note of `current`, with the crossing noises that take their time from it."""
        most = min(CROSSING_NOISE_MS * MILLISECOND, length / 4)
        if (noise := self._noise(current, before_gracenote=False)) is not None:
            yield current.event(start, most, noise, Role.CROSSING_NOISE)
            start, length = start + most, length - most
        after = None if following is None else self._noise(following, before_gracenote=True)
        if after is not None:
            length -= most
        yield current.event(start, length, current.sounding.note, current.sounding.role)
        if after is not None and following is not None:
            yield following.event(start + length, most, after, Role.CROSSING_NOISE)

    def _noise(self, placed: _Placed, *, before_gracenote: bool) -> Note | None:
        if self.noises is None or placed.playing == 0 or placed.playing % 2:
            return None
        sounding = placed.sounding
        place = (placed.line, placed.bar, sounding.item, sounding.slot, before_gracenote)
        return self.noises.get(place)

    def clicks(self) -> Iterator[Click]:
        """Yield the metronome's clicks in order, those within the lines included."""
        # A line that follows itself is worked out once.
        line, in_line = 0, tuple[tuple[Fraction, ClickKind], ...]()
        for section in self.sections:
            if section.kind in (SectionKind.COUNT_IN, SectionKind.GAP):
                if section.kind is SectionKind.COUNT_IN and self.rolls:
                    continue
                spb = self.seconds_per_beat * self.chains[section.line - 1].stretch[0]
                bar = self.exercise.lines[section.line - 1].bars[0]
                yield from _lead_in_clicks(section, bar, spb)
                continue
            if section.line != line:
                line, in_line = section.line, tuple(self._clicks_in(section.line))
            for after, click in in_line:
                yield Click(section.start + after, click, section.kind)

    def _clicks_in(self, number: int) -> Iterator[tuple[Fraction, ClickKind]]:
        """Yield the clicks of a line (from 1): how many seconds after its start, and which."""
        line, chain = self.exercise.lines[number - 1], self.chains[number - 1]
        for bar, start, stretch, offset in zip(
            line.bars, chain.bar_starts, chain.stretch, bar_offsets(line.bars), strict=False
        ):
            beats, parts = bar.beats, (3 if bar.meter.is_compound else 2) if self.subdivide else 1
            for index in range(bar.meter.beats * parts):
                position = Fraction(index, parts) - offset
                if not 0 <= position < beats:
                    continue
                if index % parts:
                    click = ClickKind.SUBDIVISION
                else:
                    click = ClickKind.BEAT if index else ClickKind.ACCENT
                yield (start + position * stretch) * self.seconds_per_beat, click

    def _placed(self) -> Iterator[_Placed]:
        spb = self.seconds_per_beat
        silence = Sounding(NOTHING, NOTHING, None, None, Role.REST, 0, 0, 0)
        turns: Counter[tuple[int, int]] = Counter()
        # A line that follows itself is worked out once.
        line, laid = (0, False), tuple[_Placed, ...]()
        for number, section in enumerate(self.sections):
            if section.kind is not SectionKind.LINE:
                yield _Placed(section.start, silence)
                if section.kind is SectionKind.COUNT_IN and self.introduction is not None:
                    beat = spb * self.chains[section.line - 1].stretch[0]
                    sounded = replace(silence, note=self.introduction, role=Role.INTRODUCTION)
                    yield _Placed(section.start + section.length - beat, sounded)
                continue
            if line != (section.line, number in self.heads):
                line = section.line, number in self.heads
                laid = tuple(self._laid(*line))
            at = 0
            for one in laid:
                place = one.line, one.bar
                if one.sounding.bar != at:
                    at = one.sounding.bar
                    turns[place] += 1
                yield _Placed(
                    section.start + one.start,
                    one.sounding,
                    one.gracenote_lasts,
                    *place,
                    turns[place],
                    section.turn,
                    one.number,
                    one.bars_before,
                )

    def _laid(self, number: int, is_head: bool) -> Iterator[_Placed]:
        """Yield the soundings of a line (from 1) as if it began with the track, in no turn."""
        chain, spb = self.chains[number - 1], self.seconds_per_beat
        bars = self.order.lines[number - 1]
        for sounding in (moved_to_the_start(chain) if is_head else chain).soundings:
            written = bars[sounding.bar - 1]
            index = written.line - 1
            yield _Placed(
                sounding.start.at(spb),
                sounding,
                sounding.gracenote_lasts.at(spb),
                written.line,
                written.bar,
                0,
                0,
                self.written.id_number(index),
                self.written.lines[index].bars_before,
            )


def _lead_in_clicks(section: Section, bar: Bar, spb: Fraction) -> Iterator[Click]:
    beats = bar.meter.beats
    for index in range(math.ceil(section.length / spb)):
        kind = ClickKind.BEAT if index % beats else ClickKind.ACCENT
        yield Click(section.start + index * spb, kind, section.kind)


def _check_counts(count_in: int, repeats: int, gap: int) -> None:
    for name, value, least, most in (
        ("bars of count-in", count_in, 0, MOST_COUNT_IN_BARS),
        ("bars between lines", gap, 0, MOST_GAP_BARS),
        ("repeats", repeats, 1, MOST_REPEATS),
    ):
        if not least <= value <= most:
            raise failure(
                f"{value} {name} are out of range", f"choose a number from {least} to {most}"
            )


def _sections(
    exercise: Exercise,
    chains: tuple[Chain, ...],
    spb: Fraction,
    led_in: Sequence[Fraction],
    repeats: int,
    echo: bool,
) -> Iterator[Section]:
    """Yield the sections; `led_in` has the beats of clicks (or rolls) before each line."""
    now, tempo = Fraction(0), 60 / spb
    for index, (line, chain) in enumerate(zip(exercise.lines, chains, strict=True)):
        if led_in[index]:
            length = led_in[index] * chain.stretch[0] * spb
            kind = SectionKind.GAP if index else SectionKind.COUNT_IN
            yield Section(kind, now, length, index + 1, 1, line.heading, tempo)
            now += length
        for turn in range(1, repeats + 1):
            length = chain.beats * spb
            yield Section(SectionKind.LINE, now, length, index + 1, turn, line.heading, tempo)
            now += length
            if echo:
                yield Section(SectionKind.ECHO, now, length, index + 1, turn, line.heading, tempo)
                now += length


def expand_at(
    exercise: Exercise,
    tempo: Fraction,
    *,
    count_in: int,
    count_in_style: CountInStyle,
    repeats: int,
    echo: bool,
    gap: int,
    subdivide: bool,
    noises: Mapping[NoisePlace, Note] | None,
    introduction: Note | None,
) -> Timeline:
    """Expand an exercise at one tempo into the timed events of a track.

    What is usual stands in the table of settings; `renderer.expand` takes it from there.

    Parameters
    ----------
    exercise:
        What is played.
    tempo:
        Beats per minute.
    count_in:
        Whole bars before the first line.
    count_in_style:
        `clicks`, or `rolls`: two snare rolls of three beats and a beat of rest in every meter,
        with the drones striking in on the second. A pickup of up to a beat falls into the last
        rest. Rolls are two however many bars `count_in` asks for; a `count_in` of 0 leaves them
        out too.
    repeats:
        How often each line is played, without a gap; medleys and tunes with repeats, tune by tune.
    echo:
        Whether the same length is left free for the learner after each playing of a line.
    gap:
        Bars of clicks between one line and the next; of medleys and of tunes with repeats, between
        one tune and the next.
    subdivide:
        Whether the metronome also marks halves (thirds in compound meters) of the beat.
    noises:
        Crossing noises to be heard, by their places. Each line is then played once clean and once
        with them, `repeats` times over.
    introduction:
        What the chanter sounds for the last beat of the count-in, as bands bring a tune in; nothing
        without a count-in.

    Raises
    ------
    RungwiseError
        If a setting is out of range, or an ornament does not fit into its note at this tempo.
    """
    _check_counts(count_in, repeats, gap)
    spb = Fraction(60) / tempo
    order = played(exercise)
    if noises is None and repeats > 1 and any(len(tune) > 1 for tune in order.tunes):
        # A tune is repeated as a whole, not part by part.
        order, repeats = order.repeated(repeats), 1
    exercise = order.exercise
    twice = repeats > 1 or noises is not None
    if noises is not None:
        repeats *= 2
    beats = sum(beats_of_lines(exercise)) * repeats * (2 if echo else 1)
    check_duration(beats * spb, exercise)
    chains = chains_of(exercise)
    led_in = [Fraction(0)] * len(chains)
    for tune in order.tunes:
        first = exercise.lines[tune.start].bars
        style: CountInStyle = "clicks" if tune.start else count_in_style
        led_in[tune.start] = lead_in_beats(first, gap if tune.start else count_in, style)
    rolls: tuple[Roll, ...] = ()
    if count_in_style == "rolls" and count_in > 0:
        rolls = _two_rolls(spb * chains[0].stretch[0])
    if not count_in:
        introduction = None
    sections = tuple(_sections(exercise, chains, spb, led_in, repeats, echo))
    silence = None
    if introduction is not None:
        silence = Moment(chains[0].stretch[0], -LEAST_INTRODUCTION)
    joins = tuple(_joins(sections, len(chains), spb, silence, repeated=twice and not echo))
    least = chains_of(exercise, "least")
    offsets = give_way(exercise, least, joins, tempo)
    fit = fitted(exercise, chains, least, joins, spb, offsets)
    return Timeline(
        order=order,
        tempo=tempo,
        sections=sections,
        rolls=rolls,
        drones_start=rolls[1].start if rolls else Fraction(0),
        fit=fit,
        subdivide=subdivide,
        noises=noises,
        introduction=introduction,
    )


def _joins(
    sections: Sequence[Section],
    lines: int,
    spb: Fraction,
    introduced: Moment | None,
    *,
    repeated: bool,
) -> Iterator[Joins]:
    """Yield what comes before and after each line, from the sections of the track.

    `introduced` is what a note before the first line leaves of the silence there.
    """
    silences: list[list[Moment]] = [[] for _ in range(lines)]
    follows = [False] * lines
    for before, section in pairwise(sections):
        if section.kind is not SectionKind.LINE:
            continue
        if before.kind is not SectionKind.LINE:
            silence = Moment(before.length / spb)
            if introduced is not None and before.kind is SectionKind.COUNT_IN:
                silence = introduced
            silences[section.line - 1].append(silence)
        elif before.line != section.line:
            follows[before.line - 1] = True
    opens = sections[0].kind is SectionKind.LINE
    for index in range(lines):
        # Silences of one length ask for the same.
        shortest = tuple(sorted(set(silences[index]), key=lambda silence: silence.at(spb)))[:1]
        yield Joins(repeated, follows[index], shortest, opens and index == 0)


def check_duration(seconds: Fraction, exercise: Exercise) -> None:
    """Raise a `RungwiseError` if a track would be longer than any may be."""
    hours = float(seconds) / 3600
    if hours > LONGEST_TRACK_HOURS:
        raise failure(
            f"the track would last {hours:.1f} hours",
            f"ask for fewer repeats or lines; a track lasts at most {LONGEST_TRACK_HOURS} hours",
            file=exercise.source,
        )


def lead_in_beats(line: Sequence[Bar], bars: int, style: CountInStyle) -> Fraction:
    """Return how many beats of clicks, or of rolls and their rests, lead into a line.

    Clicks are so many bars, of which a pickup takes its beats from one more. Of two rolls a pickup
    of up to a beat falls into the last rest; a longer one comes after it.
    """
    if not bars:
        return Fraction(0)
    offset = bar_offsets(line)[0]
    if style == "clicks":
        return bars * line[0].meter.beats + offset
    pickup = line[0].beats if offset else Fraction(0)
    beats = Fraction(2 * ROLL_COUNT)
    return beats - pickup if pickup <= ROLL_COUNT - _ROLL_BEATS else beats


def _two_rolls(seconds_per_beat: Fraction) -> tuple[Roll, Roll]:
    length, second = _ROLL_BEATS * seconds_per_beat, ROLL_COUNT * seconds_per_beat
    return Roll(Fraction(0), length), Roll(second, length)


def _remarks(timeline: Timeline) -> Iterator[str]:
    first = next(iter(timeline.chains[0].soundings), None)
    is_counted_in = timeline.sections[0].kind is SectionKind.COUNT_IN
    if not is_counted_in and first is not None and first.start != NOTHING:
        what = "gracenote" if first.role is Role.MELODY else "movement"
        yield (
            f"Without a count-in there is no time before the first beat: its {what} is played on "
            "the beat."
        )
    if (said := shortened_words(timeline.exercise, timeline.fit, timeline.tempo)) is not None:
        yield said
    if timeline.noises is not None and not timeline.noises:
        yield "No crossing noise lurks in it: each line is played clean both times."
