"""All that a practice page holds, as what JSON holds: exercises and settings to music and sound.

The page computes no music: of each line it gets the moments in the forms in which it is practised
(`renderer.timing.loop_data`), the engraved staves, advice, rungs, and the plan of its days.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from renderer.delivery.page.spectra import (
    Gracenote,
    Noise,
    Soundings,
    drone_data,
    fingerings_of,
    pitch_data,
    roll_data,
    sound_data,
    soundings_of,
    usual_mixing,
)
from renderer.delivery.page.staves import Glyphs, staves_of
from renderer.delivery.sheet.fonts import clean
from renderer.errors import RungwiseError, failure
from renderer.notation.pitch import Note
from renderer.notation.printed import PrintedLine, printed_line
from renderer.notation.score import Exercise
from renderer.order.digests import digest_of
from renderer.order.names import tempo_label
from renderer.order.planning import practice_of
from renderer.order.settings import Settings
from renderer.order.tracks import INTRODUCTIONS, crossing_noises, timeline_of
from renderer.sound.bank import drone_bank
from renderer.sound.instrument import Instrument, make_instrument
from renderer.sound.loops import nine_notes
from renderer.sound.own_soundfont import shipped_soundfont
from renderer.sound.tuning import PitchStandard
from renderer.sound.voices import shipped_drones, shipped_voice
from renderer.technique.report import assess
from renderer.timing.expand import Timeline
from renderer.timing.loop_data import LeadIn, fits, loop_data
from renderer.timing.practice import Block

_BIDI = dict.fromkeys((*range(0x202A, 0x202F), *range(0x2066, 0x206A)))
"""Signs that turn the way of letters around. A page sets texts apart itself, each the way its
letters run, so that all of them can be read."""

_OPENED = "even"
_PARTS_MS = (200, 120, 80)
"""The forms of a line besides its own: movements shared out evenly, and parts of so many
milliseconds on the way from open to closed. Judgement."""

_GRACENOTE_MS = 45
"""What gracenotes begin with that get a length where the exercise opens them out."""

OnStep = Callable[[int], None]


def _legible(text: str) -> str:
    return clean(text.translate(_BIDI))


def _forms(exercise: Exercise, settings: Settings) -> Iterator[tuple[str, Exercise]]:
    """Yield the exercise in the forms besides its own in which its lines may be practised."""
    yield "opened", settings.changed(inner=_OPENED).applied_to(exercise)
    for length in _PARTS_MS:
        yield f"parts {length}", settings.changed(inner=f"{length} ms").applied_to(exercise)
    closed = settings.changed(gracenote=f"{_GRACENOTE_MS} ms")
    yield f"gracenotes {_GRACENOTE_MS}", closed.applied_to(exercise)


def _lead_in(settings: Settings) -> LeadIn:
    introduction = INTRODUCTIONS[settings.introduction] if settings.count_in else None
    return LeadIn(settings.count_in, settings.count_in_style, introduction)


def _music(exercise: Exercise, number: int, settings: Settings) -> dict[str, Any] | None:
    """Return one line of an exercise; None where opened out it has no room at any tempo."""
    noises = crossing_noises(exercise.only(number))
    found = loop_data(exercise, number, _lead_in(settings), noises)
    return None if found["fastest"] == "0" else found


def _in_rows(dicts: Sequence[dict[str, Any]]) -> dict[str, Any]:
    keys = list(dicts[0]) if dicts else []
    return {"keys": keys, "rows": [[one[key] for key in keys] for one in dicts]}


def _compact(music: dict[str, Any]) -> dict[str, Any]:
    rows = {key: _in_rows(music[key]) for key in ("bars", "soundings", "rooms")}
    return music | rows


def _gracenotes(music: dict[str, Any]) -> Iterator[Gracenote]:
    for sounding in music["soundings"]:
        if sounding["gracenote"] is not None:
            yield Note(sounding["gracenote"]), Note(sounding["note"])


def _noises(music: dict[str, Any]) -> Iterator[Noise]:
    soundings = music["soundings"]
    for index, before_gracenote, heard in music["noises"]:
        one, previous = soundings[index], soundings[index - 1]
        if previous["note"] is None:
            continue
        gracenote = None if one["gracenote"] is None else Note(one["gracenote"])
        notes = Note(previous["note"]), gracenote, Note(one["note"])
        yield Noise(*notes, before_gracenote, Note(heard))


def _with_own_lines(form: Exercise, exercise: Exercise, kept: Sequence[bool]) -> Exercise:
    """Return a form of an exercise with the exercise's own lines where the form is not kept."""
    lines = []
    for line, own, is_kept in zip(form.lines, exercise.lines, kept, strict=True):
        as_written = replace(
            own, inner=exercise.inner_of(own), gracenote=exercise.gracenote_of(own)
        )
        lines.append(line if is_kept else as_written)
    return replace(form, lines=tuple(lines))


