"""A track through the speakers: what a device gets is what a file would hold.

The device is ALSA's `file` plugin, which keeps what is played; where PortAudio or ALSA is missing
there is no device to test with.
"""

from __future__ import annotations

import importlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray

from renderer.notation.source_file import Source
from renderer.order.order import Order
from tests.delivery.larkmoor import asked
from tests.limits import HANG_S

TUNE = b'title = "Two"\nmeter = "2/4"\n[[lines]]\nrun = "B, C"\n[[lines]]\nrun = "D, E"\n'
ALSA = Path("/usr/share/alsa/alsa.conf")


def library() -> ModuleType | None:
    try:
        return importlib.import_module("sounddevice")
    except (ImportError, OSError):
        return None


has_device = pytest.mark.skipif(
    library() is None or not ALSA.is_file(), reason="PortAudio and ALSA are not installed here"
)


def surroundings(folder: Path, *, device: bool) -> dict[str, str]:
    """A tune in a folder, and where its sound goes."""
    (folder / "two.toml").write_bytes(TUNE)
    own = folder / "asound.conf"
    kept = f'type file slave.pcm "null" file "{folder / "heard.raw"}" format "raw"'
    own.write_text(f"pcm.!default {{ {kept} }}\n" if device else "")
    return {**os.environ, "ALSA_CONFIG_PATH": f"{ALSA}:{own}" if device else str(own)}


def command(*words: str) -> list[str]:
    return [sys.executable, "-m", "renderer.cli", "play", *words]


def run(folder: Path, *words: str, device: bool) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command(*words),
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
        env=surroundings(folder, device=device),
    )


def heard(folder: Path, channels: int) -> NDArray[np.float32]:
    return np.fromfile(folder / "heard.raw", np.float32).reshape(-1, channels)


@has_device
def test_the_speakers_get_the_very_samples_of_the_track(tmp_path: Path) -> None:
    words = ("two.toml", "--line", "2", "--tempo", "120", "--layout", "mono")
    done = run(tmp_path, *words, device=True)
    assert done.returncode == 0, done.stderr
    assert "Two, line 2: 0:02. Ctrl-C stops it." in done.stderr
    order = Order((Source("two.toml", TUNE),), asked(line=2, tempo=120, layout="mono"))
    (job,) = order.jobs(Path())
    wanted = np.concatenate(list(job.track()))
    played = heard(tmp_path, 1)
    assert (played[: len(wanted)] == wanted).all()
    # A device is given whole periods: what is left of the last is silent.
    assert not played[len(wanted) :].any()


@has_device
def test_a_climb_is_played_as_one_track(tmp_path: Path) -> None:
    done = run(tmp_path, "two.toml", "--climb", "200:240:20", "--layout", "mono", device=True)
    assert done.returncode == 0, done.stderr
    order = Order((Source("two.toml", TUNE),), asked(climb="200:240:20", layout="mono"))
    (job,) = order.jobs(Path())
    assert len(heard(tmp_path, 1)) >= job.track().frames


@has_device
def test_a_loop_begins_again_without_a_gap_until_it_is_stopped(tmp_path: Path) -> None:
    words = ("two.toml", "--line", "2", "--tempo", "400", "--layout", "mono", "--loop")
    order = Order((Source("two.toml", TUNE),), asked(line=2, tempo=400, layout="mono"))
    (job,) = order.jobs(Path())
    wanted = np.concatenate(list(job.track()))
    env = surroundings(tmp_path, device=True)
    played = tmp_path / "heard.raw"
    with subprocess.Popen(
        command(*words), cwd=tmp_path, stderr=subprocess.PIPE, text=True, env=env
    ) as process:
        try:
            while process.poll() is None and not (
                played.exists() and played.stat().st_size > 3 * wanted.nbytes
            ):
                time.sleep(0.05)
            process.send_signal(signal.SIGINT)
            _, said = process.communicate(timeout=HANG_S)
        finally:
            process.kill()
    assert process.returncode == 130, said
    assert "Traceback" not in said
    turns = heard(tmp_path, 1)[: 3 * len(wanted)].reshape(3, *wanted.shape)
    assert all((turn == wanted).all() for turn in turns)


@has_device
def test_speakers_that_are_not_there_are_named_in_one_sentence(tmp_path: Path) -> None:
    done = run(tmp_path, "two.toml", "--tempo", "120", "--device", "nobody", device=True)
    assert done.returncode == 2
    assert done.stderr.startswith("no sound can be played here: No output device matching 'nobody'")
    assert "render the track to a file" in done.stderr


def sound_cards() -> int:
    found = library()
    return len(found.query_devices()) if found is not None else 0


@pytest.mark.skipif(library() is None or sound_cards() > 0, reason="there is a sound card here")
def test_without_a_sound_card_one_sentence_says_so(tmp_path: Path) -> None:
    (tmp_path / "two.toml").write_bytes(TUNE)
    done = subprocess.run(
        [sys.executable, "-m", "renderer.cli", "play", "two.toml"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
    )
    assert done.returncode == 2
    assert "no sound can be played here: this machine has no sound card." in done.stderr
    assert "Traceback" not in done.stderr


def test_without_the_library_one_sentence_says_how_to_get_it(tmp_path: Path) -> None:
    (tmp_path / "two.toml").write_bytes(TUNE)
    code = (
        "import sys; sys.modules['sounddevice'] = None; sys.argv[1:] = ['play', 'two.toml']\n"
        "from renderer.cli import main\nmain()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=HANG_S,
        check=False,
    )
    assert done.returncode == 2
    assert "pip install 'rungwise[live]'" in done.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("two.toml", "--each-line"), "give one of them as --line"),
        (("two.toml", "--ladder", "50:80:10"), "give one of them as --tempo"),
        (("two.toml", "--pitch", "A", "--pitch", "B flat"), "give --pitch once"),
    ],
)
def test_one_track_is_played_at_a_time(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    done = run(tmp_path, *words, device=False)
    assert done.returncode == 2
    assert said in done.stderr.casefold().replace("\n", " ")
