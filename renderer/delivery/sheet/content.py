"""What a sheet says: an exercise to headings, staves, advice, boxes and legend.

Everything is text or drawings here, nothing is markup: the page template gets it as data, so that
whatever a teacher writes is printed as it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from urllib.parse import quote

from renderer.delivery.sheet.drawing import (
    EDGE,
    MARK_WIDTH,
    Drawing,
    Extent,
    Mark,
    extent_of,
    mark_svg,
)
from renderer.delivery.sheet.engraving import engrave
from renderer.delivery.sheet.finger_strip import (
    STRIP_HEIGHT,
    FingerColumn,
    finger_columns,
    label_middles,
    sign_svg,
    strip_svg,
)
from renderer.delivery.sheet.fonts import clean, missing_letters, printable
from renderer.delivery.sheet.layout import (
    UNITS_A_SPACE,
    Counting,
    Form,
    Imposition,
    SheetSettings,
    Shown,
    clock_text,
)
from renderer.delivery.sheet.movement_strip import movements_of
from renderer.delivery.sheet.note_signs import NoteSign, note_sign
from renderer.delivery.sheet.over_staff import OverStaff, StaffText, signs_in_words
from renderer.delivery.sheet.pieces import framed
from renderer.delivery.sheet.systems import (
    CLEF_ROOM,
    StackedLine,
    System,
    halved_lines,
    lay_systems,
    rows_of,
    stacked_lines,
)
from renderer.delivery.sheet.tempo_marks import TempoMark, in_words, tempo_marks
from renderer.delivery.sheet.under_staff import Under, beats, names, ruler_sign
from renderer.errors import RungwiseError
from renderer.notation.line_names import line_name, tunes_of
from renderer.notation.pitch import Note
from renderer.notation.printed import pickup_of, printed_line
from renderer.notation.score import Exercise, note_id
from renderer.order.names import safe_stem, tempo_label, tempos_label
from renderer.order.settings import (
    Settings,
    closing_words,
    track_words,
    usual_settings,
)
from renderer.order.tracks import timeline_of
from renderer.order.web_addresses import EXERCISE_FIELD, LINE_FIELD
from renderer.sound.mix_settings import Mix
from renderer.technique.fingering import Hand
from renderer.technique.report import LineReport, assess, changes_of, plays_opened
from renderer.technique.text_tables import as_lines_words
from renderer.timing.order_of_playing import played

EXERCISES = "Exercises"
"""What contents list exercises under."""

CAUTION = (
    "Keep the level low: a pipe chanter is loud, and headphones can be too. Rest hands and lips "
    "before they tire. Your teacher's and your doctor's advice comes first."
)


@dataclass(frozen=True, slots=True)
class Staff:
    """A system's drawing and its size in units, with the places of its strip's labels in it.

    Texts have their places from the upper left corner of the drawing.
    """

    svg: str
    width: float
    height: float
    alternative: str
    labels: tuple[tuple[str, float], ...] = ()
    texts: tuple[StaffText, ...] = ()


@dataclass(frozen=True, slots=True)
class LineContent:
    """A line: its heading, what it is called without one (`Line 3`), its systems, advice and rungs.

    `tune` is the name of the tune that begins with it, in a medley, and `about` what else is said
    of that; `durations` are those of the tracks, one a rung, where they are to be said; `link` is
    its own web address, if it has one.
    """

    number: int
    heading: str
    name: str
    staves: tuple[Staff, ...]
    advice: tuple[str, ...]
    rungs: tuple[str, ...]
    tune: str
    about: str
    durations: tuple[str, ...] = ()
    link: str = ""


@dataclass(frozen=True, slots=True)
class ExplainedMovement:
    """A movement of the strip: its name, its heading (`Grip on B from E`), and its staff."""

    name: str
    heading: str
    staff: Staff


@dataclass(frozen=True, slots=True)
class LegendItem:
    """A sign and what it means; the sign is a drawing or, for a box, `box`."""

    sign: str
    text: str


Fact = tuple[str | NoteSign, ...]
"""Words with note values among them."""


@dataclass(frozen=True, slots=True)
class ExerciseContent:
    """All that is printed of an exercise.

    `kind` is the type that a booklet's contents list it under. `tune` says what a tune is and where
    it comes from, and whose it is, on the left and right of one line; `facts` share one;
    `directions` and `notes` have one each. A row of `rows` has the indexes of the lines that stand
    beside each other. `link` is its own web address, if it has one. `explained` are its movements,
    each once.
    """

    title: str
    kind: str
    audience: str
    tune: tuple[str, str]
    notes: tuple[str, ...]
    facts: tuple[Fact, ...]
    directions: tuple[str, ...]
    purpose: str
    level: str
    lines: tuple[LineContent, ...]
    rows: tuple[tuple[int, ...], ...]
    tracks: tuple[tuple[str, str], ...]
    link: str
    explained: tuple[ExplainedMovement, ...]
    legend: tuple[LegendItem, ...]
    remarks: tuple[str, ...]


def marks_of(exercise: Exercise, shown: Shown) -> Iterator[tuple[Mark, ...]]:
    """Yield the marks of each line, each over the note that its noise leads to."""
    seen: set[tuple[Note, Note, Hand]] = set()
    for index, line in enumerate(exercise.lines):
        marks: list[Mark] = []
        for placed in changes_of(line):
            crossing = placed.change.crossing
            if crossing is None or shown is Shown.NONE:
                continue
            noise = (placed.change.previous, placed.change.note, crossing.hand_first)
            if shown is Shown.FIRST and noise in seen:
                continue
            seen.add(noise)
            bar = exercise.lines[index].bars_before + placed.bar
            name = note_id(exercise.id_number(index), bar, placed.item, placed.slot)
            marks.append(Mark(name, crossing.hand_first))
        yield tuple(marks)


_LABEL_EM = 4.0
"""The room of staves' labels, such as `opened` or `thumb`, in heights of the small text."""
_LABEL_UNDER_MIDDLE_EM = 0.25


