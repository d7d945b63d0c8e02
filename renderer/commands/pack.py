"""`rungwise pack`: all that a class gets, from one file."""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from renderer.commands.announce import DryRun, counted
from renderer.commands.console import output_console, spoken_length
from renderer.commands.options import Replace, Tidy, settled
from renderer.commands.progress import of_a_pack
from renderer.errors import RungwiseError, failure, one_line

if TYPE_CHECKING:
    from rich.console import Console

    from renderer.delivery.packing.making import Due, MadePack
    from renderer.order.packs import PackPlan

_MOST_REASONS = 2_000


@settled("pack")
def pack(
    given: Mapping[str, Any],
    file: Annotated[
        Path | None, typer.Argument(help="The pack's file (TOML).", show_default=False)
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", help="The folder for the pack; it is made."),
    ] = None,
    new: Annotated[
        bool, typer.Option("--new", help="Write a file to start from, with remarks; to FILE.")
    ] = False,
    dry_run: Annotated[
        bool,
        typer.Option(
            "--dry-run",
            help="Say what would be made, how large it will be and how long it takes; stop there.",
        ),
    ] = False,
    why: Annotated[
        bool, typer.Option("--why", help="Say of each file that is made why it is.")
    ] = False,
    watch: Annotated[
        bool, typer.Option("--watch", help="Make it again whenever a source is saved.")
    ] = False,
    replace: Replace = False,
    tidy: Tidy = False,
) -> None:
    """Make all that a class gets: a folder for each learner with tracks, sheets, plans, playlists.

    Reads a pack's file (exercises, learners, groups, settings); writes into the folder given by -o,
    with a page for the teacher. Made again, only what has changed is made. Settings given here hold
    for everybody instead of the file's.

    Example: rungwise pack class.toml -o larkmoor
    """
    if new:
        _write_new(file, replace=replace)
        return
    if file is None:
        raise failure("no pack is named", "name its file; --new FILE writes one to start from")
    if output is None:
        raise failure("where the pack goes is not said", "name a folder with -o", place="-o")
    if watch:
        if dry_run or why:
            raise failure(
                "--watch goes on and on", "leave --dry-run and --why out", place="--watch"
            )
        _watch(file, output, given, replace=replace, tidy=tidy)
        return
    planned = _planned(file, output, given)
    if dry_run:
        _print_forecast(planned, replace=replace, why=why)
        return
    made = _make(planned, why=why, replace=replace, tidy=tidy)
    if not (made.left_over or made.changed or made.remarks):
        _keep_call(made)


_DEMO = "larkmoor-evening-class.toml"


def demo(
    output: Annotated[
        Path, typer.Option("-o", "--output", help="The folder for the pack; it is made.")
    ] = Path("out"),
    replace: Replace = False,
    tidy: Tidy = False,
    dry_run: DryRun = False,
) -> None:
    """Make the pack of the Larkmoor evening class: three learners at two pitches.

    Reads a pack that ships with Rungwise; writes a folder for each learner (sheets, practice plans,
    tracks on four rungs), playlists and an overview into the folder given by -o. Ends with a table
    of the learners.

    Example: rungwise demo -o out
    """
    from renderer.shipped import shipped_folder

    planned = _planned(shipped_folder("exercises") / _DEMO, output, {})
    if dry_run:
        _print_forecast(planned, replace=replace, why=False)
        return
    _make(planned, why=False, replace=replace, tidy=tidy)


def _planned(file: Path, output: Path, given: Mapping[str, Any]) -> PackPlan:
    from rich.console import Console

    from renderer.delivery.packing.making import first_day
    from renderer.order.packs import read_pack

    with Console(stderr=True).status("Reading"):
        return read_pack(file, given).plan(output, today=first_day(output))


def _make(planned: PackPlan, *, why: bool, replace: bool, tidy: bool) -> MadePack:
    from renderer.delivery.packing.making import make

    with of_a_pack() as moved:
        made = make(
            planned,
            on_progress=moved,
            on_due=_print_reasons if why else None,
            replace=replace,
            tidy=tidy,
        )
    console = output_console()
    _print_made(console, made)
    _say_left_over(console, made, tidy=tidy)
    return made


def _keep_call(made: MadePack) -> None:
    """Let the same call find out at once that nothing is to be done."""
    from renderer.delivery.packing.standing import call_of, keep
    from renderer.order.sizes import spoken_bytes

    plan = made.plan
    console = output_console()
    with console.capture() as capture:
        _print_table(console, made.plan, made.sizes)
        for path in made.parcels:
            _say(console, f"To send: {path} ({spoken_bytes(made.sizes[path])})")
    said = f"{capture.get()}{_nothing_to_do(len(plan.files))}"
    call = call_of(sys.argv[2:], plan.pack.inputs, plan.pack.folders, said)
    keep(plan.root, made.digests, call)


_LOOKED_AGAIN_S = 0.5


