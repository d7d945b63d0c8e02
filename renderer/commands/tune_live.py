"""What is played into the microphone, shown while it sounds."""

from __future__ import annotations

import queue
import sys
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from renderer.errors import failure

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from renderer.listening.live import Reading

_RATE = 24_000
_BLOCK_S = 0.01
_SHOWN_EVERY = 5
"""Readings come every 10 ms; twenty a second can be read."""
_SCALE_CENTS = 30


def line_of(reading: Reading) -> str:
    """Return a reading as a line: note, hertz, cents, and a needle from flat to sharp."""
    if reading.note is None:
        return f"{'-':>7}"
    place = round(max(-1.0, min(1.0, reading.cents / _SCALE_CENTS)) * 15)
    needle = "".join("|" if at == place else "+" if at == 0 else "." for at in range(-15, 16))
    return f"{reading.note.label:>7} {reading.hz:8.2f} Hz {reading.cents:+6.1f} cents  {needle}"


def shown(readings: Iterable[Reading]) -> Iterator[str]:
    """Yield the lines to show: one in five readings, and each change of note at once."""
    last: object = None
    for number, reading in enumerate(readings):
        if number % _SHOWN_EVERY == 0 or reading.note != last:
            last = reading.note
            yield line_of(reading)


def readings_of(blocks: Iterable[NDArray[np.float32]], rate: int) -> Iterator[Reading]:
    """Yield the readings of blocks as they come."""
    from renderer.listening.live import LiveListener

    listener = LiveListener(rate)
    for block in blocks:
        yield from listener.take(block)


def _blocks(waiting: queue.SimpleQueue[Any]) -> Iterator[NDArray[np.float32]]:
    """Yield what comes until there is no more of it."""
    # Not `iter(get, None)`, which compares: an array is neither equal to None nor not.
    while (block := waiting.get()) is not None:
        yield block


def show_live(device: str) -> None:
    """Show what is played until the user has had enough (Ctrl-C).

    Raises a `RungwiseError` where there is no microphone or no library to hear it with, and when
    the microphone ends.
    """
    try:
        import sounddevice
    except (ImportError, OSError) as error:
        raise failure(
            "listening to a microphone needs the library sounddevice, and there is none",
            "install it with pip install 'rungwise[live]' (on Debian also: apt install "
            "libportaudio2), or record with a phone and name the file",
        ) from error
    waiting: queue.SimpleQueue[Any] = queue.SimpleQueue()

    def heard(samples: Any, _frames: int, _time: Any, _status: Any) -> None:
        waiting.put(samples[:, 0].copy())

    def ended() -> None:
        waiting.put(None)

    chosen = (int(device) if device.isdecimal() else device) or None
    try:
        stream = sounddevice.InputStream(
            samplerate=_RATE,
            blocksize=round(_BLOCK_S * _RATE),
            device=chosen,
            channels=1,
            dtype="float32",
            latency="low",
            callback=heard,
            finished_callback=ended,
        )
    except (sounddevice.PortAudioError, ValueError) as error:
        raise failure(
            f"the microphone cannot be opened: {error}",
            "check that one is there, or choose another with --device",
        ) from error
    with stream:
        for line in shown(readings_of(_blocks(waiting), _RATE)):
            sys.stdout.write(f"\r\x1b[K{line}")
            sys.stdout.flush()
    sys.stdout.write("\n")
    raise failure(
        "the microphone gives no more sound: it was unplugged or taken by another program",
        "plug it in and begin again",
    )