def _begins_tune(tunes: Sequence[int], number: int) -> bool:
    """Whether a tune begins with a line, from 1; every line of an exercise stands by itself."""
    return not tunes or number == 1 or tunes[number - 2] != tunes[number - 1]


def _about(exercise: Exercise, tune: str) -> str:
    """What a medley's notes say of one of its tunes."""
    lead = f"{tune}: "
    said = [note for note in exercise.notes.splitlines() if tune and note.startswith(lead)]
    return printable(said[0].removeprefix(lead)) if said else ""


def _merged(exercise: Exercise, pickups: Sequence[Fraction]) -> frozenset[int]:
    """The lines, from 1, that look the same opened and closed."""
    return frozenset(
        number
        for number, pickup in enumerate(pickups, start=1)
        if printed_line(exercise, number, "open", pickup).notes
        == printed_line(exercise, number, "closed", pickup).notes
    )


def _first_extent(extent: Extent, system: System, marks: Sequence[Mark]) -> Extent:
    """Return the extent of the first system of a line that has its row for itself.

    Nothing stands above it but its heading, which no empty room for the marks of later systems is
    to keep away.
    """
    columns = (column for bar in system.bars for one in bar.staves for column in one.columns)
    names = {
        name
        for column in columns
        for name in (column.id, *(gracenote for gracenote, _ in column.gracenotes))
    }
    return extent if any(mark.name in names for mark in marks) else replace(extent, marks=0.0)


def _staff_labels(drawing: Drawing, em: float) -> Iterator[StaffText]:
    """Yield what stands to the left of two staves of both forms."""
    if drawing.staves > 1:
        for number, label in enumerate(("opened", "closed")):
            middle = number * drawing.extent.staff_step + 2 * UNITS_A_SPACE
            yield StaffText(label, 0.0, middle + em * _LABEL_UNDER_MIDDLE_EM, small=True)


