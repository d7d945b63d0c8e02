"""From the tones of a MIDI melody to onsets on the beat, each with where it stops sounding.

Where gracenotes begin on the beat, or end on it, is found out from the whole file; how much of a
group of several sounds before the beat, from all groups of the same notes, since players may let a
doubling begin on the beat and a grip end there. Everything else is laid on the beat: exactly where
the file is exact, otherwise on the nearest quarter or third of a beat, with the error in seconds.
Places are in quarter notes from the start of the file.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from renderer.notation.midi.file import MidiContents
from renderer.notation.midi.grid import WrittenPlaces
from renderer.notation.midi.led_notes import Tone
from renderer.notation.score import Placement

FINE_PARTS = (1, 2, 3, 4, 6, 8, 12)
"""Parts of a beat that notes of an exact file begin at, those tried first in front."""

COARSE_PARTS = (4, 3)
"""Parts of a beat that other notes are moved to."""

LEAST_RESTS = (1, 2, 3, 4)
"""Parts of a beat that rests begin at."""

LONG_ENDS = {"simple": (2,), "compound": (3,)}
"""Parts of a beat that a last note ends at if it lasts a beat or more (judgement)."""

_TOLERANCES_A_PART = 6
"""Parts of a beat shorter than so many tolerances are not told apart (judgement)."""

_LONGER_THAN_PHRASING = Fraction(5, 4)
"""A silence so many times as long as the usual one between notes is a rest (judgement)."""

MOSTLY = 0.9
"""A file is exact if this share of its notes begins at fine parts of a beat (judgement)."""

MOST_TRIED = 2_000
"""Notes that placement and exactness are judged by."""

Lead = Literal["none ahead", "first ahead", "all but the last ahead", "all ahead"]
"""How much of an ornament sounds before the beat: nothing, its first gracenote, all but the
gracenote of its main note, or all of it."""

Kind = tuple[int, ...]
"""The keys of a group's short notes and of its main note: groups of one kind lead alike."""

LEAST_SINGLE = 2
"""Single gracenotes that tell where gracenotes lie, whatever longer groups do (judgement)."""

LEAST_GAIN_SECONDS = 0.01
"""By so much nearer to the beat, on average, a kind of group must lie if it leads in a way of its
own (judgement)."""

EXACT_SECONDS = 0.001
"""No farther from the beat than a time in milliseconds is rounded."""


@dataclass(frozen=True, slots=True)
class Onset:
    """Where a tone begins once quantised, and where it stops; None if it goes on to the next."""

    tone: Tone
    place: Fraction
    stop: Fraction | None
    is_exact: bool


@dataclass(frozen=True, slots=True)
class Fit:
    """How well tones lie on the grid, led in some way.

    Parameters
    ----------
    tones:
        How many.
    off_the_grid:
        How many of them begin at no fine part of the beat.
    error_seconds:
        How far all of them together are from coarse parts.
    lead:
        How their ornaments lead.
    own_leads:
        How those kinds of groups lead that have a way of their own.
    """

    tones: int
    off_the_grid: int
    error_seconds: float
    lead: Lead
    own_leads: Mapping[Kind, Lead] = field(default_factory=dict, hash=False)

    @property
    def is_exact(self) -> bool:
        """Whether most begin at fine parts of the beat."""
        return self.off_the_grid <= (1 - MOSTLY) * self.tones


class _Beats:
    """The meter's grid: places to beats of the meter in force, and back."""

    def __init__(self, contents: MidiContents) -> None:
        self._meters = contents.meters
        self._at = 0

    def segment(self, place: Fraction) -> tuple[Fraction, Fraction]:
        """Where the meter at a place began, and its beat in quarters."""
        if place < self._meters[self._at][0]:
            self._at = 0
        while self._at + 1 < len(self._meters) and self._meters[self._at + 1][0] <= place:
            self._at += 1
        start, meter = self._meters[self._at]
        return start, meter.beat_value * 4

    def snapped(
        self, place: Fraction, parts: Sequence[int], within: Fraction | None
    ) -> Fraction | None:
        """The nearest part of a beat: the coarsest within a tolerance in quarters, or any."""
        start, beat = self.segment(place)
        position = (place - start) / beat
        found = (Fraction(round(position * part), part) for part in parts)
        if within is None:
            return start + min(found, key=lambda near: abs(near - position)) * beat
        off = within / beat
        for near in found:
            if abs(near - position) <= off:
                return start + near * beat
        return None


