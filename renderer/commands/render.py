"""`rungwise render` and `rungwise demo`: play-along tracks from exercises."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands import scores, values
from renderer.commands.options import (
    naming,
    output_console,
    read_all,
    read_with_options,
    refuse_missing_line,
    spoken_length,
)
from renderer.errors import RungwiseError, failure

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import Console

    from renderer.delivery.render import RenderedTrack
    from renderer.delivery.settings import RenderSettings
    from renderer.notation.score import Exercise, Ladder


def _ladder(tempo: Fraction | None, ladder: str | None) -> Ladder | None:
    from renderer.notation.ladder import parse_ladder
    from renderer.notation.score import Ladder
    from renderer.timing.expand import exact_tempo

    if tempo is not None and ladder is not None:
        raise failure(
            "--tempo and --ladder are both given", "give one tempo or a ladder of several"
        )
    with naming("--tempo" if ladder is None else "--ladder"):
        if ladder is not None:
            return parse_ladder(ladder)
        return None if tempo is None else Ladder((exact_tempo(tempo),))


def _only_line(exercise: Exercise, number: int | None) -> Exercise:
    if number is None:
        return exercise
    refuse_missing_line(exercise, number)
    return exercise.only(number)


@contextmanager
def _progress(console: Console) -> Iterator[Callable[[float, float], None]]:
    """Give a callback that moves a bar; where nobody watches there is none."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f}%"),
        TimeRemainingColumn(),
    )
    bar = Progress(*columns, console=console, transient=True, disable=not console.is_terminal)
    with bar:
        task = bar.add_task("Rendering", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _counted(count: int, noun: str) -> str:
    return f"1 {noun}" if count == 1 else f"{count} {noun}s"


def _print_table(
    console: Console,
    tracks: Sequence[RenderedTrack],
    playlists: Sequence[Path],
    sheets: Sequence[Path] = (),
) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("Written", overflow="fold")
    for heading in ("Plays", "Size"):
        table.add_column(heading, justify="right", no_wrap=True)
    for sheet in sheets:
        table.add_row(Text(sheet.name), "", f"{sheet.stat().st_size / 1e6:.1f} MB")
    for track in tracks:
        length = spoken_length(float(track.duration))
        table.add_row(Text(track.path.name), length, f"{track.bytes / 1e6:.1f} MB")
    console.print(table)
    total = sum(float(track.duration) for track in tracks)
    size = sum(track.bytes for track in tracks) / 1e6
    lists = f" and {_counted(len(playlists), 'playlist')}" if playlists else ""
    console.print(
        f"{_counted(len(tracks), 'track')}{lists}, "
        f"{spoken_length(total)} of playing, {size:.1f} MB in {tracks[0].path.parent}",
        soft_wrap=True,
        markup=False,
        highlight=False,
    )


_OPTIONS = {
    "pitches": "--pitch",
    "mixes": "--mix",
    "formats": "--format",
    "count_in": "--count-in",
    "count_in_style": "--count-in-style",
    "drone_soundfont": "--drone-soundfont",
    **{name: f"--{name}" for name in ("scale", "chanter", "repeats", "rate", "layout", "levels")},
    "soundfont": "--soundfont",
    "preset": "--preset",
    "drone_preset": "--drone-preset",
}


def _by_options(error: RungwiseError) -> RungwiseError:
    """Return the error with settings named as the command line names them."""
    return type(error)(
        replace(problem, place=_OPTIONS.get(problem.place, problem.place))
        for problem in error.problems
    )


def _render(
    exercises: Sequence[Exercise], folder: Path, settings: RenderSettings
) -> tuple[tuple[RenderedTrack, ...], tuple[Path, ...]]:
    """Render, say what had to be decided, and return the tracks and their playlists."""
    from rich.console import Console

    from renderer.delivery.plan import plan_tracks
    from renderer.delivery.render import RenderingStoppedError, render_jobs, write_playlists

    try:
        jobs = plan_tracks(exercises, folder, settings)
    except RungwiseError as error:
        raise _by_options(error) from None
    try:
        with _progress(Console(stderr=True)) as moved:
            tracks = render_jobs(jobs, on_progress=moved)
    except RenderingStoppedError as error:
        if error.finished:
            _print_table(output_console(), error.finished, write_playlists(error.finished))
        raise
    playlists = write_playlists(tracks)
    console = output_console()
    for remark in dict.fromkeys(remark for track in tracks for remark in track.remarks):
        console.print(f"Note: {remark}", markup=False, highlight=False)
    return tracks, playlists


def render(
    files: Annotated[
        list[Path], typer.Argument(help="Exercises, or names of shipped ones.", show_default=False)
    ],
    output: Annotated[
        Path, typer.Option("-o", "--output", help="The folder for the tracks; it is made.")
    ],
    tempo: Annotated[Fraction | None, values.tempo(help="One tempo, in beats per minute.")] = None,
    ladder: Annotated[
        str | None,
        typer.Option(
            help="Several tempos: from:to:step as 50:80:10, a list as 50,60,75, or per cent of "
            "the exercise's tempo as 60%:100%:10%. Left out, the exercise's own ladder."
        ),
    ] = None,
    pitch: Annotated[
        list[str] | None,
        typer.Option(
            help="A (440 Hz), 'B flat' (466.16 Hz) or low A in hertz as players say it (478). "
            "May be given several times.  [default: A]"
        ),
    ] = None,
    scale: Annotated[str, typer.Option(help="harmonic, MacNeill or equal.")] = "harmonic",
    chanter: Annotated[
        str, typer.Option(help="practice (sounds an octave lower) or pipe.")
    ] = "practice",
    mix: Annotated[
        list[str] | None,
        typer.Option(
            help="full (all), backing (no chanter), chanter (alone) or echo (each line played, "
            "then left free for the learner). May be given several times.  [default: full]"
        ),
    ] = None,
    form: Annotated[
        list[str] | None,
        typer.Option(
            "--format", help="mp3, wav, flac or ogg. May be given several times.  [default: mp3]"
        ),
    ] = None,
    count_in: Annotated[int, values.whole("--count-in", 2, help="Bars of count-in, 0 to 8.")] = 1,
    count_in_style: Annotated[
        str, typer.Option(help="clicks, or rolls as pipe bands start.")
    ] = "clicks",
    metronome: Annotated[
        bool, typer.Option(help="Whether the metronome goes on through the lines.")
    ] = True,
    subdivide: Annotated[
        bool, typer.Option("--subdivide", help="Let the metronome mark halves or thirds as well.")
    ] = False,
    drone: Annotated[bool, typer.Option(help="Whether drones sound.")] = True,
    gracenote: Annotated[
        str | None, typer.Option(help="Length of the gracenotes, such as '45 ms'.")
    ] = None,
    repeats: Annotated[
        int | None,
        values.whole("--repeats", 4, help="How often each line is played on each rung."),
    ] = None,
    line: Annotated[int | None, values.whole("--line", 1, help="Only this line, from 1.")] = None,
    show_crossing: Annotated[
        bool,
        typer.Option(
            "--show-crossing",
            help="Play each line clean, then with every crossing noise that lurks in it.",
        ),
    ] = False,
    layout: Annotated[
        str, typer.Option(help="stereo, mono, or split (chanter left, drone and metronome right).")
    ] = "stereo",
    levels: Annotated[
        str, typer.Option(help="Levels in dB, as chanter=0,drone=-9,metronome=-6.")
    ] = "",
    rate: Annotated[
        int, values.whole("--rate", 48_000, help="Frames per second of the files.")
    ] = 44_100,
    soundfont: Annotated[
        Path | None, typer.Option(help="A SoundFont of your own (SF2 or SF3) for the chanter.")
    ] = None,
    preset: Annotated[
        str | None, typer.Option(help="Its preset, as BANK:PROGRAM, such as 0:109.")
    ] = None,
    drone_soundfont: Annotated[
        Path | None, typer.Option(help="A SoundFont of your own for the drones.")
    ] = None,
    drone_preset: Annotated[str | None, typer.Option(help="Its preset, as BANK:PROGRAM.")] = None,
    part: scores.PartOption = None,
    tune: scores.TuneOption = None,
    transpose: scores.TransposeOption = "0",
    rests: scores.RestsOption = scores.RestsName.SILENCE,
    no_repeats: scores.NoRepeatsOption = False,
    gracenote_under: scores.GracenoteUnderOption = scores.USUAL_GRACENOTE_UNDER,
) -> None:
    """Render exercises as play-along tracks, one for each tempo, pitch, mix and format.

    Reads exercises (TOML, ABC, MusicXML, MIDI); writes audio files and playlists into the folder
    given by -o. Ends with a table of what was written.

    Example: rungwise render doublings.toml -o tracks --ladder 50:80:10 --pitch A --pitch 'B flat'
    """
    from renderer.commands.options import gracenote_length
    from renderer.delivery.formats import AudioFormat
    from renderer.delivery.settings import RenderSettings

    if output.suffix.lower() in {one.ending for one in AudioFormat} and not output.is_dir():
        raise failure(
            f"{output.name!r} is the name of a file, and each tempo makes one of its own",
            f"name a folder, as {output.stem!r}; --format says what to write",
            place="-o",
        )
    settings = RenderSettings(
        ladder=_ladder(tempo, ladder),
        pitches=tuple(pitch or ("A",)),
        scale=scale,
        chanter=chanter,
        mixes=tuple(mix or ("full",)),
        formats=tuple(form or ("mp3",)),
        count_in=count_in,
        count_in_style=count_in_style,
        metronome=metronome,
        subdivide=subdivide,
        drone=drone,
        repeats=repeats,
        gracenote=None if gracenote is None else gracenote_length(gracenote),
        show_crossing=show_crossing,
        rate=rate,
        layout=layout,
        levels=levels,
        soundfont=soundfont,
        preset=preset,
        drone_soundfont=drone_soundfont,
        drone_preset=drone_preset,
    )
    reading = scores.reading_of(part, tune, transpose, rests, no_repeats, gracenote_under)
    exercises = [_only_line(exercise, line) for exercise in read_all(files, reading=reading)]
    tracks, playlists = _render(exercises, output, settings)
    _print_table(output_console(), tracks, playlists)


DEMO_EXERCISES = ("first-gracenotes", "doublings-over-a-wide-step", "grips-and-taorluaths")
DEMO_PITCHES = ("A", "B flat")
DEMO_CLASS = "Larkmoor evening class"


def demo(
    output: Annotated[
        Path, typer.Option("-o", "--output", help="The folder for the pack; it is made.")
    ] = Path("out"),
) -> None:
    """Make a small pack for the Larkmoor evening class: sheets, and tracks at A and B flat.

    Reads exercises that ship with Rungwise; writes a booklet of sheets, audio files on four rungs
    and playlists into the folder given by -o. Ends with a table of what was written.

    Example: rungwise demo -o out
    """
    from renderer.delivery.settings import RenderSettings
    from renderer.delivery.sheet.output import write_sheet
    from renderer.delivery.sheet.pages import Booklet

    exercises = [read_with_options(Path(name)) for name in DEMO_EXERCISES]
    tracks, playlists = _render(exercises, output, RenderSettings(pitches=DEMO_PITCHES))
    booklet = Booklet("Three exercises", DEMO_CLASS)
    sheets = write_sheet(exercises, output / f"{DEMO_CLASS}.pdf", booklet=booklet)
    _print_table(output_console(), tracks, playlists, sheets)
