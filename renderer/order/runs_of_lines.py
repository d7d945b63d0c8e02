"""Tracks that are small enough to send: an exercise in as few runs of its lines as do."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cached_property

from renderer.errors import RungwiseError
from renderer.notation.score import Exercise
from renderer.order.formats import AudioFormat, rate_in
from renderer.order.settings import Settings
from renderer.order.sizes import least_bytes, most_a_second
from renderer.order.tracks import durations_of

_MARGIN_BYTES = 60_000
"""Of what a track's file has besides its sound, at most: a cover, chapters, texts."""


class RunsOfLines:
    """An exercise whose tracks have to be small enough to send, in runs of its lines.

    All rungs, pitches, mixes and formats are divided alike, as the longest track of the largest
    format needs it: `wide, lines 1 to 3` is the same lines on every rung.
    """

    def __init__(
        self, whole: Exercise, exercise: Exercise, settings: Settings, most_bytes: int
    ) -> None:
        """Take an exercise, and the whole that it may be a part of, and how large files may be."""
        self._whole, self._exercise, self._settings = whole, exercise, settings
        self._most = most_bytes
        count = len(exercise.lines)
        self._numbers = tuple(exercise.number_of(index) for index in range(count))
        rates = {one: rate_in(one, settings.rate) for one in settings.format}
        self._a_second = max(most_a_second(one, rates[one], settings) for one in rates)
        self._rates = rates
        self._lasting: dict[tuple[int, ...], Fraction | None] = {}

    def runs(self) -> tuple[tuple[Exercise, Settings], ...]:
        """The runs, each with its settings and as long as it may be; none where all lines fit."""
        if self._settings.each_line or len(self._numbers) == 1:
            return ()
        divided = self._divided
        return tuple((self._of(run), self._only(run)) for run in divided[1:] and divided)

    def too_large(self) -> list[tuple[int, int]]:
        """The lines that no division makes small enough, each with the least bytes that it has."""
        is_each = self._settings.each_line
        alone = [(one,) for one in self._numbers] if is_each else self._divided
        found = []
        for run in alone:
            if len(run) == 1:
                seconds = self._longest(run) or Fraction(0)
                size = max(self._least(one, seconds) for one in self._rates)
                if size > self._most:
                    found.append((run[0], size))
        return found

    @cached_property
    def _divided(self) -> list[tuple[int, ...]]:
        """The numbers of the lines of each run."""
        if self._fits(self._numbers):
            return [self._numbers]
        found: list[tuple[int, ...]] = []
        rest = self._numbers
        while rest:
            taken = self._first_that_fit(rest, len(found[-1]) if found else 1)
            found.append(rest[:taken])
            rest = rest[taken:]
        return found

    def _least(self, audio_format: AudioFormat, seconds: Fraction) -> int:
        rate, channels = self._rates[audio_format], self._settings.heard_layout.channels
        frames, is_small = int(seconds * rate), self._settings.share
        return least_bytes(
            audio_format, frames=frames, rate=rate, channels=channels, is_small=is_small
        )

    def _first_that_fit(self, rest: tuple[int, ...], likely: int) -> int:
        """How many lines from the first on fit together; 1 where not even that one does."""
        least, too_many = 1, len(rest) + 1
        trial = likely
        while too_many - least > 1:
            trial = min(max(trial, least + 1), too_many - 1)
            if self._fits(rest[:trial]):
                least, trial = trial, trial + 1
            else:
                too_many, trial = trial, (least + trial) // 2
        return least

    def _fits(self, numbers: tuple[int, ...]) -> bool:
        longest = self._longest(numbers)
        return longest is None or longest * self._a_second + _MARGIN_BYTES <= self._most

    def _only(self, numbers: tuple[int, ...]) -> Settings:
        return replace(self._settings, line=None, lines=numbers)

    def _of(self, numbers: tuple[int, ...]) -> Exercise:
        return self._only(numbers).chosen(self._whole)

    def _longest(self, numbers: tuple[int, ...]) -> Fraction | None:
        """How long the longest track of some lines lasts; None for what cannot be played.

        That is said where tracks are planned.
        """
        if numbers not in self._lasting:
            settings, is_all = self._settings, numbers == self._numbers
            part = self._exercise if is_all else self._of(numbers)
            try:
                played = settings.applied_to(part)
                tempos = settings.takes_of(played)
                slowest = min((one for one in tempos if one is not None), default=None)
                alone = replace(settings, each_line=False)
                longest = max(durations_of(played, alone, [slowest]).values())
            except RungwiseError:
                self._lasting[numbers] = None
            else:
                self._lasting[numbers] = longest
        return self._lasting[numbers]
