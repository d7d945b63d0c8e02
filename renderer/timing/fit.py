"""What fits: the room that gracenotes and inner notes need, and the fastest tempo that leaves it.

Every sounding of a line must have room for its gracenote and still be heard, with closed movements
as short as players manage; where that is not enough, notes give way a little (`giving_way`). Room
grows with the length of the beat, so what lacks room has a fastest tempo at which it fits (or none,
where an opened ornament's parts are too long).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from renderer.errors import Problem, RungwiseError
from renderer.notation.limits import FASTEST_TEMPO
from renderer.notation.note_parts import parts_of
from renderer.notation.printed import no_room_opened, note_place, ornament_words
from renderer.notation.score import Exercise, MelodyNote
from renderer.timing.giving_way import Bonds
from renderer.timing.order_of_playing import played_alone
from renderer.timing.room import (
    COMFORTABLE_SECONDS,
    QUICK_SECONDS,
    Fitted,
    Joins,
    Offsets,
    Room,
    Side,
    rooms,
)
from renderer.timing.soundings import NOTHING, Chain, chains_of
from renderer.timing.successions import successions
from renderer.timing.timeline import Role

MOST_PROBLEMS = 20


def fastest_tempos(exercise: Exercise) -> tuple[Fraction | None, ...]:
    """Return, for each line, the fastest tempo at which everything in it fits.

    Closed movements may be as short as players manage. Each line follows itself without a gap.

    Returns
    -------
    Beats per minute, exact up to the fastest that can be asked for; 0 if the line fits at no tempo;
    None if at every tempo.
    """
    return tuple(fastest for fastest, _ in fastest_and_even_tempos(exercise))


def even_tempos(exercise: Exercise) -> tuple[Fraction | None, ...]:
    """Return, for each line, the fastest tempo at which no melody note is shorter than a part.

    Up to it movements have their own lengths, and every melody note sounds at least as long as each
    inner note before it and as a gracenote; `fastest_tempos` asks only that it can be heard at all.
    Each line follows itself.

    Returns
    -------
    Beats per minute, exact; 0 if that holds at no tempo; None if at every tempo.
    """
    return tuple(even for _, even in fastest_and_even_tempos(exercise))


def fastest_and_even_tempos(
    exercise: Exercise,
) -> tuple[tuple[Fraction | None, Fraction | None], ...]:
    """Return what `fastest_tempos` and `even_tempos` do, for each line, in one go."""
    limits = limits_on_the_beat(exercise)
    fastest = _with_giving_way(played_alone(exercise), [on_the_beat for on_the_beat, _ in limits])
    return tuple(zip(fastest, (even for _, even in limits), strict=True))


def limits_on_the_beat(
    exercise: Exercise,
) -> tuple[tuple[Fraction | None, Fraction | None], ...]:
    """Return, for each line, up to which tempo all fits with every note on its beat, and even."""
    followed = successions(played_alone(exercise))
    natural, least_inner = chains_of(followed.exercise), chains_of(followed.exercise, "least inner")
    least = chains_of(followed.exercise, "least")
    limits = []
    for index in range(len(natural)):
        three = (_rooms_of_first(chains, index) for chains in (natural, least_inner, least))
        limits.append(_limits(zip(*three, strict=True)))
    return tuple(
        (
            _slowest(limits[one][0] for one in its_own),
            _slowest(limits[one][1] for one in its_own),
        )
        for its_own in followed.of_lines
    )


def _with_giving_way(
    played: Exercise, on_the_beat: Sequence[Fraction | None]
) -> Iterator[Fraction | None]:
    """Yield each line's fastest tempo, from that at which all its notes stay on their beats.

    How much faster than anybody asks for a line goes with notes off the beat is not asked.
    """
    least: tuple[Chain, ...] | None = None
    joins = (Joins(repeated=True, is_asked_alone=True),) * len(on_the_beat)
    for index, fastest in enumerate(on_the_beat):
        if not fastest or fastest >= FASTEST_TEMPO:
            yield fastest
            continue
        least = chains_of(played, "least") if least is None else least
        yield Bonds(least, joins, [index]).fastest()


def _rooms_of_first(chains: Sequence[Chain], index: int) -> Iterator[Room]:
    """Yield the rooms of a succession's first note; what follows it has a succession of its own."""
    for room in rooms(chains, index, Joins()):
        if room.sounding is not None and room.sounding.bar == 1:
            yield room


