"""Temporary files that a process left behind when it was killed: named so that they can be told.

A name says which machine and process the file belongs to, and when that process began, so that a
number given out again is not taken for it. A file whose process is gone is removed by the next run
that writes into its folder. What another machine is writing into a shared folder cannot be told
from here: such a file goes once nobody has written to it for a day.
"""

from __future__ import annotations

import os
import platform
import re
import secrets
import time
import zlib
from contextlib import suppress
from functools import cache
from pathlib import Path

PART_PREFIX, PART_SUFFIX = ".rungwise-", ".part"
_NAME = re.compile(r"\.rungwise-([0-9a-f]{8})-(\d+)-(\d+)-[0-9a-f]{16}\.part")
_OLD_NAME = re.compile(r"\.rungwise-[0-9a-f]{16}\.part")
_DAY_S = 24 * 3600


def _machine() -> str:
    return f"{zlib.crc32(platform.node().encode()):08x}"


def _began(process: int) -> int | None:
    """Return when a process began, in the system's ticks; 0 where that is not told, None if gone.

    Source: proc(5), field 22 of /proc/PID/stat, counted behind the name in brackets; a zombie
    (state Z) is gone.
    """
    try:
        fields = Path(f"/proc/{process}/stat").read_bytes().rpartition(b")")[2].split()
    except OSError:
        if Path("/proc/self/stat").exists():
            return None
    else:
        return None if fields[0] in (b"Z", b"X") else int(fields[19])
    if os.name != "posix":
        return 0
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return None
    except OSError:
        return 0
    return 0


@cache
def _own(process: int) -> str:
    return f"{PART_PREFIX}{_machine()}-{process}-{_began(process) or 0}"


def part_name() -> str:
    """Return a new name for a temporary file of this process, which no other file has."""
    return f"{_own(os.getpid())}-{secrets.token_hex(8)}{PART_SUFFIX}"


def _is_left_over(path: Path) -> bool:
    found = _NAME.fullmatch(path.name)
    if found is None and not _OLD_NAME.fullmatch(path.name):
        return False
    if found is not None and found[1] == _machine():
        began = _began(int(found[2]))
        return began is None or began != int(found[3])
    return time.time() - path.stat().st_mtime > _DAY_S


def sweep(folder: Path) -> None:
    """Remove the temporary files in a folder whose processes are gone; no error stops it."""
    with suppress(OSError):
        for entry in os.scandir(folder):
            if entry.name.startswith(PART_PREFIX) and entry.name.endswith(PART_SUFFIX):
                path = Path(entry.path)
                with suppress(OSError):
                    if _is_left_over(path):
                        path.unlink()