def _staff(
    system: System,
    extent: Extent,
    symbols: dict[str, str],
    marks: Sequence[Mark],
    tempos: Sequence[TempoMark],
    fingers: Sequence[FingerColumn],
    alternative: str,
    over: OverStaff,
    label_em: float,
    under: Sequence[Under],
) -> Staff:
    drawing = Drawing(system, extent, symbols, marks, tempos, over)
    top = 0.0
    for one in under:
        if drawing.staves == 1:
            drawing.add_below(one.svg, one.height, one.texts)
        else:
            # What is told of the opened movements stands under them.
            drawing.add_under_top(one.svg, top, one.texts)
        top += one.height
    texts = tuple(
        replace(text, x=text.x + EDGE, y=text.y - drawing.top)
        for text in (*drawing.texts, *_staff_labels(drawing, label_em))
    )
    labels: tuple[tuple[str, float], ...] = ()
    if fingers:
        above = drawing.bottom - drawing.top
        strip = strip_svg(fingers, drawing.places, 0.0)
        drawing.add_below(strip, STRIP_HEIGHT)
        if strip:
            labels = tuple((text, above + y) for text, y in label_middles().items())
    width, height = drawing.size
    return Staff(drawing.svg, width, height, alternative, labels, texts)


def _target(exercise: Exercise) -> Fact:
    """The tempo with the beat that it counts: `Target` a crotchet `= 60`."""
    beats = dict.fromkeys(bar.meter.beat_value for line in exercise.lines for bar in line.bars)
    equals = f" = {tempo_label(exercise.tempo)}"
    signs = [(", " if index else "Target ", note_sign(beat)) for index, beat in enumerate(beats)]
    return (*(part for lead, sign in signs for part in (lead, sign, equals)),)


_TIMES = {2: "twice", 3: "three times", 4: "four times"}


def _playing(exercise: Exercise, settings: Settings) -> str:
    """How tracks play the lines, where that is not once each; else nothing."""
    repeats = settings.repeats_of(exercise)
    times = _TIMES.get(repeats, f"{repeats} times")
    tunes = played(exercise).tunes
    if settings.climb is not None:
        return _climbing(exercise, settings, times if repeats > 1 else "once")
    if repeats == 1:
        return ""
    if len(tunes) == 1:
        return f"Tracks play the {'line' if len(exercise.lines) == 1 else 'tune'} {times}"
    bars = "a bar" if settings.gap == 1 else f"{settings.gap} bars"
    between = f", then {bars} of clicks before the next" if settings.gap else ""
    what = "tune" if any(len(tune) > 1 for tune in tunes) else "line"
    return f"Tracks play each {what} {times}{between}"


def _climbing(exercise: Exercise, settings: Settings, times: str) -> str:
    tempos = settings.tempos_of(exercise)
    what = "the line" if len(exercise.lines) == 1 else "each line"
    gap = settings.gap
    bars = "a bar" if gap == 1 else f"{gap} bars"
    between = f", {bars} of clicks between" if gap else ""
    rungs = f"{len(tempos)} rungs from {tempos_label(tempos)}" if len(tempos) > 1 else "one rung"
    return f"One track has {rungs}, {what} {times} on each{between}"


def _facts(exercise: Exercise, settings: Settings, *, for_children: bool) -> Iterator[Fact]:
    meters = dict.fromkeys(str(bar.meter) for line in exercise.lines for bar in line.bars)
    yield (", ".join(list(meters)[:4]),)
    yield _target(exercise)
    if not for_children:
        yield (f"Gracenotes {exercise.gracenotes.length}, {exercise.gracenotes.placement}",)
    for pitch in settings.pitches_of(exercise):
        if pitch.is_measured:
            yield (f"Chanter {pitch.label}, low A {pitch.low_a_hz:.1f} Hz",)


_MOST_ORDERED = 40
"""Lines that the order of playing names."""


def _which_is_played(exercise: Exercise) -> Iterator[str]:
    """Yield which of the two staves tracks play, where there are two."""
    pickups = [Fraction(0)] * len(exercise.lines)
    doubled = [
        index for index in range(len(pickups)) if index + 1 not in _merged(exercise, pickups)
    ]
    opened = [index for index in doubled if plays_opened(exercise, exercise.lines[index])]
    if not doubled:
        return
    if len(opened) in (0, len(doubled)):
        yield f"Tracks play the staves that are {'opened' if opened else 'closed'}"
    else:
        numbers = ", ".join(str(exercise.number_of(index)) for index in opened[:_MOST_ORDERED])
        more = " and so on" if len(opened) > _MOST_ORDERED else ""
        one = "line" if len(opened) == 1 else "lines"
        yield f"Tracks play {one} {numbers}{more} opened, the other lines closed"