def _limits(found: Iterable[tuple[Room, Room, Room]]) -> tuple[Fraction | None, Fraction | None]:
    each = list(found)
    return _slowest(shortest.fastest for _, _, shortest in each), _even_tempo(each)


def _slowest(limits: Iterable[Fraction | None]) -> Fraction | None:
    return min((limit for limit in limits if limit is not None), default=None)


def _even_tempo(found: Iterable[tuple[Room, Room, Room]]) -> Fraction | None:
    limits: list[Fraction | None] = []
    inner: list[Room] = []
    for room, between, shortest in found:
        sounding = room.sounding
        if sounding is None or sounding.note is None or room.is_gracenote:
            continue
        is_inner = sounding.role is Role.INNER
        # Above these movements, or gracenotes, would be shortened.
        if is_inner and not room.heard.beats:
            pass
        elif room.heard != between.heard:
            limits.append(replace(room, needs=COMFORTABLE_SECONDS).fastest)
        elif room.heard != shortest.heard:
            limits.append(replace(room, needs=QUICK_SECONDS).fastest)
        if is_inner:
            inner.append(room)
            continue
        if sounding.gracenote is not None:
            limits.append(replace(room, needs=sounding.gracenote_lasts.seconds).fastest)
        for one in inner:
            within = NOTHING
            if one.heard.beats and one.sounding is not None:
                # Opened out, the parts are even with their gracenotes.
                within = one.sounding.gracenote_lasts - sounding.gracenote_lasts
            lacks = room.heard - one.heard - within
            limits.append(replace(room, heard=lacks, needs=Fraction(0)).fastest)
        inner = []
    return _slowest(limits)


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
    exercise: Exercise,
    index: int,
    room: Room,
    widest: Room,
    tempo: Fraction,
    fastest: Fraction | None,
) -> Problem:
    """What is wrong where there is no room; `room` has the least lengths.

    `widest` is the same with all notes giving way, `fastest` the tempo at which all fits.
    """
    if room.sounding is None:
        return _no_room_in_silence(exercise, index, widest, tempo)
    sounding = room.sounding
    line = exercise.lines[index]
    item = line.bars[sounding.bar - 1].items[sounding.item - 1]
    place = note_place(exercise, index, sounding.bar, sounding.item)
    spb = 60 / tempo
    then = _led_into(exercise, index, room)
    limit = "" if not fastest else f"it fits up to {spoken_limit(fastest)} beats a minute; "
    speed = f"at {spoken_tempo(tempo)} beats a minute"
    lacking = _milliseconds(widest.needs - widest.heard.at(spb))
    if not isinstance(item, MelodyNote):
        return Problem(
            f"the rest is {lacking} too short {speed} for {then} after it",
            f"{limit}write a longer rest or choose a slower tempo",
            place,
            exercise.source,
        )
    parts = parts_of(exercise, line, item)
    if parts.is_opened and not fastest:
        return no_room_opened(item, parts, place, exercise.source)
    name = ornament_words(item)
    if room.is_gracenote:
        cause = f"the gracenote of {item.note}, opened out, is {lacking} too short to be heard"
    elif then is not None and len(item.group) == 0:
        cause = f"the note is {lacking} too short {speed} for {then} after it"
    else:
        also = "" if then is None else f" and for {then} after it"
        cause = f"the note is {lacking} too short {speed} for {name}{also}"
    least = _least_words(exercise, index, room)
    return Problem(
        f"{cause}{least}",
        f"{limit}play it slower" + (", or shorten the inner notes" if parts.is_opened else ""),
        place,
        exercise.source,
    )


