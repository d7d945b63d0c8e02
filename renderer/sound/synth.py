"""FluidSynth: a key of a SoundFont preset to samples.

The only module that touches FluidSynth. It plays one key at a time, without reverb and chorus, and
hands over what comes out as 32-bit floats (frames,) at `SYNTH_RATE`, both channels averaged: a
chanter, a drone and a click are each one source. FluidSynth's own messages are kept off the
terminal; what they would say is raised as a `RungwiseError` where the user can act on it.
"""

from __future__ import annotations

import contextlib
import ctypes
import io
import os
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import ModuleType, TracebackType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from renderer.errors import failure

SYNTH_RATE = 44_100
"""The rate that FluidSynth is run at, whatever the rate of the track: that of the project's own
samples, so that FluidSynth copies rather than interpolates them."""

_VELOCITY = 127
_LOG_LEVELS = range(5)
_FLUIDSYNTH_BLOCK = 64
_BEST_INTERPOLATION = 7
_MONO_LOSS_DB = 6.0


_HOMEBREW = (Path("/opt/homebrew"), Path("/usr/local"))


def _point_to_homebrew() -> None:
    # A Python that does not come from Homebrew looks past its libraries; pyfluidsynth follows this.
    if sys.platform == "darwin":
        for prefix in _HOMEBREW:
            if (prefix / "lib" / "libfluidsynth.dylib").exists():
                os.environ.setdefault("HOMEBREW_PREFIX", str(prefix))


@cache
def _library() -> ModuleType:
    """Import pyfluidsynth, which looks for the system library as it is imported."""
    _point_to_homebrew()
    try:
        # With CI in the environment pyfluidsynth prints where it found the library.
        with contextlib.redirect_stdout(io.StringIO()):
            import fluidsynth
    except (ImportError, OSError, AttributeError) as error:
        raise failure(
            "FluidSynth, the system library that plays SoundFonts, is not installed",
            "install it: on Debian or Ubuntu 'apt install libfluidsynth3', "
            "on macOS 'brew install fluid-synth'",
        ) from error
    set_log_function = fluidsynth.cfunc(
        "fluid_set_log_function",
        ctypes.c_void_p,
        ("level", ctypes.c_int, 1),
        ("function", ctypes.c_void_p, 1),
        ("data", ctypes.c_void_p, 1),
    )
    for level in _LOG_LEVELS:
        set_log_function(level, None, None)
    return fluidsynth  # type: ignore[no-any-return]


def fluidsynth_version() -> str:
    """Return the version of the library, as `2.3.1`; errors as for `SoundFontPlayer`."""
    try:
        # By its name at once: pyfluidsynth starts a program to look for it, and where everything
        # is kept, the version is all that is asked for.
        version = ctypes.CDLL("libfluidsynth.so.3").fluid_version_str
        version.restype = ctypes.c_char_p
    except (AttributeError, OSError):
        version = _library().cfunc("fluid_version_str", ctypes.c_char_p)
    return bytes(version()).decode(errors="replace")


@cache
def _write_float() -> Any:
    # pyfluidsynth binds only the 16-bit output, whose rounding would be heard under long tones.
    return _library().cfunc(
        "fluid_synth_write_float",
        ctypes.c_int,
        ("synth", ctypes.c_void_p, 1),
        ("len", ctypes.c_int, 1),
        ("lout", ctypes.c_void_p, 1),
        ("loff", ctypes.c_int, 1),
        ("lincr", ctypes.c_int, 1),
        ("rout", ctypes.c_void_p, 1),
        ("roff", ctypes.c_int, 1),
        ("rincr", ctypes.c_int, 1),
    )


@cache
def _set_interpolation() -> Any:
    return _library().cfunc(
        "fluid_synth_set_interp_method",
        ctypes.c_int,
        ("synth", ctypes.c_void_p, 1),
        ("chan", ctypes.c_int, 1),
        ("method", ctypes.c_int, 1),
    )


@contextlib.contextmanager
def _stderr_off() -> Iterator[None]:
    """Send the process's standard error nowhere, that of C libraries too."""
    try:
        kept = os.dup(2)
    except OSError:  # standard error is closed: there is nothing to keep quiet
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