def _directions(exercise: Exercise, form: Form, settings: Settings) -> Iterator[str]:
    if form is Form.BOTH:
        yield from _which_is_played(exercise)
    if exercise.played_once:
        yield "Tracks play each bar once, and of endings the last"
    elif exercise.order:
        numbers = [str(exercise.number_of(line - 1)) for line in exercise.order]
        more = " and so on" if len(numbers) > _MOST_ORDERED else ""
        yield f"Lines are played in the order {', '.join(numbers[:_MOST_ORDERED])}{more}"
    if settings.each_line and len(exercise.lines) > 1:
        yield "Each line has a track of its own"
    playing = _playing(exercise, settings)
    if playing:
        yield playing
    if closing := closing_words(exercise, settings):
        yield closing
    if sounding := track_words(settings):
        yield f"Tracks: {printable(sounding)}"


_MARK_EDGE = 60
_HANDS = {Hand.LEFT: "upper (left)", Hand.RIGHT: "lower (right)"}


def _legend(
    content: Sequence[LineContent], hands: set[Hand], fingering: bool
) -> Iterator[LegendItem]:
    side = MARK_WIDTH + 2 * _MARK_EDGE
    for index, hand in enumerate(one for one in Hand if one in hands):
        sign = framed(mark_svg(0, 0, hand), -side / 2, -side / 2, side, side)
        noise = "" if index else ", or a low note may sound between"
        yield LegendItem(sign, f"the {_HANDS[hand]} hand first{noise}")
    if any('class="ruler"' in staff.svg for line in content for staff in line.staves):
        yield LegendItem(ruler_sign(), "beats and their parts")
    if any(line.rungs for line in content):
        yield LegendItem(
            "box", "for each tempo: date, initials, how it went; next once it is clean"
        )
    if fingering:
        for kind, text in (
            ("lifts", "lifts"),
            ("closes", "closes"),
            ("flicks", "flick: lifts and closes again"),
            ("taps", "tap: closes and lifts again"),
            ("closed", "stays closed"),
            ("open", "stays open"),
        ):
            yield LegendItem(framed(sign_svg(kind, 0, 0), -90, -90, 180, 180), text)


class _Lengths:
    """How long tracks are, each worked out once."""

    def __init__(self, exercise: Exercise, settings: Settings) -> None:
        self.parts = settings.parts_of(exercise)
        self._settings = settings
        self._known: dict[tuple[int, Fraction | None, Mix], Fraction] = {}

    def of(self, part: int, tempo: Fraction | None, mix: Mix) -> Fraction:
        """Return the seconds of a part's track; raises a `RungwiseError` where there is none."""
        key = (part, tempo, mix)
        if key not in self._known:
            timeline = timeline_of(self.parts[part], self._settings, tempo, mix)
            self._known[key] = timeline.duration
        return self._known[key]


def _tracks(
    exercise: Exercise, tempos: Sequence[Fraction], settings: Settings, known: _Lengths
) -> Iterator[tuple[str, str]]:
    """Yield each track's tempo and its length as `rungwise render` makes it."""
    for tempo in settings.takes_of(exercise):
        try:
            lengths = []
            for mix in settings.mix:
                each = [known.of(part, tempo, mix) for part in range(len(known.parts))]
                ends = dict.fromkeys((clock_text(min(each)), clock_text(max(each))))
                lengths.append(" to ".join(ends))
            length = " or ".join(dict.fromkeys(lengths))
        except RungwiseError:
            # Too fast for its ornaments: there is no track, and `check` says why.
            length = "does not fit"
        yield tempos_label(tempos if tempo is None else (tempo,)), length


def _durations(
    exercise: Exercise, tempos: Sequence[Fraction], settings: Settings, known: _Lengths
) -> Iterator[tuple[str, ...]]:
    """Yield the lengths of the tracks over each line's boxes, one a rung.

    Tracks of the whole have them over the first line's, tracks of each line over each; those that
    climb have no length a rung.
    """
    takes = list(settings.takes_of(exercise))
    for number in range(len(exercise.lines)):
        if takes != list(tempos) or (number and len(known.parts) == 1):
            yield ()
            continue
        yield tuple(_clock(known, number, tempo, settings) for tempo in tempos)


def _clock(known: _Lengths, part: int, tempo: Fraction, settings: Settings) -> str:
    """Return how long a track is; nothing where there is none, or mixes differ."""
    try:
        found = {clock_text(known.of(part, tempo, mix)) for mix in settings.mix}
    except RungwiseError:
        return ""
    return found.pop() if len(found) == 1 else ""


