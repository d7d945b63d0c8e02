"""The verbs of the command line, each with its module and one sentence, and the help that lists
them.

Nothing is imported here: `rungwise --help` shows this table and starts almost as fast as Python
itself, and each verb's module is loaded when it is called (`renderer.commands.app`).
"""

import os

VERBS = {
    "demo": (
        "pack.demo",
        "Make the pack of the Larkmoor evening class: three learners at two pitches.",
    ),
    "render": (
        "render.render",
        "Render exercises as play-along tracks, one for each tempo, pitch, mix and format.",
    ),
    "play": (
        "play.play",
        "Play a track through the speakers while it is rendered, without a file.",
    ),
    "pack": (
        "pack.pack",
        "Make all that a class gets: a folder for each learner with tracks, sheets, plans, "
        "playlists.",
    ),
    "sheet": (
        "sheet.sheet",
        "Print exercises as a sheet for the music stand, or several as a booklet.",
    ),
    "page": (
        "page.page",
        "Make a practice page: one file for a browser that plays, loops, climbs and shows notes.",
    ),
    "open": (
        "open_workbench.open_folder",
        "Open a folder of exercises in the browser, to write, hear and see them.",
    ),
    "serve": (
        "serve.serve",
        "Hand out a folder of pages and tracks to browsers, on this machine or in the room.",
    ),
    "convert": (
        "convert.convert",
        "Write an exercise in another form: definition, ABC, MusicXML or MIDI.",
    ),
    "check": (
        "technique.check",
        "Say what each line plays, what to watch in it, how hard it is and how fast it fits.",
    ),
    "events": (
        "events.events",
        "Print the timed events of a track: every note, gracenote and rest with its start.",
    ),
    "ornaments": (
        "technique.ornaments",
        "Print the ornament book, or one movement with its slots and finger moves.",
    ),
    "fingering": (
        "technique.fingering",
        "Print what the fingers do in one line, change by change.",
    ),
    "audition": (
        "audition.audition",
        "Write a short tour of every voice: chanters, drones, clicks, rolls and a whole track.",
    ),
    "tune": (
        "tune.tune",
        "Measure chanters: the nine pitches and the drones, from recordings.",
    ),
    "expand": (
        "compose.expand",
        "Print a definition with every pattern written out: what `runs` and the like stand for.",
    ),
    "coverage": (
        "compose.coverage",
        "Show which ways into each movement a book practises, how often, and which it leaves out.",
    ),
    "abridge": (
        "compose.abridge",
        "Choose the few lines of a book that miss as little as possible.",
    ),
    "plan": (
        "plan.plan",
        "Spread an exercise's lines and tempos over days of practice.",
    ),
    "list": (
        "compose.list_exercises",
        "List the exercises that ship with the program.",
    ),
}
"""For each verb its module and function in this package, and the first sentence of its help."""

_WHAT = (
    "Turn the exercise a piping teacher writes into a sheet and play-along tracks: at the pitch of "
    "the learner's chanter, from slow to full tempo, with count-in, drone and metronome, every "
    "gracenote of one length."
)
_OPTIONS = {
    "--version": "Print the version and end.",
    "-h, --help": "Show this and end; behind a command, what it reads, writes and takes.",
}
_NARROWEST, _WIDEST = 40, 100


def _folded(text: str, width: int, indent: int) -> str:
    """Fold a text to lines of a width, all but the first one indented; no word is cut."""
    rows = [""]
    for word in text.split():
        if rows[-1] and indent + len(rows[-1]) + 1 + len(word) > width:
            rows.append("")
        rows[-1] += f" {word}" if rows[-1] else word
    return f"\n{' ' * indent}".join(rows)


def _listed(rows: dict[str, str], width: int) -> str:
    names = max(len(name) for name in (*VERBS, *_OPTIONS))
    indent = names + 4
    return "".join(
        f"  {name:{names}}  {_folded(text, width, indent)}\n" for name, text in rows.items()
    )


def _terminal_width() -> int:
    # As `shutil.get_terminal_size` has it, which takes as long to import as all the rest.
    stated = os.environ.get("COLUMNS", "")[:4]
    if stated.isdecimal() and int(stated):
        return int(stated)
    try:
        return os.get_terminal_size(1).columns
    except OSError:
        return _WIDEST


def help_text(width: int = 0) -> str:
    """Return what `rungwise --help` prints.

    Parameters
    ----------
    width:
        Letters in a line, 40 to 100; as many as the terminal has if left out.
    """
    width = max(_NARROWEST, min(width or _terminal_width(), _WIDEST))
    verbs = {name: sentence for name, (_, sentence) in VERBS.items()}
    return (
        "Usage: rungwise COMMAND ...\n\n"
        f"{_folded(_WHAT, width, 0)}\n\n"
        f"Commands:\n{_listed(verbs, width)}\n"
        f"Options:\n{_listed(_OPTIONS, width)}\n"
        f"{_folded('Example: rungwise render first-gracenotes -o tracks', width, 0)}\n"
        f"{_folded('More about a command: rungwise render --help', width, 0)}\n"
    )
