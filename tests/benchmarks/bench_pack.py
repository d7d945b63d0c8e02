"""A pack of 240 tracks beside what its encoder needs alone, and what it costs to make it again.

Run it with `python -m tests.benchmarks.bench_pack [REPEATS]`; each exercise is played so often
(4 if left out, some 36 s a track). Every ratio is taken in one run: the pack, with its planning,
tags, chapters and covers, and then ffmpeg alone on the same tracks as WAV files, as many at a time,
with the same encoder and none of these.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from threading import Event, Thread

from renderer.delivery.chapters import chapters_of
from renderer.delivery.cover import cover_of
from renderer.delivery.id3 import id3_tag
from renderer.delivery.lame import SPEED
from renderer.delivery.render import cores, render_track, tags_of
from renderer.order.jobs import plan_tracks
from renderer.order.settings import read_settings
from renderer.programs import ffmpegs
from renderer.reading.exercise import read_exercise

EXERCISES, MANY_EXERCISES = 12, 20
NOTES = ("low G", "low A", "B", "C", "D", "E", "F", "high G", "high A")
PACK = """title = "Benchmark"
exercises = ["tunes"]
ladder = [50, 60, 70, 80, 90]
mix = ["full", "backing"]
gets = "tracks"
{more}
learners = [{{ name = "Jamie", pitch = "A" }}, {{ name = "Ailsa", pitch = "B flat" }}]
"""
MANY = """title = "Many"
exercises = ["many"]
ladder = "100:198:2"
mix = ["full", "backing"]
gets = "tracks"
format = "wav"
rate = 8000
layout = "mono"
count-in = 0
pitch = "A"
learners = [{learners}]
"""


def tune(number: int, note: str, second: str = "") -> str:
    """An exercise of two lines with doublings; both have a note, or the second another one."""
    return (
        f'title = "Exercise {number}"\nmeter = "4/4"\n'
        f'[[lines]]\nrun = "low A, {note}, C, B"\nornament = "doubling"\n'
        f'[[lines]]\nrun = "B, D, {second or note}, low A"\nornament = "doubling"\n'
    )


def spent(work: Callable[[], object]) -> tuple[float, float]:
    """Return the seconds that work takes, on the wall and of the processors, children included.

    Other threads, which only watch, are not counted.
    """

    def processor() -> float:
        children = resource.getrusage(resource.RUSAGE_CHILDREN)
        return time.thread_time() + children.ru_utime + children.ru_stime

    before, start = processor(), time.perf_counter()
    work()
    return time.perf_counter() - start, processor() - before


def pack(file: str, output: str) -> None:
    """Make a pack by the command."""
    command = [sys.executable, "-m", "renderer", "pack", file, "-o", output]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def memory_of_tree(root: int) -> int:
    """Return the bytes of memory of a process and its children; what they share counts for each."""
    children: dict[int, list[int]] = {}
    held: dict[int, int] = {}
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            fields = (entry / "stat").read_text().rpartition(")")[2].split()
            held[int(entry.name)] = int(fields[21]) * os.sysconf("SC_PAGE_SIZE")
            children.setdefault(int(fields[1]), []).append(int(entry.name))
        except (OSError, IndexError, ValueError):
            continue
    waiting, total = [root], 0
    while waiting:
        one = waiting.pop()
        total += held.get(one, 0)
        waiting += children.get(one, [])
    return total


def peak_of(file: str, output: str) -> tuple[float, int]:
    """Make a pack by the command; return seconds on the wall and its tree's peak of memory."""
    command = [sys.executable, "-m", "renderer", "pack", file, "-o", output]
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    peak, ended = 0, Event()

    def look() -> None:
        nonlocal peak
        while not ended.wait(0.5):
            peak = max(peak, memory_of_tree(process.pid))

    looking = Thread(target=look)
    looking.start()
    code = process.wait()
    taken = time.perf_counter() - start
    ended.set()
    looking.join()
    assert not code
    return taken, peak


def encode_alone(files: list[Path], folder: Path) -> None:
    """Let ffmpeg alone make MP3s of WAV files, over the same cores."""
    program = ffmpegs()[0]
    folder.mkdir()

    def encode(path: Path) -> None:
        command = [program, "-hide_banner", "-loglevel", "error", "-i", str(path)]
        command += ["-c:a", "libmp3lame", "-b:a", "192k", "-compression_level", str(SPEED)]
        # Names of two learners are alike but for their pitch, which they say.
        subprocess.run([*command, str(folder / f"{path.stem}.mp3")], check=True)

    with ThreadPoolExecutor(cores()) as pool:
        list(pool.map(encode, files))


