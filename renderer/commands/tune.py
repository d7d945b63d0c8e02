"""`rungwise tune`: the pitches of chanters, heard from recordings or while somebody plays."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from renderer.commands.console import at_work, output_console, print_table, spoken_length
from renderer.commands.options import Replace
from renderer.errors import Problem, RungwiseError, WrongValueError, failure

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from renderer.delivery.claims import Claim
    from renderer.listening.hearing import HeardChanter
    from renderer.listening.several import Compared


def tune(
    recordings: Annotated[
        list[Path] | None,
        typer.Argument(help="Recordings, as phones make them.", show_default=False),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", help="The chanter file to write: .toml.", metavar="FILE"),
    ] = None,
    name: Annotated[
        str, typer.Option("--name", help="What to call the chanter; the file's name if left out.")
    ] = "",
    at: Annotated[str, typer.Option("--at", help="Where it was measured.", metavar="PLACE")] = "",
    scale: Annotated[
        str, typer.Option("--scale", help="The scale to compare with; the nearest if left out.")
    ] = "",
    picture: Annotated[
        Path | None,
        typer.Option("--picture", help="A picture to write: .png or .svg.", metavar="FILE"),
    ] = None,
    live: Annotated[
        bool, typer.Option("--live", help="Listen to the microphone and show what is played.")
    ] = False,
    device: Annotated[
        str, typer.Option("--device", help="With --live: the microphone, by number or name.")
    ] = "",
    replace: Replace = False,
) -> None:
    """Measure chanters: the nine pitches and the drones, from recordings.

    Reads recordings (m4a, mp3, wav, 3gp, ogg, opus, mp4); writes a chanter file to -o, for --pitch,
    and a picture. Several recordings, each of one chanter, are laid beside each other, and -o is
    the tuning in their middle. Play up and down the scale, each note for two seconds or so.

    Example: rungwise tune scale.m4a -o chanter.toml
    """
    if live:
        if recordings or output or picture:
            raise failure("--live writes nothing and reads no file", "leave the files out")
        from renderer.commands.tune_live import show_live

        show_live(device)
        return
    if not recordings:
        raise failure("which recording is meant is not said", "name one, or give --live")
    from renderer.listening.measured import measured_text, middle_text

    claims = _claims(recordings, output, picture, replace=replace)
    heard = _heard(recordings)
    chosen = _scale_named(scale)
    if len(heard) == 1:
        ((file, one),) = heard.items()
        called = name or Path(file).stem
        _print_one(one, called, chosen)
        text = measured_text(one, called, on=_measured_on(recordings[0]), at=at)
        drawn = _picture_of(picture, one, called, chosen)
    else:
        from renderer.listening.several import compare

        try:
            compared = compare(heard)
        except WrongValueError as error:
            raise error.at("") from None
        _print_several(compared, heard)
        on = max(_measured_on(recording) for recording in recordings)
        stems = {file: Path(file).stem for file in heard}
        text = middle_text(compared, heard, stems, name, on=on, at=at)
        drawn = _picture_of_several(picture, compared)
    _write(claims, {output: text.encode(), picture: drawn})


def _scale_named(name: str) -> str:
    if not name:
        return ""
    from renderer.sound.tuning import scale_named

    try:
        return scale_named(name).name
    except RungwiseError as error:
        (problem,) = error.problems
        raise failure(problem.cause, problem.remedy, place="--scale") from None


def _claims(
    recordings: Sequence[Path], output: Path | None, picture: Path | None, *, replace: bool
) -> dict[Path, Claim]:
    from renderer.delivery.charts import check_suffix
    from renderer.delivery.claims import check_claims, claim

    if output is not None and output.suffix.lower() != ".toml":
        raise failure(
            f"a chanter file does not end in {output.suffix!r}",
            "name it as chanter.toml",
            file=str(output),
        )
    if picture is not None:
        check_suffix(picture)
    found = {}
    for path, what in ((output, "a chanter file"), (picture, "a picture of a tuning")):
        if path is not None:
            named = [str(recording) for recording in recordings]
            found[path] = claim(what, named, path.parent, replace=replace)
    check_claims(found.items())
    return found


def _write(claims: Mapping[Path, Claim], contents: Mapping[Path | None, bytes]) -> None:
    from renderer.delivery.claims import write_kept

    console = output_console()
    for path, claim in claims.items():
        write_kept(path, contents[path], claim)
        console.print(str(path), markup=False, highlight=False, soft_wrap=True)


def _heard(recordings: Sequence[Path]) -> dict[str, HeardChanter]:
    """Listen to all recordings; say of all what is wrong in one go."""
    from renderer.listening.hearing import listen
    from renderer.listening.recording import open_recording

    found: dict[str, HeardChanter] = {}
    problems: list[Problem] = []
    with at_work("Listening") as status:
        for path in recordings:
            if str(path) in found:
                continue

            def heard(seconds: float, file: str = path.name) -> None:
                status.update(f"Listening to {file}: {spoken_length(seconds)}")

            try:
                recording = open_recording(path)
                hearing = listen(recording, recording.rate, heard=heard)
                found[str(path)] = hearing.chanter(full_scale_share=recording.full_scale_share)
            except WrongValueError as error:
                problems.append(Problem(error.cause, error.remedy, file=str(path)))
            except RungwiseError as error:
                problems += error.problems
    if problems:
        raise RungwiseError(problems)
    return found


def _signed(cents: float) -> str:
    """Cents with their sign; what rounds to none is never minus none."""
    return f"{round(cents, 1) + 0.0:+.1f}"


def _print_one(heard: HeardChanter, name: str, scale: str) -> None:
    from renderer.listening.drones import beats_of
    from renderer.listening.several import drone_advice
    from renderer.sound.tuning import scales

    console = output_console()
    which = "practice chanter, an octave higher than it sounds" if heard.is_practice else "pipe"
    octave = f" ({which})" if heard.is_practice else ""
    off = {one.name: heard.off_cents(one) for one in scales().values()}
    rows = [
        (
            one.note.label,
            f"{one.hz:.2f}",
            _signed(one.cents),
            *(_signed(off[named][one.note]) for named in off),
            f"{one.spread_cents:.1f}" if one.is_heard else "",
            f"{one.seconds:.1f}" if one.is_heard else "",
            one.confidence,
        )
        for one in reversed(heard.notes)
    ]
    title = f"{name}: low A at {heard.low_a_hz:.2f} Hz{octave}"
    headings = ("Note", "Hz", "From low A", *off, "Spread", "Seconds", "Sure?")
    print_table(headings, rows, title)
    near = ", ".join(f"{named} {cents:.1f}" for named, cents in heard.off_scale_cents.items())
    compared = scale or heard.scale.name
    console.print(
        f"All but hertz and seconds are cents. Nearest is the {heard.scale.name} scale (cents off "
        f"on the whole: {near})."
        + ("" if compared == heard.scale.name else f" Compared with the {compared} scale.")
    )
    if heard.drones is not None:
        beats = [
            (beat.first, beat.second, f"{beat.rate_hz:.2f}")
            for beat in beats_of(heard.drones, heard.low_a_hz)
        ]
        print_table(("Drone", "Against", "Beats a second"), beats)
        for sentence in drone_advice(heard.drones, heard.low_a_hz):
            console.print(sentence)
    for remark in heard.remarks:
        console.print(remark)


def _measured_on(recording: Path) -> datetime.date:
    return datetime.date.fromtimestamp(recording.stat().st_mtime)


def _print_several(compared: Compared, heard: Mapping[str, HeardChanter]) -> None:
    from renderer.notation.pitch import Note

    console = output_console()
    names = {file: Path(file).stem for file in heard}
    rows = [
        (
            note.label,
            f"{compared.middle_hz[note]:.2f}" if note in compared.middle_hz else "",
            *(_signed(off[note]) if note in off else "-" for off in compared.off_cents.values()),
        )
        for note in reversed(Note)
    ]
    headings = ("Note", "Median Hz", *names.values())
    print_table(headings, rows, "Cents off the median")
    if compared.mendings:
        mending = [
            (
                names[one.chanter],
                "all" if one.note is None else one.note.label,
                _signed(one.cents),
                one.remedy,
            )
            for one in compared.mendings
        ]
        print_table(("Chanter", "Note", "Cents", "What helps (common practice)"), mending)
    else:
        console.print("No note is off so far that mending it would be heard.")
    console.print(
        f"Tracks for all should follow the median, which -o writes; {names[compared.nearest]} is "
        "the chanter nearest to it."
    )
    for file, one in heard.items():
        for remark in one.remarks:
            console.print(f"{names[file]}: {remark}", markup=False)


def _picture_of(path: Path | None, heard: HeardChanter, name: str, scale: str) -> bytes:
    if path is None:
        return b""
    from renderer.delivery.tuning_pictures import tuning_picture
    from renderer.sound.tuning import scale_named

    against = scale_named(scale) if scale else heard.scale
    return tuning_picture(heard, name, against, path.suffix.lower())


def _picture_of_several(path: Path | None, compared: Compared) -> bytes:
    if path is None:
        return b""
    from renderer.delivery.tuning_pictures import comparison_picture

    return comparison_picture(compared, path.suffix.lower())
