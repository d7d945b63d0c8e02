"""Writes the project's SoundFont, and on request the plots of what is in it."""

import argparse
import sys
from pathlib import Path

from renderer.errors import RungwiseError, failure
from renderer.sound.synthesis.soundfont import build_soundfont


def main() -> int:
    """Write `rungwise.sf2` (and plots) into the folder `soundfonts`, or where `-o` says."""
    parser = argparse.ArgumentParser(
        prog="python -m renderer.sound.synthesis",
        description="Compute the SoundFont rungwise.sf2; the same bytes come out each time.",
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        default=Path("soundfonts"),
        metavar="FOLDER",
        help="where to write (default: soundfonts)",
    )
    parser.add_argument("--plots", action="store_true", help="also draw what is in the file")
    arguments = parser.parse_args()
    try:
        _write(arguments.output, plots=arguments.plots)
    except RungwiseError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


def _write(folder: Path, *, plots: bool) -> None:
    path = folder / "rungwise.sf2"
    unfinished = path.with_suffix(".sf2.part")
    built = build_soundfont()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        unfinished.write_bytes(built)
        unfinished.replace(path)
    except OSError as error:
        if unfinished.is_file():
            unfinished.unlink()
        reason = (error.strerror or "unknown reason").lower()
        raise failure(
            f"cannot be written ({reason})", "name a folder that can, with -o", file=str(path)
        ) from None
    print(f"{path}: {len(built)} bytes")
    if plots:
        # Slow to import.
        from renderer.sound.synthesis.playing_plots import draw_playing
        from renderer.sound.synthesis.plots import draw_plots

        for picture in (*draw_plots(path, folder), draw_playing(folder)):
            print(f"{picture}: {picture.stat().st_size} bytes")


if __name__ == "__main__":
    sys.exit(main())