def _led_into(exercise: Exercise, index: int, room: Room) -> str | None:
    """The movement after a note that takes its time from it, in words."""
    if room.sounding is not None and room.sounding.role is Role.INNER:
        return None
    for (line, bar, number), leads_in in room.sides:
        item = exercise.lines[line].bars[bar - 1].items[number - 1]
        if leads_in and isinstance(item, MelodyNote) and item.group:
            if parts_of(exercise, exercise.lines[line], item).anchor > 0:
                return ornament_words(item)
            is_early = exercise.placement_of(exercise.lines[line]) == "before the beat"
            if is_early and item.slots[0].gracenote:
                return "the gracenote"
    return None


def _least_words(exercise: Exercise, index: int, room: Room) -> str:
    """What cannot be any shorter, in brackets: gracenotes and the least of inner notes."""
    words: list[str] = []
    for (line, bar, number), _ in room.sides:
        item = exercise.lines[line].bars[bar - 1].items[number - 1]
        if not isinstance(item, MelodyNote):
            continue
        parts = parts_of(exercise, exercise.lines[line], item)
        if any(slot.gracenote is not None for slot in item.slots):
            least = "" if parts.gracenote.is_share_of_beat else "at least "
            said = f"gracenotes {least}{parts.least_gracenote}"
            if said not in words:
                words.append(said)
        if len(item.slots) > 1:
            shown = parts.inner if parts.is_opened else parts.least
            least = ", ".join(map(str, dict.fromkeys(shown)))
            said = f"inner notes {least}" if parts.is_opened else f"inner notes at least {least}"
            if said not in words:
                words.append(said)
    return f" ({', '.join(words)})" if words else ""


def _no_room_in_silence(exercise: Exercise, index: int, room: Room, tempo: Fraction) -> Problem:
    ((_, bar, number), _), *_ = room.sides
    item = exercise.lines[index].bars[bar - 1].items[number - 1]
    assert isinstance(item, MelodyNote), "a rest has nothing before its beat"
    lacking = _milliseconds(-room.heard.at(60 / tempo))
    return Problem(
        f"what {ornament_words(item)} has before the beat needs {lacking} more than there is "
        "before the line",
        "ask for a longer count-in or more bars between lines, or choose a slower tempo",
        note_place(exercise, index, bar, number),
        exercise.source,
    )


def _gathered(problems: Iterable[Problem]) -> Iterator[Problem]:
    """Yield each kind of problem once, with the count of notes that have it."""
    alike: dict[tuple[str, str], list[Problem]] = {}
    for problem in problems:
        alike.setdefault((problem.cause, problem.remedy), []).append(problem)
    for first, *others in alike.values():
        more = len(others)
        notes = f", and {more} more {'note' if more == 1 else 'notes'}" if more else ""
        yield replace(first, place=first.place + notes)


