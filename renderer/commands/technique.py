"""`rungwise ornaments`, `check` and `fingering`: what the program knows of technique, printed.

`check` ends with exit code 1 where a line does not fit at a tempo that the exercise itself asks
for, so that a script notices; everything else that is wrong ends with 2, as with every command.
"""

from __future__ import annotations

import json
import sys
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from renderer.commands.console import output_console, print_lines, print_table, spoken_length
from renderer.commands.options import ReportFormat, read_exercise_of, read_played, settled
from renderer.errors import RungwiseError, WrongValueError
from renderer.order.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from renderer.notation.score import Exercise
    from renderer.order.tracks import TrackSize
    from renderer.technique.movement import Movement
    from renderer.technique.ornaments import OrnamentBook
    from renderer.technique.report import LineReport


def ornaments(
    name: Annotated[
        str | None, typer.Argument(help="One movement; the whole book if left out.")
    ] = None,
    coming_from: Annotated[
        str | None, typer.Option("--from", help="The note before it, such as 'high G'.")
    ] = None,
    file: Annotated[
        Path | None, typer.Option("--file", help="A definition whose own `ornament-book` counts.")
    ] = None,
) -> None:
    """Print the ornament book, or one movement with its slots and finger moves.

    Reads the book that ships with the program, and that of a definition file where one is named;
    writes to the screen. Slots are in ABC letters (G A B c d e f g a for low G to high A),
    gracenotes in braces.

    Example: rungwise ornaments doubling --from "high A"
    """
    from renderer.notation.pitch import note_named
    from renderer.technique import text_tables
    from renderer.technique.ornaments import load_book

    book = load_book() if file is None else _book_of(file)
    if name is None:
        print_table(text_tables.BOOK_HEADINGS, text_tables.book_rows(book))
        return
    try:
        movement = book.movement(name)
    except WrongValueError as error:
        raise error.at("") from None
    if coming_from is None:
        _about(movement, book)
        print_table(text_tables.MOVEMENT_HEADINGS, text_tables.movement_rows(movement))
        return
    try:
        previous = note_named(coming_from)
    except WrongValueError as error:
        raise error.at("--from") from None
    _about(movement, book)
    rows = text_tables.approach_rows(book, movement, previous)
    print_table(text_tables.APPROACH_HEADINGS, rows, f"Coming from {previous}")


def _book_of(file: Path) -> OrnamentBook:
    from renderer.notation.definition.reader import read_definition
    from renderer.technique.ornaments import load_book

    own = read_definition(file).ornament_book
    try:
        return load_book().extended(own) if own else load_book()
    except RungwiseError as error:
        raise error.in_file(str(file)) from None


def _about(movement: Movement, book: OrnamentBook) -> None:
    from rich.text import Text

    facts = [("Family", movement.family), ("Source", movement.source)]
    if any(len(slots) > 1 for slots in movement.fragments.values()):
        playing = movement.playing
        inner, least = (", ".join(map(str, one)) for one in (playing.inner, playing.least))
        facts += [
            ("On the beat", f"its {playing.beat} part" if playing.beat != "last" else "its note"),
            ("Inner notes", f"{inner}, at least {least}"),
            ("Timing", movement.timing_source),
        ]
    if ways := book.ways_of(movement):
        facts.append(("Other beginnings", "; ".join(_beginning(one) for one in ways)))
    if movement.spellings:
        facts.append(("Also written", ", ".join(movement.spellings)))
    if movement.instead:
        facts.append(("Where it cannot be played", ", then ".join(movement.instead)))
    console = output_console()
    console.print(Text(movement.name, style="bold"))
    if movement.description:
        console.print(Text(movement.description))
    for heading, fact in facts:
        console.print(Text(f"{heading}: {fact}"))


def _beginning(movement: Movement) -> str:
    """What a movement begun in another way is called, and where it is used."""
    from renderer.technique.text_tables import note_range

    used = {previous for note in movement.notes for previous in movement.used_from(note)}
    return f"{movement.name} (coming from {note_range(tuple(sorted(used)))})"