def _watch(
    file: Path, output: Path, given: Mapping[str, Any], *, replace: bool, tidy: bool
) -> None:
    """Make the pack whenever a source is saved, until it is stopped."""
    from renderer.delivery.packing.standing import seen

    inputs: Sequence[Path] = (file,)
    folders: Sequence[Path] = ()
    while True:
        before = seen(inputs, folders)
        try:
            planned = _planned(file, output, given)
            # How sources look is noted before they are read, so that none is saved unseen.
            new = planned.pack.inputs, planned.pack.folders
            if new != (inputs, folders):
                inputs, folders = new
                continue
            _make(planned, why=False, replace=replace, tidy=tidy)
        except RungwiseError as error:
            for problem in error.problems:
                typer.echo(one_line(str(problem)), err=True)
        typer.echo(f"Watching {counted(len(inputs), 'source')}; Ctrl-C ends it.", err=True)
        last = before
        # What is being saved is left in peace until it looks the same twice.
        while last == before or seen(inputs, folders) != last:
            last = seen(inputs, folders)
            time.sleep(_LOOKED_AGAIN_S)


def _say(console: Console, words: str) -> None:
    console.print(words, soft_wrap=True, markup=False, highlight=False)


def _print_reasons(due: Sequence[Due]) -> None:
    console = output_console()
    for one in due[:_MOST_REASONS]:
        _say(console, f"{one.file.path}: {one.reason.english}")
    if (more := len(due) - _MOST_REASONS) > 0:
        _say(console, f"... and {more} more.")


def _print_forecast(plan: PackPlan, *, replace: bool, why: bool) -> None:
    from rich.console import Console

    from renderer.delivery.packing.foretelling import foretold
    from renderer.delivery.packing.making import due_of

    due = due_of(plan, replace=replace)
    if why:
        _print_reasons(due)
    with Console(stderr=True).status("Working out sizes"):
        would = foretold(plan, due)
    console = output_console()
    _print_table(console, plan, would.sizes, heading="About")
    for path in would.too_large:
        size = would.sizes[path] / 1e6
        _say(console, f"Note: {path} would have about {size:.1f} MB, more than max-size allows.")
    if not due and not would.parcels:
        _say(console, f"Nothing was written. {_nothing_to_do(len(plan.files))}")
        return
    numbered = f"{counted(would.numbered, 'track')} to number anew, " if would.numbered else ""
    sent = f"{counted(would.parcels, 'file')} to send, about {would.parcel_bytes / 1e6:.1f} MB; "
    _say(
        console,
        f"Nothing was written. It would be {counted(would.due, 'file')} of {would.files}: "
        f"{counted(would.tracks, 'track')} to render, {spoken_length(would.seconds)} of playing, "
        f"{numbered}"
        f"about {would.bytes / 1e6:.1f} MB; {sent if would.parcels else ''}{would.work}, "
        f"in {plan.root}",
    )


def _nothing_to_do(count: int) -> str:
    return f"Nothing to do: all {count} files are there."


def _print_made(console: Console, made: MadePack) -> None:
    from renderer.order.sizes import spoken_bytes

    for remark in made.remarks:
        _say(console, f"Note: {remark}")
    _print_table(console, made.plan, made.sizes)
    for path in made.parcels:
        _say(console, f"To send: {path} ({spoken_bytes(made.sizes[path])})")
    done, linked = len(made.made) - len(made.linked), len(made.linked)
    if made.made:
        alike = f", {linked} equal to others were linked" if linked else ""
        kept = f", {len(made.kept)} were there" if made.kept else ""
        _say(console, f"{counted(done, 'file')} made{alike}{kept}, in {made.plan.root}")
    else:
        _say(console, _nothing_to_do(len(made.kept)))


def _say_left_over(console: Console, made: MadePack, *, tidy: bool) -> None:
    what = "Left over: the pack made them before and makes them no longer"
    for heading, paths in (
        ("Removed:" if tidy else f"{what} (--tidy removes them):", made.left_over),
        (f"{what}; they stay, since somebody has changed them:", made.changed),
    ):
        for text in (heading, *(f"  {path}" for path in paths)) if paths else ():
            _say(console, text)


def _print_table(
    console: Console, plan: PackPlan, sizes: Mapping[str, int], *, heading: str = "Size"
) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("Folder", overflow="fold")
    table.add_column("Pitch", overflow="fold")
    counted = {"Tracks": "a track", "Sheets": "a sheet", "Plans": "a plan"}
    if any(one.what == "a practice page" for one in plan.files):
        counted["Pages"] = "a practice page"
    for title in (*counted, "Plays", heading):
        table.add_column(title, justify="right", no_wrap=True)
    for share in plan.pack.shares:
        files = plan.of(share.name)
        kinds = [one.what for one in files]
        seconds = sum(float(one.duration) for one in files)
        size = sum(sizes[one.path] for one in files) / 1e6
        table.add_row(
            Text(share.name),
            Text(" and ".join(share.pitches)),
            *(str(kinds.count(kind)) for kind in counted.values()),
            spoken_length(seconds),
            f"{size:.1f} MB",
        )
    console.print(table)


def _write_new(file: Path | None, *, replace: bool) -> None:
    from renderer.commands.options import write_output
    from renderer.order.new_pack import new_pack

    path = file or Path("class.toml")
    if path.exists() and not replace:
        raise failure(
            "this file is there already", "name another, or add --replace", file=str(path)
        )
    write_output(path, new_pack("My class", path.name), "a new pack", [], replace=replace)
    _say(output_console(), f"{path}: fill it in, then: rungwise pack {path} -o FOLDER")
