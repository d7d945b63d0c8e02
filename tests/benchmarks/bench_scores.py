"""Every tune of music21's corpus: which lie on the nine notes, and what becomes of them.

Prints counts, times a file, and the ratio to music21's own parser, measured in this run. With
`--sound` each tune that is read is also played at its tempo and mixed (not written). The corpus is
test data only.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import music21

from renderer.delivery.convert import convert
from renderer.delivery.midi_writer import midi_sound, write_midi
from renderer.errors import RungwiseError
from renderer.notation.abc.reader import scores_of_file
from renderer.notation.compare import music_of
from renderer.notation.musicxml.reader import read_musicxml
from renderer.notation.score import Exercise
from renderer.notation.to_exercise import exercise_of
from renderer.notation.written import Reading
from renderer.order.settings import usual_settings
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise, with_movements
from renderer.sound.instrument import make_instrument
from renderer.sound.mix import mix_track
from renderer.sound.tuning import Chanter, parse_pitch, scale_named
from tests.sound.playing import mixing

CORPUS = Path(music21.__file__).parent / "corpus"
RATIO_FILES = 20
FORMS = (".musicxml", ".abc", ".toml", ".mid")


def _readings(path: Path, reading: Reading) -> Iterator[Exercise | RungwiseError]:
    """Each tune of a file, or the report of why it cannot be read."""
    if path.suffix == ".abc":
        for score in scores_of_file(path):
            if isinstance(score, RungwiseError):
                yield score
                continue
            try:
                yield with_movements(exercise_of(score, reading))
            except RungwiseError as error:
                yield error
        return
    try:
        yield with_movements(read_musicxml(path, reading))
    except RungwiseError as error:
        yield error


def _kind(error: RungwiseError) -> str:
    causes = " ".join(problem.cause for problem in error.problems)
    if "not on the chanter" in causes:
        return "refused: notes off the chanter"
    if "at once" in causes or "one note at a time" in causes or "before the one before" in causes:
        return "refused: several notes at once"
    return "refused: not readable as it stands"


def _music(exercise: Exercise) -> list[object]:
    return [music_of(bar) for line in exercise.lines for bar in line.bars]


def _is_kept(exercise: Exercise, path: Path) -> bool:
    """Whether the tune's music is the same after it was written in that form."""
    convert(exercise, path, usual_settings("convert"))
    return _music(read_exercise(path)) == _music(exercise)


def _kept_in_every_form(read: list[Exercise]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for form in FORMS:
            kept, errors = 0, Counter[str]()
            for number, exercise in enumerate(read):
                try:
                    kept += _is_kept(exercise, Path(folder) / f"tune {number}{form}")
                except RungwiseError as error:
                    errors[error.problems[0].cause[:80]] += 1
            print(f"the same after {form}: {kept} of {len(read)}")
            for cause, count in errors.most_common():
                print(f"  {count} not: {cause}")


def main() -> None:
    """Read the corpus and print what became of it."""
    sound = "--sound" in sys.argv
    files = sorted(
        p for p in CORPUS.rglob("*") if p.suffix in (".abc", ".xml", ".mxl", ".musicxml")
    )
    counts: Counter[str] = Counter()
    read: list[Exercise] = []
    slowest = (0.0, "")
    started = time.perf_counter()
    for path in files:
        file_started = time.perf_counter()
        for found in _readings(path, Reading()):
            counts["tunes"] += 1
            if isinstance(found, RungwiseError):
                counts[_kind(found)] += 1
                continue
            read.append(found)
            counts["read"] += 1
            counts["read, C and F as pipers write them"] += any(
                "no key signature" in remark for remark in found.remarks
            )
        slowest = max(slowest, (time.perf_counter() - file_started, path.name))
    took = time.perf_counter() - started
    for name, count in sorted(counts.items()):
        print(f"{name}: {count}")
    print(f"{len(files)} files in {took:.1f} s, {1000 * took / counts['tunes']:.1f} ms a tune; "
          f"slowest {slowest[1]} {slowest[0]:.1f} s")  # fmt: skip

    _kept_in_every_form(read)
    _play(read, sound=sound)
    _ratio([path for path in files if path.suffix == ".mxl"][:RATIO_FILES])


def _play(read: list[Exercise], *, sound: bool) -> None:
    instrument = make_instrument(
        parse_pitch("A"), scale_named(), Chanter.PRACTICE, rate=44_100, steady=False
    )
    midi = midi_sound(usual_settings())
    played, seconds, errors = 0, 0.0, Counter[str]()
    started = time.perf_counter()
    for exercise in read:
        try:
            timeline = expand(exercise)
            write_midi(timeline, midi)
        except RungwiseError as error:
            errors[error.problems[0].cause[:60]] += 1
            continue
        if sound:
            for _ in mix_track(timeline, instrument, mixing()):
                pass
        played += 1
        seconds += float(timeline.duration)
    took = time.perf_counter() - started
    what = "expanded, written as MIDI and mixed" if sound else "expanded and written as MIDI"
    print(f"{what}: {played} of {len(read)}, {seconds / took:.0f} times real time")
    for cause, count in errors.most_common():
        print(f"  {count} not: {cause}")


def _ratio(files: list[Path]) -> None:
    started = time.perf_counter()
    for path in files:
        for _ in _readings(path, Reading()):
            pass
    ours = time.perf_counter() - started
    started = time.perf_counter()
    for path in files:
        music21.converter.parse(path, forceSource=True, storePickle=False)
    theirs = time.perf_counter() - started
    print(f"{len(files)} .mxl files: music21's parser takes {theirs / ours:.0f} times as long")


if __name__ == "__main__":
    main()