@settled("check")
def check(
    file: Annotated[Path, typer.Argument(help="An exercise, or the name of a shipped one.")],
    settings: Settings,
    form: Annotated[
        ReportFormat,
        typer.Option("--format", case_sensitive=False, help="For people or for machines."),
    ] = ReportFormat.TABLE,
) -> None:
    """Say what each line plays, what to watch in it, how hard it is and how fast it fits.

    Reads an exercise; writes a report to the screen. Ends with exit code 1 if a line does not fit
    at the exercise's own tempo or at a rung of its ladder. Difficulty is in points a beat and says
    nothing but which lines are harder than others.

    Example: rungwise check doublings.toml --format json
    """
    from renderer.order.tracks import track_sizes
    from renderer.technique.report import assess
    from renderer.timing.fit import fastest_and_even_tempos

    written = settings.chosen(read_exercise_of(file, settings))
    exercise = settings.applied_to(written)
    reports = assess(exercise)
    limits = fastest_and_even_tempos(exercise)
    fastest = [limit for limit, _ in limits]
    evenly = [even for _, even in limits]
    asked = max(settings.tempos_of(exercise))
    if settings.tempo is None and settings.ladder is None and settings.climb is None:
        asked = max(asked, exercise.tempo)
    too_fast = [limit is not None and limit < asked for limit in fastest]
    least = min((limit for limit in fastest if limit is not None), default=None)
    tracks: Sequence[TrackSize] = ()
    too_long: tuple[str, ...] = ()
    try:
        tracks = track_sizes(written, settings, least)
    except RungwiseError as error:
        # What cannot be made as a track can be checked all the same.
        too_long = tuple(str(problem) for problem in error.problems)
    if form is ReportFormat.JSON:
        fields = _as_fields(exercise, reports, fastest, evenly, asked)
        fields["tracks"] = [
            {
                "name": track.name,
                "tempo": float(track.tempos[0]),
                "tempos": list(map(float, track.tempos)),
                "seconds": None if track.duration is None else round(float(track.duration), 3),
            }
            for track in tracks
        ]
        fields["remarks"] += too_long
        sys.stdout.write(json.dumps(fields, indent=1) + "\n")
    else:
        _print_reports(exercise, reports, fastest, evenly, asked)
        _print_tracks(tracks, too_long)
    if any(too_fast):
        raise typer.Exit(1)


_MOST_TRACKS_SHOWN = 24


def _print_tracks(tracks: Sequence[TrackSize], problems: Sequence[str]) -> None:
    from rich.text import Text

    console = output_console()
    if problems:
        console.print(Text(f"\nNo tracks can be made with these settings: {' '.join(problems)}"))
        return
    console.print(Text("\nTracks that render makes with these settings:"))
    for track in tracks[:_MOST_TRACKS_SHOWN]:
        lasts = "does not fit" if track.duration is None else spoken_length(float(track.duration))
        console.print(Text(f"  {track.name}: {lasts}"), soft_wrap=True)
    if (more := len(tracks) - _MOST_TRACKS_SHOWN) > 0:
        console.print(Text(f"  and {more} more"))


def _floor_tenths(tempo: Fraction) -> float:
    # Never faster than what fits.
    return tempo.numerator * 10 // tempo.denominator / 10


def _as_fields(
    exercise: Exercise,
    reports: Sequence[LineReport],
    fastest: Sequence[Fraction | None],
    evenly: Sequence[Fraction | None],
    asked: Fraction,
) -> dict[str, Any]:
    from renderer.technique.text_tables import report_fields

    lines = [
        {
            **report_fields(report),
            "fastest_tempo": None if limit is None else _floor_tenths(limit),
            "even_tempo": None if even is None else _floor_tenths(even),
            "fits": limit is None or limit >= asked,
        }
        for report, limit, even in zip(reports, fastest, evenly, strict=True)
    ]
    return {
        "title": exercise.title,
        "tempo": float(exercise.tempo),
        "fastest_rung": float(asked),
        "remarks": list(exercise.remarks),
        "lines": lines,
        "totals": _totals(reports),
    }


