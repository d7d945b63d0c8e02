"""LAME, the system library that encodes MP3; the only module that touches it.

FluidSynth brings it along wherever libsndfile reads MP3 (Debian 12, Ubuntu 23.04, Homebrew). In
this process it needs no start: a program of its own for each track would cost as much processor
time to begin as ten seconds of sound do to encode (ffmpeg 5 on Debian, with its two hundred
libraries). Other threads run while it works.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import sys
from collections.abc import Iterator
from contextlib import suppress
from functools import cache
from types import TracebackType

import numpy as np
from numpy.typing import NDArray

from renderer.errors import failure

SPEED = 7
"""LAME's `-q`, from 0 (slow) to 9. From 7 on it no longer moves noise about by what it takes to be
masked, and at a constant rate that is better here: measured on full, backing, split and mono
tracks, 4 to 15 dB less noise, less of it in every octave up to 12.8 kHz (above, under -98 dBFS) and
before the clicks, at 1.5 times the speed of `-q 5`."""

_JOINT_STEREO, _MONO = 1, 3
"""`MPEG_mode` in `lame.h` (3.100)."""

_ROOM_BYTES, _ROOM_A_FRAME = 7_200, 1.25
"""What `lame.h` asks for a buffer to hold."""

_FLOATS = ctypes.POINTER(ctypes.c_float)
_SETTING = (ctypes.c_void_p, ctypes.c_int)
_FUNCTIONS = {
    "lame_init": (ctypes.c_void_p,),
    "lame_set_in_samplerate": (ctypes.c_int, *_SETTING),
    "lame_set_out_samplerate": (ctypes.c_int, *_SETTING),
    "lame_set_num_channels": (ctypes.c_int, *_SETTING),
    "lame_set_mode": (ctypes.c_int, *_SETTING),
    "lame_set_brate": (ctypes.c_int, *_SETTING),
    "lame_set_quality": (ctypes.c_int, *_SETTING),
    "lame_init_params": (ctypes.c_int, ctypes.c_void_p),
    "lame_encode_buffer_ieee_float": (
        *(ctypes.c_int, ctypes.c_void_p, _FLOATS, _FLOATS, ctypes.c_int),
        *(ctypes.c_char_p, ctypes.c_int),
    ),
    "lame_encode_flush": (ctypes.c_int, ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int),
    "lame_get_lametag_frame": (
        *(ctypes.c_size_t, ctypes.c_void_p, ctypes.c_char_p, ctypes.c_size_t),
    ),
    "lame_close": (ctypes.c_int, ctypes.c_void_p),
}
"""What each gives back and takes."""


def _names() -> Iterator[str]:
    if sys.platform == "darwin":
        # A Python that does not come from Homebrew looks past its libraries.
        yield from (f"{at}/lib/libmp3lame.dylib" for at in ("/opt/homebrew", "/usr/local"))
    elif sys.platform != "win32":
        # By its name at once: looking for it starts other programs.
        yield "libmp3lame.so.0"
    if found := ctypes.util.find_library("mp3lame"):
        yield found


@cache
def _library() -> ctypes.CDLL:
    for name in _names():
        with suppress(AttributeError, OSError):
            library = ctypes.CDLL(name)
            for function, (gives, *takes) in _FUNCTIONS.items():
                getattr(library, function).restype = gives
                getattr(library, function).argtypes = takes
            return library
    raise failure(
        "LAME, the system library that encodes mp3, is not installed",
        "install it: on Debian or Ubuntu 'apt install libmp3lame0', on macOS 'brew install lame'; "
        "or choose ogg, flac or wav",
    )


def check_lame() -> None:
    """Raise a `RungwiseError` if LAME is not installed."""
    _library()


def lame_scale(kbit_per_s: int) -> float:
    """Return the factor that LAME makes samples quieter by at a constant bit rate.

    It guards loud music against clipping. Tracks have headroom and are to keep their loudness, so
    it is made good beforehand. Source: the column `scale` of the table in LAME's `presets.c`
    (3.100), confirmed by measuring.
    """
    return 0.97 if kbit_per_s > 128 else 0.95


class Lame:
    """An encoder of one MP3 stream at a constant bit rate; left, it is put away.

    Parameters
    ----------
    rate, channels, kbit:
        Frames per second that MP3 has; 1 or 2; kbit/s.

    Raises
    ------
    RungwiseError
        If the library is not there.
    """

    def __init__(self, *, rate: int, channels: int, kbit: int) -> None:
        self._library = library = _library()
        self._gain = np.float32(1 / lame_scale(kbit))
        self._state = library.lame_init()
        if not self._state:
            raise MemoryError
        asked = (
            (library.lame_set_in_samplerate, rate),
            (library.lame_set_out_samplerate, rate),
            (library.lame_set_num_channels, channels),
            (library.lame_set_mode, _JOINT_STEREO if channels == 2 else _MONO),
            (library.lame_set_brate, kbit),
            (library.lame_set_quality, SPEED),
        )
        codes = [setting(self._state, value) for setting, value in asked]
        if min(*codes, library.lame_init_params(self._state)) < 0:
            self.close()
            raise ValueError(f"LAME refuses {rate} Hz, {channels} channels, {kbit} kbit/s")

    def __enter__(self) -> Lame:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give back its memory; it encodes no more."""
        if self._state:
            self._library.lame_close(self._state)
        self._state = None

    def encode(self, block: NDArray[np.float32]) -> bytes:
        """Return what of the stream is ready once a block (frames, channels) has come.

        The stream begins with a frame that `first_frame` takes the place of.
        """
        channels = np.ascontiguousarray((block * self._gain).T)
        left, right = (channels[at].ctypes.data_as(_FLOATS) for at in (0, len(channels) - 1))
        room = int(_ROOM_A_FRAME * len(block)) + _ROOM_BYTES
        made = ctypes.create_string_buffer(room)
        encode = self._library.lame_encode_buffer_ieee_float
        return _taken(made, encode(self._state, left, right, len(block), made, room))

    def finish(self) -> bytes:
        """Return the rest of the stream."""
        made = ctypes.create_string_buffer(_ROOM_BYTES)
        return _taken(made, self._library.lame_encode_flush(self._state, made, _ROOM_BYTES))

    def first_frame(self) -> bytes:
        """Return the frame that says how long the finished stream is, to the sample.

        Layout: G. Bouvigne, "MP3 info tag revision 1 specifications" (the LAME project).
        """
        made = ctypes.create_string_buffer(_ROOM_BYTES)
        frame = self._library.lame_get_lametag_frame
        return _taken(made, frame(self._state, made, _ROOM_BYTES))


def _taken(buffer: ctypes.Array[ctypes.c_char], length: int) -> bytes:
    if length < 0:
        raise MemoryError(f"LAME gave up ({length})")
    return ctypes.string_at(buffer, length)