def _drawings(
    exercise: Exercise,
    forms: Mapping[str, Exercise],
    played: Sequence[Mapping[str, Any]],
    glyphs: Glyphs,
) -> list[dict[str, Any]]:
    """Return each line's different drawings (`staves`), and the one of each form (`drawn`).

    Parameters
    ----------
    exercise:
        As it is written.
    forms:
        By their names; `written` is the exercise.
    played:
        Of each line what has the names of its forms.
    glyphs:
        Gets the outlines of the glyphs.
    """
    count = len(exercise.lines)
    found: list[dict[str, Any]] = [{"staves": [], "drawn": {}} for _ in range(count)]
    known: list[list[PrintedLine]] = [[] for _ in range(count)]
    for name, form in forms.items():
        kept = [name in names for names in played]
        if not any(kept):
            continue
        shape = _with_own_lines(form, exercise, kept)
        printed = [printed_line(shape, number) for number in range(1, count + 1)]
        wanted = [
            is_kept and one not in before
            for is_kept, one, before in zip(kept, printed, known, strict=True)
        ]
        staves = staves_of(shape, glyphs) if any(wanted) else [{}] * count
        for index, one in enumerate(printed):
            if wanted[index]:
                known[index].append(one)
                found[index]["staves"].append(staves[index])
            if kept[index]:
                found[index]["drawn"][name] = known[index].index(one)
    return found


def _shown_bars(music: dict[str, Any]) -> list[tuple[int, str]]:
    return [(bar["written"], bar["number"]) for bar in music["bars"]]


class _Exercises:
    """Gathers exercise after exercise, and what all of them sound."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.glyphs = Glyphs()
        self.gracenotes: set[Gracenote] = set()
        self.noises: set[Noise] = set()
        self.reference: tuple[Exercise, Fraction] | None = None

    def told(self, exercise: Exercise) -> dict[str, Any]:
        """Return one exercise as JSON holds it."""
        tempos = self.settings.tempos_of(exercise)
        settings = self.settings
        forms = {"written": exercise} | dict(_forms(exercise, self.settings))
        reports = list(assess(exercise))
        lines: list[dict[str, Any]] = []
        for index, line in enumerate(exercise.lines):
            own = _music(exercise, index + 1, settings)
            if own is None:
                # Raises with the cause: the line fits at no tempo.
                timeline_of(exercise.only(index + 1), self.settings, min(tempos))
                raise failure(f"line {exercise.number_of(index)} fits at no tempo", "open it less")
            if self.reference is None and fits(own, min(tempos)):
                self.reference = exercise.only(index + 1), min(tempos)
            music = {"written": own}
            for name, form in forms.items():
                if name in music or (
                    name.startswith("gracenotes") and own["gracenote"] is not None
                ):
                    continue  # The length of its own can be chosen.
                other = _music(form, index + 1, settings)
                same = any(other == known for known in music.values())
                if other is not None and not same and _shown_bars(other) == _shown_bars(own):
                    music[name] = other
            for one in music.values():
                self.gracenotes.update(_gracenotes(one))
                self.noises.update(_noises(one))
            advice = sorted(reports[index].advice, key=lambda one: (one.bar, one.beat))
            lines.append(
                {
                    "number": exercise.number_of(index),
                    "heading": _legible(line.heading),
                    "tune": _legible(line.tune),
                    "played": {
                        "en": reports[index].played,
                        "de": reports[index].played_in_german,
                    },
                    "advice": [
                        {"bar": one.bar_number, "en": one.text, "de": one.german} for one in advice
                    ],
                    "forms": {name: _compact(one) for name, one in music.items()},
                }
            )
        played = [told["forms"] for told in lines]
        drawings = _drawings(exercise, forms, played, self.glyphs)
        for told, drawn in zip(lines, drawings, strict=True):
            told.update(drawn)
        return {
            "title": _legible(exercise.title),
            "audience": _legible(exercise.audience),
            "purpose": _legible(exercise.purpose),
            "composer": _legible(exercise.composer),
            "tempo": str(exercise.tempo),
            "rungs": [str(tempo) for tempo in tempos],
            "rung_labels": [tempo_label(tempo) for tempo in tempos],
            "rounds": max(2, self.settings.repeats_of(exercise)),
            "lines": lines,
            "plan": self._plan(exercise),
        }

    def _plan(self, exercise: Exercise) -> list[list[list[Any]]]:
        """Return the plan's days: blocks as line, tempo, how often; rests as their seconds."""
        try:
            made = practice_of(exercise, self.settings)
        except RungwiseError:
            # Too short a time for any line, or lines too fast for every rung: no plan.
            return []
        return [
            [
                [item.line - 1, str(item.tempo), item.repeats]
                if isinstance(item, Block)
                else [float(item.seconds)]
                for item in day.items
            ]
            for day in made.days
        ]


