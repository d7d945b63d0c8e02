"""Programs beside Rungwise: where on this machine an ffmpeg may be."""

from __future__ import annotations

import shutil


def ffmpegs() -> tuple[str, ...]:
    """Return the ffmpeg programs that there are: the system's, then that of `imageio-ffmpeg`."""
    found = [shutil.which("ffmpeg")]
    try:
        import imageio_ffmpeg

        found.append(str(imageio_ffmpeg.get_ffmpeg_exe()))
    except (ImportError, RuntimeError):
        pass
    return tuple(one for one in found if one)