def _totals(reports: Sequence[LineReport]) -> dict[str, int]:
    from renderer.technique.cautions import CautionKind

    totals = {
        "lines": len(reports),
        "notes": sum(report.notes for report in reports),
        "gracenotes": sum(report.gracenotes for report in reports),
        "inner notes": sum(report.inner_notes for report in reports),
    }
    return totals | {kind.value: sum(r.count(kind) for r in reports) for kind in CautionKind}


def _print_reports(
    exercise: Exercise,
    reports: Sequence[LineReport],
    fastest: Sequence[Fraction | None],
    evenly: Sequence[Fraction | None],
    asked: Fraction,
) -> None:
    from rich.text import Text

    from renderer.technique.cautions import CautionKind
    from renderer.technique.text_tables import as_lines_words
    from renderer.timing.fit import spoken_tempo

    said = [Text(exercise.title, style="bold"), *map(Text, exercise.remarks)]
    for report, limit, even in zip(reports, fastest, evenly, strict=True):
        heading = f": {report.heading}" if report.heading else ""
        said.append(Text(f"\nLine {report.line}{heading}", style="bold"))
        said.append(Text(report.played))
        speed = _speed(limit, even, asked)
        said.append(Text(f"Difficulty {report.difficulty:.1f}; {speed}"))
        said += [Text(f"  {sentence}") for sentence in report.advice]
        if report.as_lines:
            said.append(Text(f"  {as_lines_words(report.as_lines)}"))
    totals = _totals(reports)
    risks = [_counted(totals[kind], kind) for kind in CautionKind if totals[kind]]
    music = [_counted(n, name) for name, n in totals.items() if n and name not in set(CautionKind)]
    said.append(Text(f"\nTotals: {', '.join(music)}"))
    if risks:
        said.append(Text(f"Places to watch for: {', '.join(risks)}"))
    ordered = sorted(reports, key=lambda report: report.difficulty)
    if len(ordered) > 1:
        order = ", ".join(str(report.line) for report in ordered)
        said.append(Text(f"Lines from easy to hard: {order}"))
    slow = [limit for limit in fastest if limit is not None and limit < asked]
    if slow:
        said.append(
            Text(
                f"Not every line fits at {spoken_tempo(asked)} beats a minute, the fastest that "
                "the exercise asks for."
            )
        )
    print_lines(said)


def _counted(count: int, name: str) -> str:
    """A count with its noun, which `_totals` names in the plural or as a kind of caution."""
    noun = name.removesuffix("s")
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _speed(limit: Fraction | None, even: Fraction | None, asked: Fraction) -> str:
    from renderer.notation.limits import FASTEST_TEMPO
    from renderer.timing.fit import spoken_limit, spoken_tempo

    shared = ""
    if even == 0:
        shared = " (but melody notes are shorter than a part of their ornament)"
    elif even is not None and even < FASTEST_TEMPO:
        shared = (
            f" (up to {spoken_limit(even)}, no melody note is shorter than a part of its ornament)"
        )
    if limit is None or limit >= FASTEST_TEMPO:
        return f"fits at every tempo{shared}"
    if limit == 0:
        return "fits at no tempo: the parts of an opened movement are longer together than its note"
    verdict = f"fits up to {spoken_limit(limit)} beats a minute{shared}"
    return verdict if limit >= asked else f"{verdict}, and {spoken_tempo(asked)} are asked for"


@settled("fingering")
def fingering(
    file: Annotated[Path, typer.Argument(help="An exercise, or the name of a shipped one.")],
    settings: Settings,
) -> None:
    """Print what the fingers do in one line, change by change.

    Reads an exercise; writes a table to the screen: at which bar and beat, what to watch, what
    lifts, then what closes, the fingering after each step (x closed, - open, from the left thumb
    down) and the note that it sounds.

    Example: rungwise fingering doublings.toml --line 2
    """
    from renderer.technique.text_tables import FINGERING_HEADINGS, fingering_rows

    exercise = read_played(file, settings)
    (chosen,) = exercise.lines
    line = settings.line
    title = f"Line {line}: {chosen.heading}" if chosen.heading else f"Line {line}"
    print_table(FINGERING_HEADINGS, fingering_rows(chosen), title, whole=FINGERING_HEADINGS[2:])