def whole(repeats: int) -> None:
    """The 240 tracks, beside the encoder alone."""
    for number in range(EXERCISES):
        path = Path(f"tunes/{number + 1}.toml")
        path.parent.mkdir(exist_ok=True)
        path.write_text(tune(number + 1, NOTES[number % len(NOTES)]), "utf-8")
    Path("mp3.toml").write_text(PACK.format(more=f"repeats = {repeats}"), "utf-8")
    Path("wav.toml").write_text(PACK.format(more=f'repeats = {repeats}\nformat = "wav"'), "utf-8")
    pack("wav.toml", "wav")  # which fills the cache of tone banks, too
    files = sorted(Path("wav").rglob("*.wav"))
    minutes = sum(path.stat().st_size for path in files) / 4 / 44_100 / 60
    made: list[tuple[float, int]] = []
    _, ours = spent(lambda: made.append(peak_of("mp3.toml", "mp3")))
    wall, peak = made[0]
    alone_wall, alone = spent(lambda: encode_alone(files, Path("alone")))
    print(f"{len(files)} tracks, {minutes:.0f} minutes of playing, {cores()} cores")
    print(f"wall time: pack {wall:.1f} s, ffmpeg alone {alone_wall:.1f} s: {wall / alone_wall:.2f}")
    print(f"processor time: {ours:.1f} s and {alone:.1f} s: {ours / alone:.2f}")
    print(f"peak memory of the process tree: {peak / 1e6:.0f} MB")


def changed(repeats: int) -> None:
    """A track for each line: one note changed, and one rung more, beside the whole."""
    written = PACK.format(more=f"each-line = true\nrepeats = {repeats}")
    Path("each.toml").write_text(written, "utf-8")
    first, whole = spent(lambda: pack("each.toml", "each"))
    print(f"each line its track: {len(list(Path('each').rglob('*.mp3')))} in {first:.1f} s")

    def after(what: str) -> None:
        before = {path: path.stat().st_mtime_ns for path in Path("each").rglob("*.mp3")}
        again, processor = spent(lambda: pack("each.toml", "each"))
        there = {path: path.stat().st_mtime_ns for path in Path("each").rglob("*.mp3")}
        anew = sum(1 for path, at in there.items() if before.get(path) != at)
        print(f"after {what}: {anew} written in {again:.1f} s, {again / first:.2f} of the whole;")
        print(f"of the processor {processor:.1f} s, {processor / whole:.2f} of the whole")

    Path("tunes/3.toml").write_text(tune(3, NOTES[2], "E"), "utf-8")
    after("one changed note")
    Path("each.toml").write_text(written.replace("80, 90]", "80, 90, 100]"), "utf-8")
    after("one rung more")


def nothing_to_do() -> None:
    """Ten thousand files of which none is to be made."""
    learners = ", ".join(f'{{ name = "Learner {number}" }}' for number in range(1, 6))
    Path("many").mkdir()
    for number in range(MANY_EXERCISES):
        path = Path(f"many/{number + 1}.toml")
        path.write_text(f'title = "T {number + 1}"\n[[lines]]\nrun = "B"\n', "utf-8")
    Path("many.toml").write_text(MANY.format(learners=learners), "utf-8")
    pack("many.toml", "all")
    count = sum(1 for _ in Path("all").rglob("*.wav"))
    wall, processor = min(spent(lambda: pack("many.toml", "all")) for _ in range(3))
    print(f"nothing to do for {count} tracks: {wall:.2f} s, {processor:.2f} s of the processor")


def short_track(audio_format: str) -> None:
    """A track of a few seconds, from the command's start to its file."""
    Path("short.toml").write_text(f'title = "S"\n[[lines]]\nrun = "{NOTES[1]}, B"\n', "utf-8")
    command = [sys.executable, "-m", "renderer", "render", "short.toml", "-o", "short"]
    command += ["--format", audio_format]

    def render() -> None:
        shutil.rmtree("short", ignore_errors=True)
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)

    render()
    took = [spent(render) for _ in range(10)]
    wall, processor = (min(one[at] for one in took) for at in (0, 1))
    bare = [sys.executable, "-c", "pass"]
    python = min(spent(lambda: subprocess.run(bare, check=True))[1] for _ in range(10))
    print(
        f"a short {audio_format}: there {wall:.2f} s after the command starts, {processor:.2f} s of"
    )
    print(f"the processor, {processor / python:.0f} times bare Python's start (least of 10)")


def tags_and_covers(repeats: int) -> None:
    """What chapters, tags and cover cost of a track."""
    exercise = read_exercise("tunes/1.toml")
    settings = read_settings({"tempo": 70, "repeats": repeats})
    (job,) = plan_tracks(settings.chosen(exercise), Path("tagged"), settings)
    timeline = job.timeline()
    cover_of(job)
    rounds = 20

    def cover() -> None:
        for _ in range(rounds):
            cover_of(job)

    def tag() -> None:
        for _ in range(rounds):
            id3_tag(replace(tags_of(job), chapters=chapters_of(timeline, job.duration)))

    Path("tagged").mkdir()
    _, whole_track = spent(lambda: render_track(job, lambda: False, lambda frames: None))
    _, of_cover = spent(cover)
    _, of_tags = spent(tag)
    print(f"of a track of {float(job.duration):.0f} s, its cover takes", end=" ")
    print(
        f"{of_cover / rounds / whole_track:.1%} of the processor's time, tags and chapters", end=" "
    )
    print(f"{of_tags / rounds / whole_track:.1%}")


def main() -> None:
    """Print the figures."""
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_CACHE_HOME"] = f"{folder}/caches"
        os.environ["PYTHONPATH"] = str(Path(__file__).parents[2])
        os.chdir(folder)
        whole(repeats)
        changed(repeats)
        tags_and_covers(repeats)
        short_track("wav")
        short_track("mp3")
        nothing_to_do()


if __name__ == "__main__":
    main()