def _kind(material: Material) -> str:
    """Return what contents list it under: the type of a tune, `Tunes` without one, or exercises."""
    named = printable(material.exercise.tune_type)
    if named:
        return named[:1].upper() + named[1:]
    return "Tunes" if material.tunes else EXERCISES


def _link(pattern: str, exercise: Exercise, line: int) -> str:
    """Return the web address of an exercise, or of a line of it."""
    stem = Path(exercise.source).stem or safe_stem(exercise.title)
    return pattern.replace(EXERCISE_FIELD, quote(stem, safe="")).replace(LINE_FIELD, str(line))


def _alternative(exercise: Exercise, report: LineReport, tempos: str, part: int, parts: int) -> str:
    heading = clean(exercise.lines[report.line - 1].heading)
    name = f"Line {exercise.number_of(report.line - 1)}" + (f", {heading}" if heading else "")
    name += f", part {part} of {parts}" if parts > 1 else ""
    signs = signs_in_words(exercise.lines[report.line - 1])
    said = [report.played, signs, tempos]
    return f"{name}: {'; '.join(filter(None, said))}"


def _advice(exercise: Exercise, report: LineReport, shown: Shown) -> Iterator[str]:
    """Yield what stands under a line, a sentence each."""
    if shown is Shown.NONE:
        return
    # Chosen by its worth, read along the line.
    yield from map(str, sorted(report.advice, key=lambda one: (one.bar, one.beat)))
    if shown is Shown.ALL and report.as_lines:
        yield as_lines_words([exercise.number_of(number - 1) for number in report.as_lines])


def _remarks(exercise: Exercise) -> Iterator[str]:
    texts = [exercise.title, exercise.audience, exercise.purpose, exercise.level]
    texts += [exercise.tune_type, exercise.composer, exercise.origin, exercise.notes]
    for line in exercise.lines:
        texts += [line.heading, line.tune, *(word for bar in line.bars for word in bar.words)]
    missing = missing_letters(clean("".join(texts)))
    if missing:
        shown = " ".join(missing[:8]) + (" and others" if len(missing) > 8 else "")
        yield f"The print fonts lack these characters, so empty boxes stand for them: {shown}"


@dataclass(frozen=True, slots=True)
class Material:
    """What an exercise prints, whatever the size of page and print: it is made once for all sizes.

    Parameters
    ----------
    exercise, form:
        What is printed, and in which form.
    tracks:
        How the tracks are made that go with it.
    lines, symbols:
        Its staves with what they need, and the glyphs that they are drawn with.
    marks, changes, reports:
        Of each line: the marks over the notes, the changes of tempo, what to watch.
    tempos, lengths:
        Each rung's tempo, and the length of its track.
    tunes:
        As `tunes_of` has them.
    durations:
        The lengths of the tracks that stand over each line's boxes.
    explained:
        What the strip prints that explains movements; None for none.
    opened:
        The lines, from 1, that have movements opened out.
    names:
        The name of each note at full size, by its id.
    """

    exercise: Exercise
    form: Form
    tracks: Settings
    lines: tuple[StackedLine, ...]
    symbols: dict[str, str]
    marks: tuple[tuple[Mark, ...], ...]
    changes: tuple[tuple[TempoMark, ...], ...]
    reports: tuple[LineReport, ...]
    tempos: tuple[Fraction, ...]
    lengths: tuple[tuple[str, str], ...]
    tunes: tuple[int, ...]
    durations: tuple[tuple[str, ...], ...]
    explained: Material | None
    opened: frozenset[int]
    names: Mapping[str, str]