def line_music(exercise: Exercise, number: int, settings: Settings) -> dict[str, Any] | None:
    """Return one line of an exercise as a page's player reads it; None if it fits at no tempo."""
    found = _music(exercise, number, settings)
    return None if found is None else _compact(found)


def sound_contents(
    pitches: Sequence[PitchStandard],
    soundings: Soundings,
    timeline: Timeline,
    settings: Settings,
) -> dict[str, Any]:
    """Return what a page's player needs to sound at some pitches, as JSON holds it.

    Parameters
    ----------
    pitches:
        At least one.
    soundings:
        All that is to sound.
    timeline:
        A track by which the levels are set.
    settings:
        Of them chanter, voices, scale, rate, levels and count-in are asked.
    """
    mixing = usual_mixing(settings.mixing)
    rows = []
    instrument: Instrument | None = None
    for pitch in pitches:
        made = make_instrument(
            pitch,
            settings.scale,
            settings.chanter,
            rate=settings.rate,
            voice=settings.voice,
            drone_voice=settings.drone_voice,
            steady=settings.steady,
        )
        instrument = instrument or made
        rows.append(pitch_data(pitch, settings.scale, made, timeline, mixing, soundings))
    assert instrument is not None, "an exercise has a pitch"
    voice = settings.voice or shipped_voice(settings.chanter)
    drone_voices = (settings.drone_voice,) * 2 if settings.drone_voice else shipped_drones()
    still = drone_bank(*drone_voices, pitches[0], settings.rate, steady=True)
    sound = sound_data(
        instrument,
        nine_notes(voice, settings.chanter).spectra,
        soundings,
        living=not settings.steady and voice.soundfont == shipped_soundfont(),
    )
    sound |= drone_data(
        still, living=not settings.steady and drone_voices[0].soundfont == shipped_soundfont()
    )
    if settings.count_in_style == "rolls" and settings.count_in:
        sound |= roll_data(instrument)
    return {
        "pitches": rows,
        "sound": sound,
        "gracenotes": soundings.gracenotes,
        "noises": soundings.noises,
        "fingerings": fingerings_of(soundings),
        "remarks": list(instrument.remarks),
    }


def page_contents(
    exercises: Sequence[Exercise], settings: Settings, on_step: OnStep
) -> dict[str, Any]:
    """Return all that a page holds.

    Parameters
    ----------
    exercises:
        As `Settings.applied_to` returns them; at least one.
    settings:
        Those that `rungwise page` knows.
    on_step:
        Called with the number of exercises that are done.

    Raises
    ------
    RungwiseError
        If a line fits at no tempo or none at any rung, a preset cannot be used, or FluidSynth is
        missing.
    """
    gathered = _Exercises(settings)
    told = []
    for number, exercise in enumerate(exercises, start=1):
        told.append(gathered.told(exercise))
        on_step(number)
    if gathered.reference is None:
        # Says what lacks room.
        first = exercises[0]
        timeline_of(first.only(1), settings, min(settings.tempos_of(first)))
        raise failure("no line fits at any rung", "ask for slower rungs with --ladder")
    pure = settings.gracenotes == "pure"
    soundings = soundings_of(gathered.gracenotes, gathered.noises, pure=pure)
    pitches = dict.fromkeys(
        pitch for exercise in exercises for pitch in settings.pitches_of(exercise)
    )
    reference, tempo = gathered.reference
    timeline = timeline_of(reference, replace(settings, repeats=3), tempo)
    sound = sound_contents(tuple(pitches), soundings, timeline, settings)
    lead_in = _lead_in(settings)
    return {
        "exercises": told,
        **sound,
        "count_in": {
            "bars": lead_in.bars,
            "rolls": lead_in.style == "rolls",
            "introduction": None if lead_in.introduction is None else lead_in.introduction.value,
        },
        "show_crossing": settings.show_crossing,
        "subdivide": settings.subdivide,
        "drone": settings.drone,
        "metronome": settings.metronome,
        "glyphs": list(gathered.glyphs.paths.values()),
        "remarks": [said for one in exercises for said in one.remarks] + sound["remarks"],
        # By this the learner's log finds its page again, made anew with other notes or not.
        "page": digest_of({"exercises": [[one.title, one.audience] for one in exercises]})[:16],
    }
