"""Tunes at the tempo that pipers play them: how many play, what is shortened, why others do not.

    python -m tests.benchmarks.bench_tunes [--forms] FOLDER ...

Reads every ABC file of some folders. A tune's kind is its `R:` field; the upper of its usual tempos
is asked for (beats a minute; march in 2/4 60 to 70, in 6/8 70 to 88, strathspey 110 to 124, reel 70
to 84, jig 100 to 120: common practice; other marches, hornpipes, airs and piobaireachd: judgement).
Prints for each kind how many tunes play at that tempo and in how many of them something is
shortened, then what the others lack and the fastest tempos that they are offered. With `--forms`
each tune is also written and read back, and what has changed is printed.
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

from renderer import expand
from renderer.errors import RungwiseError
from renderer.notation.abc.reader import scores_of_file
from renderer.notation.abc.writer import write_abc
from renderer.notation.compare import differences
from renderer.notation.definition.writer import write_definition
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.score import Exercise, Meter
from renderer.notation.to_exercise import exercise_of
from renderer.notation.written import Reading
from renderer.reading.exercise import read_exercise, with_movements

MOST_SHOWN = 12
FORMS: dict[str, Callable[[Exercise], bytes]] = {
    ".abc": write_abc,
    ".musicxml": write_musicxml,
    ".toml": write_definition,
}


USUAL: dict[str, tuple[int, int]] = {
    "march in 2/4": (60, 70),
    "march in compound time": (70, 88),
    "march": (70, 84),
    "strathspey": (110, 124),
    "reel": (70, 84),
    "hornpipe": (70, 84),
    "jig": (100, 120),
    "slow air": (45, 60),
    "piobaireachd": (40, 54),
}
"""Beats a minute; of reels and hornpipes minims, in 2/4 crotchets."""


def usual_tempos(tune: Exercise, kind: str) -> tuple[str, Fraction, Fraction] | None:
    """The kind of a tune, the lower and the upper of its usual tempos; None where it has none."""
    meter = tune.lines[0].bars[0].meter
    if kind == "march" and (meter.is_compound or meter == Meter(2, 4)):
        kind = f"march in {'compound time' if meter.is_compound else meter}"
    if kind not in USUAL:
        return None
    counts_minims = kind in ("reel", "hornpipe") and meter.unit == 4 and meter != Meter(2, 4)
    lower, upper = (Fraction(tempo * (2 if counts_minims else 1)) for tempo in USUAL[kind])
    return kind, lower, upper


def tunes(folder: Path) -> Iterator[tuple[Exercise, str]]:
    """Every tune of a folder that can be read, with its movements, and its kind."""
    for path in sorted(folder.rglob("*.abc")):
        texts = re.split(r"^X:", path.read_text("utf-8", "replace"), flags=re.MULTILINE)[1:]
        for score, text in zip(scores_of_file(path), texts, strict=False):
            kind = re.search(r"^R:\s*(.*?)\s*$", text, re.MULTILINE)
            if kind is not None and not isinstance(score, RungwiseError):
                try:
                    yield with_movements(exercise_of(score, Reading())), kind[1].casefold()
                except RungwiseError:
                    continue


def _kinds_of_refusal(error: RungwiseError) -> Iterator[str]:
    for problem in error.problems:
        cause = re.sub(
            r"[\d./]+ ms too short at [\d.]+ beats a minute", "... too short", problem.cause
        )
        yield re.sub(r" \(.*\)$", "", cause)


def changed_by_forms(tune: Exercise) -> Iterator[str]:
    """What is not the same in a tune that is written in some form and read back."""
    with tempfile.TemporaryDirectory() as folder:
        for form, write in FORMS.items():
            path = Path(folder, f"tune{form}")
            path.write_bytes(write(tune))
            yield from (f"{form}: {said}" for said in differences(tune, read_exercise(path)))


def main() -> None:
    """Print what becomes of every tune of the folders."""
    asks_for_forms = "--forms" in sys.argv
    read = 0
    changed: list[str] = []
    asked, play, shortened, slower = (Counter[str]() for _ in range(4))
    causes: Counter[str] = Counter()
    offered: defaultdict[str, list[str]] = defaultdict(list)
    seconds = 0.0
    for folder in [Path(one) for one in sys.argv[1:] if one != "--forms"]:
        for tune, kind_named in tunes(folder):
            read += 1
            if asks_for_forms:
                changed += [f"{tune.title}: {said}" for said in changed_by_forms(tune)]
            usual = usual_tempos(tune, kind_named)
            if usual is None:
                continue
            kind, lower, upper = usual
            asked[kind] += 1
            begun = time.process_time()
            try:
                timeline = expand(tune, upper)
            except RungwiseError as error:
                causes.update(_kinds_of_refusal(error))
                limits = re.findall(r"fits up to ([\d.]+)", str(error))
                slowest = min(map(float, limits), default=0)
                slower[kind] += slowest >= lower
                offered[kind].append(f"{slowest:.0f} {tune.title}")
            else:
                play[kind] += 1
                shortened[kind] += any("shortened" in remark for remark in timeline.remarks)
            seconds += time.process_time() - begun
    for kind in sorted(asked):
        print(f"{kind}: {asked[kind]} tunes; at the upper usual tempo {play[kind]} play, "
              f"{shortened[kind]} shortened; {slower[kind]} more at a lower one")  # fmt: skip
        for one in offered[kind][:MOST_SHOWN]:
            print(f"    fits up to {one}")
    print(f"in all: {asked.total()} tunes; at the upper {play.total()} play, {shortened.total()} "
          f"shortened; {slower.total()} more at a lower one; "
          f"{1000 * seconds / max(1, asked.total()):.0f} ms a tune")  # fmt: skip
    if asks_for_forms:
        print(f"{read} tunes written and read back, {len(changed)} changes")
        for one in changed[:MOST_SHOWN]:
            print(f"    {one}")
    for cause, count in causes.most_common(MOST_SHOWN):
        print(f"  {count:5} {cause}")


if __name__ == "__main__":
    main()