def material_of(
    exercise: Exercise, settings: SheetSettings, tracks: Settings | None = None
) -> Material:
    """Return what an exercise prints at any size.

    Parameters
    ----------
    exercise:
        What is printed.
    settings:
        How it is printed.
    tracks:
        How the tracks are made that go with it; as `rungwise render` makes them unasked if left
        out.

    Raises
    ------
    RungwiseError
        If an opened ornament has more parts than its note has room for, or a rung is out of range.
    """
    tracks = usual_settings() if tracks is None else tracks
    forms = settings.form.staves
    numbers = range(1, len(exercise.lines) + 1)
    pickups = [max(pickup_of(exercise, number, form) for form in forms) for number in numbers]
    apart = settings.imposition is Imposition.CARDS
    engravings = [engrave(exercise, form, pickups, apart=apart) for form in forms]
    tempos = tuple(tracks.tempos_of(exercise))
    tunes = tunes_of(exercise)
    known = _Lengths(exercise, tracks)
    printed = [
        [note for bar in printed_line(exercise, number, forms[0], pickup).notes for note in bar]
        for number, pickup in zip(numbers, pickups, strict=True)
    ]
    return Material(
        exercise=exercise,
        form=settings.form,
        tracks=tracks,
        lines=stacked_lines(
            [engraving.lines for engraving in engravings],
            _merged(exercise, pickups) if settings.form is Form.BOTH else (),
            tunes,
        ),
        symbols={code: path for one in engravings for code, path in one.symbols.items()},
        marks=tuple(marks_of(exercise, settings.marks)),
        changes=tuple(
            tuple(replace(one, bar=one.bar + line.bars_before * (one.bar > 1)) for one in changed)
            for changed, line in zip(tempo_marks(exercise), engravings[0].lines, strict=True)
        ),
        reports=tuple(assess(exercise)),
        tempos=tempos,
        lengths=tuple(_tracks(exercise, tempos, tracks, known)),
        tunes=tunes,
        durations=tuple(_durations(exercise, tempos, tracks, known)),
        explained=_explained(exercise, settings, tracks),
        opened=frozenset(
            number
            for number, notes in zip(numbers, printed, strict=True)
            if any(note.is_inner for note in notes)
        ),
        names={
            note.id: note.note.label
            for notes in printed
            for note in notes
            if note.note is not None and not note.tied_from_before
        },
    )


def _explained(exercise: Exercise, settings: SheetSettings, tracks: Settings) -> Material | None:
    movements = movements_of(exercise) if settings.explain else None
    if movements is None:
        return None
    return material_of(movements, settings.for_strip, tracks.changed(ladder=None, climb=None))


def _movements(material: Material | None, settings: SheetSettings) -> Iterator[ExplainedMovement]:
    if material is None:
        return
    shown = laid_out(material, settings.for_strip).lines
    for line, content in zip(material.exercise.lines, shown, strict=True):
        (*_, note) = line.melody_notes
        yield ExplainedMovement(note.ornament or "", content.heading, content.staves[0])


def content_of(
    exercise: Exercise, settings: SheetSettings, tracks: Settings | None = None
) -> ExerciseContent:
    """Return all that is printed of an exercise; arguments and errors as for `material_of`."""
    return laid_out(material_of(exercise, settings, tracks), settings)


def label_indent(material: Material, settings: SheetSettings) -> float:
    """The room to the left of the staves that labels take, in the engraver's units."""
    labelled = settings.fingering or any(len(line.forms) > 1 for line in material.lines)
    return settings.small_units * _LABEL_EM if labelled else 0.0


def _beats_shown(material: Material, settings: SheetSettings, number: int) -> Counting:
    """How the beats of a line, from 1, are shown under it."""
    if settings.counting is not None:
        return settings.counting
    if settings.is_for_children or material.exercise.level.casefold() == "beginner":
        return Counting.NUMBERS
    return Counting.RULER if number in material.opened else Counting.NONE


def _under(
    material: Material, settings: SheetSettings, number: int, system: System
) -> Iterator[Under]:
    """Yield what stands under a system of a line, from 1."""
    if settings.is_for_children:
        yield names(system, material.names, settings.text_units)
    yield beats(system, _beats_shown(material, settings, number), settings.text_units)


def even_scale(material: Material, settings: SheetSettings) -> float:
    """Return how large staves are at most, as a share of what settings ask for, so that the equal
    notes of every bar can stand evenly in a row."""
    available = settings.system_units - label_indent(material, settings)
    bars = (spacing for line in material.lines for spacing in line.spacings)
    widest = max(spacing.nearly_even for spacing in bars)
    return available / (widest + CLEF_ROOM + 2 * EDGE)


