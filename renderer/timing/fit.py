"""What fits: the room that gracenotes and inner notes need, and the fastest tempo that leaves it.

Every sounding of a line must have room for its gracenote and still be heard. Room grows with the
length of the beat, so each sounding that lacks room has a fastest tempo at which it fits (or none,
where a closed ornament's inner length is itself too short).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from renderer.errors import Problem, RungwiseError
from renderer.notation.limits import LEAST_SOUNDING_MS
from renderer.notation.printed import no_room_opened, note_place, ornament_words
from renderer.notation.score import Exercise, MelodyNote
from renderer.timing.order_of_playing import played_alone
from renderer.timing.soundings import MILLISECOND, Chain, Moment, Sounding, chains_of
from renderer.timing.timeline import Role

MOST_PROBLEMS = 20


@dataclass(frozen=True, slots=True)
class Room:
    """What a sounding needs and what it gets.

    Parameters
    ----------
    sounding:
        The sounding in question.
    lasts:
        From its start to the next one's.
    needs:
        Seconds, at every tempo.
    """

    sounding: Sounding
    lasts: Moment
    needs: Fraction

    def fits(self, seconds_per_beat: Fraction) -> bool:
        """Whether there is room when a beat lasts `seconds_per_beat`."""
        return self.lasts.at(seconds_per_beat) >= self.needs

    @property
    def fastest(self) -> Fraction | None:
        """The fastest tempo (beats per minute) with room, 0 if no tempo has, None if every one."""
        lacking = self.needs - self.lasts.seconds
        if self.lasts.beats > 0:
            return 60 * self.lasts.beats / lacking if lacking > 0 else None
        fits_at_every_tempo = lacking <= 0 and self.lasts.beats == 0
        return None if fits_at_every_tempo else Fraction(0)


def rooms(
    exercise: Exercise, chain: Chain, *, follows: Sounding | None, opens_track: bool = False
) -> Iterator[Room]:
    """Yield the room of every sounding of a line.

    Parameters
    ----------
    exercise:
        Its gracenote settings hold.
    chain:
        The line's soundings.
    follows:
        What sounds right after the line (its own first sounding where it is repeated), or None.
    opens_track:
        Whether nothing at all comes before the line, so that its first gracenote can take time only
        from its own note.
    """
    gracenote = exercise.gracenotes.length.value * MILLISECOND
    before = exercise.gracenotes.placement == "before the beat"
    last = Moment(chain.beats)
    for index, sounding in enumerate(chain.soundings):
        is_last = index + 1 == len(chain.soundings)
        after = follows if is_last else chain.soundings[index + 1]
        end = last if is_last else chain.soundings[index + 1].start
        needs = Fraction(0) if sounding.note is None else LEAST_SOUNDING_MS * MILLISECOND
        led = after if before else sounding
        if led is not None and led.gracenote is not None:
            needs += gracenote
        if opens_track and before and index == 0 and sounding.gracenote is not None:
            needs += gracenote
        yield Room(sounding, end - sounding.start, needs)


def fastest_tempos(exercise: Exercise, *, repeated: bool = True) -> tuple[Fraction | None, ...]:
    """Return, for each line, the fastest tempo at which everything in it fits.

    Parameters
    ----------
    exercise:
        Its lines and gracenote settings.
    repeated:
        Whether each line follows itself without a gap.

    Returns
    -------
    Beats per minute, exact; 0 if the line fits at no tempo; None if at every tempo.
    """
    exercise = played_alone(exercise)
    return tuple(fastest_tempo(exercise, chain, repeated=repeated) for chain in chains_of(exercise))


def fastest_tempo(exercise: Exercise, chain: Chain, *, repeated: bool = True) -> Fraction | None:
    """Return the fastest tempo of one line, as `fastest_tempos` does, from its soundings."""
    follows = chain.soundings[0] if repeated and chain.soundings else None
    limits = [room.fastest for room in rooms(exercise, chain, follows=follows)]
    return min((limit for limit in limits if limit is not None), default=None)


def even_tempos(exercise: Exercise) -> tuple[Fraction | None, ...]:
    """Return, for each line, the fastest tempo at which no melody note is shorter than a part.

    Up to it every melody note lasts at least as long as each inner note before it, and sounds at
    least as long as a gracenote; `fastest_tempos` asks only that it can be heard at all. Each line
    follows itself.

    Returns
    -------
    Beats per minute, exact; 0 if that holds at no tempo; None if at every tempo.
    """
    exercise = played_alone(exercise)
    return tuple(_even_tempo(exercise, chain) for chain in chains_of(exercise))


def _even_tempo(exercise: Exercise, chain: Chain) -> Fraction | None:
    follows = chain.soundings[0] if chain.soundings else None
    heard = LEAST_SOUNDING_MS * MILLISECOND
    limits: list[Fraction | None] = []
    inner: list[Moment] = []
    for room in rooms(exercise, chain, follows=follows):
        if room.sounding.role is Role.INNER:
            inner.append(room.lasts)
            continue
        if room.sounding.note is not None:
            gracenote = room.needs - heard
            limits.append(replace(room, needs=2 * gracenote).fastest)
            limits += [Room(room.sounding, room.lasts - one, Fraction(0)).fastest for one in inner]
        inner = []
    return min((limit for limit in limits if limit is not None), default=None)


def spoken_limit(tempo: Fraction) -> str:
    """A fastest tempo as players say it, never faster: whole beats a minute, tenths below 10."""
    return spoken_tempo(tempo if tempo < 10 else Fraction(tempo // 1))


def _milliseconds(seconds: Fraction) -> str:
    return f"{float(seconds * 1000):.4g} ms"


def spoken_tempo(tempo: Fraction) -> str:
    """A tempo as a number that is never faster than `tempo`: whole, or with one decimal."""
    tenths = tempo.numerator * 10 // tempo.denominator
    return f"{tenths // 10}" if tenths % 10 == 0 else f"{tenths / 10:.1f}"


def _problem(
    exercise: Exercise, line_index: int, room: Room, chain: Chain, tempo: Fraction
) -> Problem:
    sounding = room.sounding
    line = exercise.lines[line_index]
    item = line.bars[sounding.bar - 1].items[sounding.item - 1]
    spb = 60 / tempo
    place = note_place(exercise, line_index, sounding.bar, sounding.item)
    settings = f"gracenotes {exercise.gracenotes.length}"
    if not isinstance(item, MelodyNote):
        return Problem(
            f"the rest lasts {_milliseconds(room.lasts.at(spb))}, and the gracenote after it needs "
            f"{_milliseconds(room.needs)}",
            "write a longer rest or choose a slower tempo",
            place,
            exercise.source,
        )
    name = ornament_words(item)
    inner = exercise.inner_of(line)
    if len(item.slots) > 1:
        settings += f", inner notes {inner}"
    if sounding.role is Role.INNER and room.lasts.beats == 0:
        return Problem(
            f"each inner note of {name} needs {_milliseconds(room.needs)} and `inner` gives it "
            f"{inner}",
            f"write inner = '{_milliseconds(room.needs)}' or more, or shorten the gracenotes",
            place,
            exercise.source,
        )
    first = next(s for s in chain.soundings if (s.bar, s.item) == (sounding.bar, sounding.item))
    lead = (sounding.start - first.start).at(spb)
    needed, there_is = lead + room.needs, lead + room.lasts.at(spb)
    speed = f"at {spoken_tempo(tempo)} beats a minute"
    fastest = room.fastest
    if fastest is None or fastest <= 0:
        return replace(no_room_opened(item, inner.value, place), file=exercise.source)
    return Problem(
        f"{name} needs {_milliseconds(needed)} and there is {_milliseconds(there_is)} {speed} "
        f"({settings})",
        f"it fits up to {spoken_limit(fastest)} beats a minute; play it slower, or shorten the "
        "gracenotes or inner notes",
        place,
        exercise.source,
    )


def _fits_after_a_count_in(
    exercise: Exercise, room: Room, chain: Chain, seconds_per_beat: Fraction
) -> bool:
    """Whether a room is lacking only because the track's first gracenote has none before it."""
    if room.sounding is not chain.soundings[0]:
        return False
    gracenote = exercise.gracenotes.length.value * MILLISECOND
    return room.lasts.at(seconds_per_beat) >= room.needs - gracenote


