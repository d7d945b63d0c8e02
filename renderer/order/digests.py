"""Digests, and sources as plain data: what decides a result, to 64 hexadecimal digits (SHA-256)."""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from renderer.errors import failure
from renderer.notation.score import Exercise
from renderer.notation.source_file import Source
from renderer.order.kinds import Plain
from renderer.order.settings import Settings
from renderer.sound.own_soundfont import digest_of_soundfont, shipped_soundfont


def digest_of(what: bytes | Mapping[str, Plain]) -> str:
    """Return the SHA-256 of bytes, or of plain data written in one way only."""
    if not isinstance(what, bytes):
        what = json.dumps(what, sort_keys=True, separators=(",", ":")).encode()
    return hashlib.sha256(what).hexdigest()


_MOST_KEPT = 64
_kept: dict[int, tuple[Exercise, str]] = {}
"""Digests of exercises by their identity: all jobs of an exercise share one object."""


def music_digest(exercise: Exercise) -> str:
    """Return the SHA-256 of what is played and printed, not of how it was written down.

    A comment in a definition changes nothing, nor does a note in another line than the only one
    that an exercise has been narrowed to. The file's name and what its reader remarked are left
    out.
    """
    known = _kept.get(id(exercise))
    if known is None or known[0] is not exercise:
        if len(_kept) >= _MOST_KEPT:
            _kept.clear()
        plain = repr(replace(exercise, source="", remarks=()))
        known = _kept[id(exercise)] = exercise, digest_of(plain.encode())
    return known[1]


def _digest_of_file(path: Path) -> str:
    try:
        return digest_of_soundfont(path)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise failure(f"the file cannot be read: {reason}", "check it", file=str(path)) from None


def soundfont_digests(settings: Settings) -> tuple[str, ...]:
    """Return the digests of the SoundFonts that a track with these settings sounds with.

    The project's own is always among them, first, for its clicks and rolls.
    """
    paths = (shipped_soundfont(), settings.soundfont, settings.drone_soundfont)
    return tuple(_digest_of_file(path) for path in paths if path is not None)


def plain_source(source: Source) -> dict[str, Plain]:
    """Return a source as JSON has it: text where it is text, base64 (RFC 4648) where not."""
    try:
        return {"name": source.name, "text": source.data.decode()}
    except UnicodeDecodeError:
        return {"name": source.name, "base64": base64.b64encode(source.data).decode()}


def source_from_plain(plain: Mapping[str, Any]) -> Source:
    """Return the source that `plain_source` has written; raise `ValueError` for anything else."""
    name = plain["name"]
    if not isinstance(name, str):
        raise ValueError("a source has a name")
    if "text" in plain:
        return Source(name, str(plain["text"]).encode())
    try:
        return Source(name, base64.b64decode(plain["base64"], validate=True))
    except binascii.Error as error:
        raise ValueError(str(error)) from None