def give_way(
    exercise: Exercise,
    chains: tuple[Chain, ...],
    joins: Sequence[Joins],
    tempo: Fraction,
) -> Offsets:
    """Return how far notes come off the beat so that everything fits; nothing where all does.

    Parameters
    ----------
    exercise, chains:
        The exercise and its lines' soundings, closed movements as short as players manage.
    joins:
        What comes before and after each line.
    tempo:
        Beats per minute.

    Raises
    ------
    RungwiseError
        That tells of every note whose ornament does not fit even so. Notes that lack the same room
        are one problem, placed at the first of them.
    """
    seconds_per_beat = 60 / tempo
    if all(
        room.fits(seconds_per_beat)
        for index, line_joins in enumerate(joins)
        for room in rooms(chains, index, line_joins)
    ):
        return {}
    bonds = Bonds(chains, joins, range(len(chains)))
    offsets = bonds.offsets(seconds_per_beat)
    if offsets is not None:
        return offsets
    all_fits = bonds.fastest()
    problems: dict[tuple[int, int, int], Problem] = {}
    known: dict[int, set[Room]] = {}
    for index, room, widest in bonds.too_tight(seconds_per_beat):
        (_, bar, item), _ = room.sides[0] if room.sides else _own_side(room, index)
        problem = _problem(exercise, index, room, widest, tempo, all_fits or widest.fastest)
        if joins[index].opens_track:
            if index not in known:
                after_silence = replace(joins[index], opens_track=False)
                known[index] = set(rooms(chains, index, after_silence))
            if room not in known[index]:
                remedy = "ask for a count-in, so that there is time before the first beat"
                problem = replace(problem, remedy=remedy)
        problems.setdefault((index, bar, item), problem)
    found = list(_gathered(problems.values()))
    rest = len(found) - MOST_PROBLEMS
    if rest > 0:
        more = Problem(f"{rest} more movements have too little room", "")
        found = [*found[:MOST_PROBLEMS], more]
    raise RungwiseError(found)


def _own_side(room: Room, index: int) -> Side:
    assert room.sounding is not None, "a silence has the side of what follows it"
    return (index, room.sounding.bar, room.sounding.item), False


def shortened_words(exercise: Exercise, fit: Fitted, tempo: Fraction) -> str | None:
    """Say in one sentence which movements are shortened at a tempo, or None where none is.

    Where notes come off the beat it says that too.
    """
    said = [*_shortened_words(exercise, fit), *_offset_words(exercise, fit)]
    return f"At {spoken_tempo(tempo)} beats a minute {'; '.join(said)}." if said else None


def _shortened_words(exercise: Exercise, fit: Fitted) -> Iterator[str]:
    if not fit.shortened:
        return
    tightest = min(fit.shortened, key=lambda place: (fit.shortened[place], place))
    index, bar, number = tightest
    line = exercise.lines[index]
    item = line.bars[bar - 1].items[number - 1]
    assert isinstance(item, MelodyNote), "only a note has a movement"
    parts = parts_of(exercise, line, item)
    degree = fit.shortened[tightest]
    changes: list[str] = []
    if parts.inner and parts.inner != parts.least:
        longest = max(range(len(parts.inner)), key=lambda at: parts.inner[at].value)
        usual, least = parts.inner[longest].value, parts.least[longest].value
        played = least + max(degree - 1, Fraction(0)) * (usual - least)
        changes.append(f"inner notes of {_milliseconds(played / 1000)} and not "
                       f"{_milliseconds(usual / 1000)}")  # fmt: skip
    if degree < 1 and parts.gracenote != parts.least_gracenote:
        usual, least = parts.gracenote.value, parts.least_gracenote.value
        played = least + degree * (usual - least)
        changes.append(f"gracenotes of {_milliseconds(played / 1000)} and not "
                       f"{_milliseconds(usual / 1000)}")  # fmt: skip
    count = len(fit.shortened)
    said = f"{count} movements are" if count > 1 else "1 movement is"
    which = "the tightest is " if count > 1 else ""
    yield (
        f"{said} shortened to fit: {which}{ornament_words(item)} in "
        f"{note_place(exercise, index, bar, number)}, with {' and '.join(changes)}"
    )


def _offset_words(exercise: Exercise, fit: Fitted) -> Iterator[str]:
    if not fit.offsets:
        return
    farthest = min(fit.offsets, key=lambda place: (-abs(fit.offsets[place]), place))
    offset = fit.offsets[farthest]
    words = f"{float(abs(offset) * 1000):.2g} ms {'late' if offset > 0 else 'early'}"
    place = note_place(exercise, *farthest)
    others = len(fit.offsets) - 1
    if not others:
        yield f"to leave room {place} comes {words}"
    else:
        more = f"{others} more {'note comes' if others == 1 else 'notes come'}"
        yield f"to leave room {place} comes {words}, and {more} off the beat by no more than that"