class SoundFontPlayer:
    """A SoundFont opened in FluidSynth; a context manager that closes it.

    Parameters
    ----------
    soundfont:
        An SF2 or SF3 file.

    Raises
    ------
    RungwiseError
        If FluidSynth is not installed, or the file cannot be read or is no SoundFont.
    """

    def __init__(self, soundfont: Path) -> None:
        self._soundfont = soundfont
        check_soundfont(soundfont)
        library = _library()
        self._synth = library.Synth(gain=0.2, samplerate=float(SYNTH_RATE))
        for name, value in {
            "synth.reverb.active": 0,
            "synth.chorus.active": 0,
            "synth.cpu-cores": 1,
            # Only the presets that are played are read from the file.
            "synth.dynamic-sample-loading": 1,
        }.items():
            self._synth.setting(name, value)
        # A damaged SoundFont is passed on to the DLS reader, which complains through GLib.
        with _stderr_off():
            self._font_id = self._synth.sfload(str(soundfont))
        if self._font_id < 0:
            self.close()
            raise failure("FluidSynth cannot read this SoundFont", _REMEDY, file=str(soundfont))
        _set_interpolation()(self._synth.synth, -1, _BEST_INTERPOLATION)

    def __enter__(self) -> SoundFontPlayer:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Free what FluidSynth holds."""
        self._synth.delete()

    def preset_name(self, bank: int, program: int) -> str | None:
        """Return the name of a preset, or None if the SoundFont lacks it."""
        if self._synth.program_select(0, self._font_id, bank, program) != 0:
            return None
        name = self._synth.sfpreset_name(self._font_id, bank, program)
        return str(name or f"preset {bank}:{program}")

    def play(self, bank: int, program: int, key: int, frames: int) -> NDArray[np.float32]:
        """Press `key` as hard as MIDI knows, hold it for `frames` frames, and return them.

        Raises `RungwiseError` if the SoundFont lacks the preset.
        """
        self._synth.system_reset()
        if self.preset_name(bank, program) is None:
            raise failure(
                f"the SoundFont has no preset {bank}:{program}",
                "choose a bank and program that it has",
                file=str(self._soundfont),
            )
        self._synth.noteon(0, key, _VELOCITY)
        left, right = self._write(frames)
        self._synth.all_sounds_off(0)
        # What still fades would be heard in the next note.
        for _ in range(SYNTH_RATE // _FLUIDSYNTH_BLOCK):
            if not self._synth.get_active_voice_count():
                break
            self._write(_FLUIDSYNTH_BLOCK)
        both = np.asarray((left + right) / 2, np.float32)
        # Wide stereo samples can cancel in the sum; then one side tells more than both.
        louder = left if np.dot(left, left) >= np.dot(right, right) else right
        lost = 10 ** (-_MONO_LOSS_DB / 10)
        return both if np.dot(both, both) >= lost * np.dot(louder, louder) else louder

    def _write(self, frames: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Let FluidSynth go on for `frames` frames; return both channels."""
        # FluidSynth works in blocks, and keeps what is left of one for the next time.
        whole = -(-frames // _FLUIDSYNTH_BLOCK) * _FLUIDSYNTH_BLOCK
        left = np.zeros(whole, np.float32)
        right = np.zeros(whole, np.float32)
        _write_float()(self._synth.synth, whole, left.ctypes.data, 0, 1, right.ctypes.data, 0, 1)
        return left[:frames], right[:frames]


_REMEDY = "give an SF2 or SF3 file that FluidSynth can play"


def check_soundfont(soundfont: Path) -> None:
    """Raise a `RungwiseError` unless the file opens as a SoundFont does (2.04, section 4)."""
    if soundfont.exists() and not soundfont.is_file():
        # Reading from a pipe waits for ever.
        raise failure("this is no file", _REMEDY, file=str(soundfont))
    try:
        with soundfont.open("rb") as file:
            header = file.read(12)
    except FileNotFoundError:
        raise failure("there is no such SoundFont", _REMEDY, file=str(soundfont)) from None
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise failure(
            f"the SoundFont cannot be read ({reason})", _REMEDY, file=str(soundfont)
        ) from None
    if header[:4] != b"RIFF" or header[8:] != b"sfbk":
        raise failure("this is no SoundFont", _REMEDY, file=str(soundfont))
