"""Writes the project's SoundFont, and on request the plots of what is in it."""

import argparse
from pathlib import Path

from renderer.sound.synthesis.soundfont import build_soundfont


def main() -> None:
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

    arguments.output.mkdir(parents=True, exist_ok=True)
    path = arguments.output / "rungwise.sf2"
    unfinished = path.with_suffix(".part")
    unfinished.write_bytes(build_soundfont())
    unfinished.replace(path)
    print(f"{path}: {path.stat().st_size} bytes")

    if arguments.plots:
        from renderer.sound.synthesis.plots import draw_plots  # slow to import

        for picture in draw_plots(path, arguments.output):
            print(f"{picture}: {picture.stat().st_size} bytes")


if __name__ == "__main__":
    main()