def pairs_more(material: Material, settings: SheetSettings) -> bool:
    """Whether more lines share a row where they are to be paired."""
    width, half = settings.system_units - 2 * EDGE, settings.half_units - 2 * EDGE
    indent = label_indent(material, settings)
    few, more = (
        halved_lines(material.lines, width, half, indent, paired=paired) for paired in (False, True)
    )
    return few != more


def laid_out(material: Material, settings: SheetSettings) -> ExerciseContent:
    """Return all that is printed of an exercise, at the size that the settings have."""
    exercise, symbols = material.exercise, material.symbols
    marks, changes, tracks = material.marks, material.changes, material.tracks
    width, half = settings.system_units - 2 * EDGE, settings.half_units - 2 * EDGE
    indent = label_indent(material, settings)
    lines = lay_systems(
        material.lines,
        width,
        half,
        indent,
        paired=settings.paired,
        phrase=settings.phrase,
        only_phrases=settings.is_for_children,
        alike=settings.alike,
    )
    labels = tuple(tempo_label(tempo) for tempo in material.tempos)
    rows = rows_of(lines, half)
    over = [[OverStaff(system, settings.text_units) for system in systems] for systems in lines]
    under = [
        [tuple(_under(material, settings, number, system)) for system in systems]
        for number, systems in enumerate(lines, start=1)
    ]
    extents: dict[int, Extent] = {}
    firsts: dict[int, Extent] = {}
    for row in rows:
        # Staves that stand beside each other are level.
        shared = [system for index in row for system in lines[index]]
        extent = extent_of(
            shared,
            any(marks[index] for index in row),
            any(changes[index] for index in row),
            [one for index in row for one in over[index]],
            max(sum(one.height for one in part) for index in row for part in under[index]),
        )
        extents |= dict.fromkeys(row, extent)
        if len(row) == 1:
            firsts[row[0]] = _first_extent(extent, shared[0], marks[row[0]])
    content = []
    for number, (systems, report) in enumerate(zip(lines, material.reports, strict=True), start=1):
        line = exercise.lines[number - 1]
        bar_numbers = [stack[0].number for stack in material.lines[number - 1].bars]
        tempos = in_words(changes[number - 1], bar_numbers)
        fingers = finger_columns(line, exercise.id_number(number - 1)) if settings.fingering else ()
        staves = tuple(
            _staff(
                system,
                extents[number - 1] if part > 1 else firsts.get(number - 1, extents[number - 1]),
                symbols,
                marks[number - 1],
                changes[number - 1],
                fingers,
                _alternative(exercise, report, tempos, part, len(systems)),
                over[number - 1][part - 1],
                settings.small_units,
                under[number - 1][part - 1],
            )
            for part, system in enumerate(systems, start=1)
        )
        shown = exercise.number_of(number - 1)
        content.append(
            LineContent(
                shown,
                printable(line.heading),
                line_name(material.tunes, number, shown),
                staves,
                tuple(_advice(exercise, report, settings.advice)),
                labels if _begins_tune(material.tunes, number) else (),
                printable(line.tune),
                _about(exercise, line.tune),
                material.durations[number - 1],
                _link(settings.link, exercise, shown) if settings.has_line_codes else "",
            )
        )
    hands = {mark.hand_first for line in marks for mark in line}
    return ExerciseContent(
        title=printable(exercise.title),
        kind=_kind(material),
        audience=printable(exercise.audience),
        tune=(
            ", ".join(filter(None, map(printable, (exercise.tune_type, exercise.origin)))),
            printable(exercise.composer),
        ),
        notes=tuple(
            note
            for note in filter(None, map(printable, exercise.notes.splitlines()))
            if not any(line.about and note == f"{line.tune}: {line.about}" for line in content)
        ),
        facts=tuple(_facts(exercise, tracks, for_children=settings.is_for_children)),
        directions=tuple(_directions(exercise, settings.form, tracks)),
        purpose=printable(exercise.purpose),
        level=printable(exercise.level),
        lines=tuple(content),
        rows=rows,
        tracks=material.lengths,
        explained=tuple(_movements(material.explained, settings)),
        link=""
        if settings.has_line_codes or EXERCISE_FIELD not in settings.link
        else _link(settings.link, exercise, 0),
        legend=tuple(_legend(content, hands, settings.fingering or material.explained is not None)),
        remarks=tuple(_remarks(exercise)),
    )
