"""A track through this machine's speakers, while it is rendered.

Blocks go to PortAudio as they are made, by the library sounddevice (an extra). Rendering is far
quicker than playing, so that sound begins with the first block and none has to wait.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from renderer.errors import failure


def _library() -> Any:
    try:
        import sounddevice
    except (ImportError, OSError) as error:
        raise failure(
            "playing through the speakers needs the library sounddevice, and there is none",
            "install it with pip install 'rungwise[live]' (on Debian also: apt install "
            "libportaudio2), or render the track to a file",
        ) from error
    return sounddevice


def play_blocks(
    blocks: Iterable[NDArray[np.float32]],
    rate: int,
    channels: int,
    *,
    device: str = "",
    on_begin: Callable[[], None] = lambda: None,
) -> None:
    """Play blocks of samples one after the other, and return when the last has been heard.

    Parameters
    ----------
    blocks:
        float32 of shape (n, channels) each, full scale 1; taken as they are needed.
    rate, channels:
        Frames a second, and how many channels.
    device:
        The speakers, by number or by a part of their name; the usual ones if empty.
    on_begin:
        Called once the speakers are open.

    Raises
    ------
    RungwiseError
        If there is no library, no sound card, or no such speakers.
    """
    sounddevice = _library()
    chosen = (int(device) if device.isdecimal() else device) or None
    try:
        stream = sounddevice.OutputStream(
            samplerate=rate, device=chosen, channels=channels, dtype="float32", latency="high"
        )
        stream.start()
    except (sounddevice.PortAudioError, ValueError) as error:
        reason = " ".join(str(error).split())
        if not any(one["max_output_channels"] for one in sounddevice.query_devices()):
            reason = "this machine has no sound card"
        raise failure(
            f"no sound can be played here: {reason}",
            "check that speakers or headphones are connected, choose others with --device, or "
            "render the track to a file",
        ) from error
    on_begin()
    try:
        for block in blocks:
            stream.write(np.ascontiguousarray(block, np.float32))
        stream.stop()
    finally:
        # Stopped halfway, what waits is not played any more: Ctrl-C is heard at once.
        stream.close(ignore_errors=True)