def _reference(tone: Tone, lead: Lead, is_first: bool) -> Fraction:
    """The place in a tone that lies on the beat."""
    if is_first and tone.start == 0:
        return tone.start
    if lead == "all ahead":
        return tone.main.start
    if lead == "all but the last ahead":
        return tone.group[-1].start
    at = tone.anchor + (lead == "first ahead" and tone.is_led)
    return (*tone.group, tone.main)[at].start


def _kind(tone: Tone) -> Kind:
    return (*(note.key for note in tone.group), tone.main.key)


class Quantiser:
    """Lays tones on the grid of the beat.

    Once they are laid, `placement` is where their gracenotes lie, `beat` the part of all groups
    that is on the beat (None where they differ, or a file of ours says it), `errors` how far each
    was from the grid in seconds.
    """

    def __init__(self, contents: MidiContents) -> None:
        self._contents = contents
        self._grid = _Beats(contents)
        self._is_ours = bool(contents.settings)
        self._written = WrittenPlaces(contents.bars, contents.tick)
        tick = contents.tick
        # Coarse ticks are exact to half of one; fine ones may come from times in milliseconds.
        self._tolerance = max(min(2 * tick, Fraction(1, 100)), tick / 2, Fraction(1, 1000))
        self._parts = [
            p for p in FINE_PARTS if Fraction(1, p) >= _TOLERANCES_A_PART * self._tolerance
        ]
        self._part_heard = Fraction(1)
        self.errors: list[float] = []
        self.placement: Placement = "on the beat"
        self.beat: Literal["first", "last"] | None = None

    def onsets(self, tones: list[Tone]) -> list[Onset]:
        """Lay the tones on the grid, choosing the lead of gracenotes that fits best."""
        fit = self.fit(tones)
        self.placement = "on the beat" if fit.lead == "none ahead" else "before the beat"
        self.beat = None if self._is_ours else self._beat(tones, fit)
        return self._onsets(tones, fit.lead, fit.own_leads, is_exact=fit.is_exact)

    def _beat(self, tones: list[Tone], fit: Fit) -> Literal["first", "last"] | None:
        leads = {fit.own_leads.get(_kind(tone), fit.lead) for tone in tones if len(tone.group) > 1}
        ahead = {lead in ("all ahead", "all but the last ahead") for lead in leads}
        if len(ahead) != 1:
            return None
        return "last" if ahead.pop() else "first"

    def fit(self, tones: list[Tone]) -> Fit:
        """Return how well the first of the tones lie on the grid, led as fits best."""
        tried = tones[:MOST_TRIED]
        self._part_heard = _usual_part_that_sounds(tried)
        leads = self._leads()
        if len(leads) == 1:
            return self._fit(tried, leads[0], {})
        single = [tone for tone in tried if len(tone.group) == 1]
        telling = tried
        if len(single) >= LEAST_SINGLE:
            telling, leads = single, ("none ahead", "all ahead")
        best = max(
            (self._fit(telling, lead, {}) for lead in leads),
            key=lambda fit: (fit.is_exact, -fit.error_seconds),
        ).lead
        return self._fit(tried, best, dict(self._own_leads(tried, best)))

    def _own_leads(self, tones: list[Tone], usual: Lead) -> Iterator[tuple[Kind, Lead]]:
        """Yield the kinds of groups that lie clearly nearer to the beat in a way of their own."""
        alike: defaultdict[Kind, list[Tone]] = defaultdict(list)
        for tone in tones:
            if len(tone.group) > 1 and tone.start > 0:
                alike[_kind(tone)].append(tone)
        for kind, group in alike.items():
            leads: list[Lead] = ["none ahead", "first ahead", "all ahead"]
            if group[0].group[-1].key > group[0].main.key:
                leads.append("all but the last ahead")
            strays = {lead: self._strays(group, lead) for lead in (usual, *leads)}
            nearest = min(strays, key=lambda lead: strays[lead])
            is_exact = strays[nearest] < EXACT_SECONDS < strays[usual]
            if is_exact or strays[usual] - strays[nearest] >= LEAST_GAIN_SECONDS:
                yield kind, nearest

    def _strays(self, tones: list[Tone], lead: Lead) -> float:
        """How far, in seconds and on average, tones are from coarse parts of a beat."""
        seconds = self._contents.seconds
        places = [_reference(tone, lead, is_first=False) for tone in tones]
        return sum(abs(seconds(p) - seconds(self._nearest(p))) for p in places) / len(places)

    def _fit(self, tones: list[Tone], lead: Lead, own_leads: Mapping[Kind, Lead]) -> Fit:
        onsets = self._onsets(tones, lead, own_leads, is_exact=True)
        off = sum(not onset.is_exact for onset in onsets)
        self._onsets(tones, lead, own_leads, is_exact=False)
        return Fit(len(tones), off, sum(self.errors), lead, own_leads)

    def _onsets(
        self,
        tones: list[Tone],
        usual: Lead,
        own_leads: Mapping[Kind, Lead],
        *,
        is_exact: bool,
    ) -> list[Onset]:
        onsets: list[Onset] = []
        before: Fraction | None = None
        self.errors = []
        for index, tone in enumerate(tones):
            lead = own_leads.get(_kind(tone), usual) if own_leads and tone.group else usual
            place = _reference(tone, lead, index == 0)
            exact = self._exact(place, before) if is_exact else None
            laid = self._nearest(place) if exact is None else exact
            stop = self._stop(tones, index, laid, is_exact)
            onsets.append(Onset(tone, laid, stop, exact is not None))
            before = stop or laid
            seconds = self._contents.seconds
            self.errors.append(abs(seconds(place) - seconds(max(laid, Fraction(0)))))
        return onsets

    def _nearest(self, place: Fraction) -> Fraction:
        laid = self._grid.snapped(place, COARSE_PARTS, None)
        assert laid is not None, "a grid without tolerance always has a nearest place"
        return laid

    def end(self, stop: Fraction) -> Fraction:
        """Where the file ends, after the last note has stopped."""
        return self._exact(self._contents.end, stop) or self._contents.end

    def _leads(self) -> tuple[Lead, ...]:
        """How gracenotes may lead: files of our own say it."""
        match self._contents.settings.get("gracenote placement"):
            case "on the beat":
                return ("none ahead",)
            case "before the beat":
                return ("first ahead",)
            case _:
                return ("none ahead", "first ahead", "all ahead")

    def _exact(self, place: Fraction, before: Fraction | None) -> Fraction | None:
        """The place in written music that something in an exact file lies at, if there is one."""
        if self._is_ours:
            return self._written.nearest(place, before)
        return self._grid.snapped(place, self._parts, self._tolerance)

    def _stop(
        self, tones: list[Tone], index: int, place: Fraction, is_exact: bool
    ) -> Fraction | None:
        """Where a tone stops sounding on the grid; None if it goes on to the next."""
        end = tones[index].main.end
        if index + 1 == len(tones):
            return self._last_stop(tones, place, is_exact)
        _, beat = self._grid.segment(end)
        silence = tones[index + 1].start - end
        if self._is_ours:
            return None if silence < self._tolerance else self._exact(end, place)
        # Others may part notes by way of phrasing.
        heard_apart = (tones[index + 1].start - tones[index].main.start) * (1 - self._part_heard)
        if silence < max(beat / 4 - self._tolerance, heard_apart * _LONGER_THAN_PHRASING):
            return None
        exact = self._grid.snapped(end, LEAST_RESTS, self._tolerance) if is_exact else None
        if exact is None and silence >= beat / 2:
            return self._nearest(end)
        return exact

    def _last_stop(self, tones: list[Tone], place: Fraction, is_exact: bool) -> Fraction:
        main = tones[-1].main
        if self._is_ours:
            exact = self._exact(main.end, place) if is_exact else None
            return self._nearest(main.end) if exact is None else exact
        # It is as much longer than it sounds as the others are.
        end = main.start + (main.end - main.start) / self._part_heard
        _, beat = self._grid.segment(end)
        is_long = end - place >= beat
        parts = LEAST_RESTS if is_long else self._parts
        exact = self._grid.snapped(end, parts, self._tolerance) if is_exact else None
        if exact is not None:
            return exact
        # Nobody holds a long note for a sixteenth more: that is how it was played, not meant.
        ends = LONG_ENDS["compound" if beat.numerator % 3 == 0 else "simple"]
        laid = self._grid.snapped(end, ends, None) if is_long else self._nearest(end)
        assert laid is not None, "a grid without tolerance always has a nearest place"
        return laid


def _usual_part_that_sounds(tones: list[Tone]) -> Fraction:
    """The part of a note's length that is heard before a pause for phrasing, mostly all of it."""
    parts = [
        Fraction(tone.main.end - tone.main.start) / (after.start - tone.main.start)
        for tone, after in pairwise(tones)
        if after.start > tone.main.start
    ]
    phrased = sorted(part for part in parts if part > Fraction(1, 2))
    return phrased[len(phrased) // 2] if phrased else Fraction(1)