def _gathered(problems: Iterable[Problem]) -> Iterator[Problem]:
    """Yield each kind of problem once, with the count of notes that have it."""
    alike: dict[tuple[str, str], list[Problem]] = {}
    for problem in problems:
        alike.setdefault((problem.cause, problem.remedy), []).append(problem)
    for first, *others in alike.values():
        more = len(others)
        notes = f", and {more} more {'note' if more == 1 else 'notes'}" if more else ""
        yield replace(first, place=first.place + notes)


def check_fit(
    exercise: Exercise,
    chains: tuple[Chain, ...],
    tempo: Fraction,
    *,
    repeated: bool,
    run_on: bool,
    counted_in: bool,
) -> None:
    """Raise a `RungwiseError` that tells of every note whose ornament does not fit.

    Notes that lack the same room are one problem, placed at the first of them.

    Parameters
    ----------
    exercise, chains:
        The exercise and its lines' soundings.
    tempo:
        Beats per minute.
    repeated:
        Whether each line follows itself without a gap.
    run_on:
        Whether each line follows the one before without a gap.
    counted_in:
        Whether anything comes before the first line.
    """
    seconds_per_beat = 60 / tempo
    problems: dict[tuple[int, int, int], Problem] = {}
    for index, chain in enumerate(chains):
        follows = chain.soundings[0] if repeated and chain.soundings else None
        if run_on and index + 1 < len(chains) and chains[index + 1].soundings:
            after = chains[index + 1].soundings[0]
            follows = after if follows is None or after.gracenote is not None else follows
        opens = index == 0 and not counted_in
        for room in rooms(exercise, chain, follows=follows, opens_track=opens):
            if not room.fits(seconds_per_beat):
                key = (index, room.sounding.bar, room.sounding.item)
                problem = _problem(exercise, index, room, chain, tempo)
                if opens and _fits_after_a_count_in(exercise, room, chain, seconds_per_beat):
                    problem = replace(
                        problem,
                        remedy="ask for a count-in, so that there is time before the first beat",
                    )
                problems.setdefault(key, problem)
    if problems:
        found = list(_gathered(problems.values()))
        rest = len(found) - MOST_PROBLEMS
        if rest > 0:
            more = Problem(f"{rest} more movements have too little room", "")
            found = [*found[:MOST_PROBLEMS], more]
        raise RungwiseError(found)
