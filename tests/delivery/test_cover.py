"""Covers tell tracks apart, and every player's file has one."""

from __future__ import annotations

import base64
import io
import json
import os
import subprocess
from pathlib import Path
from typing import Any

import mutagen
import mutagen.flac
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from renderer.delivery import cover
from renderer.delivery.carrying_out import carry_out
from renderer.delivery.cover import SIDE, cover_of
from renderer.notation.source_file import Source
from renderer.order.formats import AudioFormat
from renderer.order.order import Order
from renderer.order.track_job import TrackJob
from tests.delivery.larkmoor import asked
from tests.limits import HANG_S

GRIPS = b'meter = "2/4"\n[[lines]]\nrun = "B, C"\nornament = "grip"\n[[lines]]\nrun = "E, F"\n'


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    cover._drawn.cache_clear()
    return tmp_path / "cache" / "rungwise" / "covers"


def job(folder: Path = Path(), source: bytes = GRIPS, **given: Any) -> TrackJob:
    order = Order((Source("grips.toml", source),), asked(**{"tempo": 200} | given))
    return order.jobs(folder)[0]


def picture(png: bytes) -> NDArray[np.uint8]:
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"))


def test_pitch_bar_and_rung_stand_one_under_the_other_large_enough_for_a_phone() -> None:
    png = cover_of(job(tempo=60, pitch="B flat"))
    assert len(png) < 25_000
    seen = picture(png)
    assert seen.shape == (SIDE, SIDE)
    # A dark band with light letters of a seventh of its side; ink on white below it.
    light = np.flatnonzero((seen[:180] > 128).any(axis=1))
    assert light.max() - light.min() > SIDE / 8
    assert seen[185, 5] < 40
    staff = seen[200:520]
    lines = (staff < 128).mean(axis=1) > 0.8
    assert np.count_nonzero(np.diff(lines.astype(int)) == 1) == 5
    rung = np.flatnonzero((seen[520:, : SIDE // 2] < 128).any(axis=1))
    assert rung.max() - rung.min() > SIDE / 4
    assert (seen[-30:] > 200).all()


def test_tracks_that_differ_have_covers_that_differ() -> None:
    asked_for: list[dict[str, Any]] = [
        {"tempo": 60},
        {"tempo": 62},
        {"pitch": "B flat"},
        {"mix": "echo"},
        {"line": 1},
        {"line": 2},
        {"tempo": None, "climb": "50:88:2"},
        {"tempo": None, "ladder": [400]},
    ]
    assert len({cover_of(job(**one)) for one in asked_for}) == len(asked_for)
    assert cover_of(job()) == cover_of(job())


def test_a_long_name_of_a_chanter_stays_inside_the_picture(tmp_path: Path) -> None:
    long = b'low-a = 476\nname = "The long old chanter of Larkmoor, two"\n'
    (tmp_path / "long.toml").write_bytes(long)
    seen = picture(cover_of(job(pitch=str(tmp_path / "long.toml"), mix="backing")))
    assert (seen[:180, :30] < 40).all()
    assert (seen[:180, -30:] < 40).all()


def test_bars_and_covers_are_drawn_once_and_damaged_ones_in_the_cache_anew(
    own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = cover_of(job())
    kept = {path: path.read_bytes() for path in own_cache.iterdir()}
    assert len(kept) == 2, "the bar and the cover"
    cover._drawn.cache_clear()

    def refuse(*_: object) -> bytes:
        raise AssertionError("it is in the cache")

    with monkeypatch.context() as without:
        without.setattr(cover, "_engraved", refuse)
        cover_of(job(tempo=90))
        without.setattr(cover, "_picture", refuse)
        assert cover_of(job()) == first
    for path in kept:
        path.write_bytes(path.read_bytes()[:-100])
    cover._drawn.cache_clear()
    assert cover_of(job()) == first
    assert {path: path.read_bytes() for path in kept} == kept


def test_of_many_covers_the_oldest_go(own_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cover, "MOST_KEPT", 3)
    for tempo in range(60, 66):
        cover_of(job(tempo=tempo))
        for age, path in enumerate(own_cache.iterdir()):
            os.utime(path, ns=(age, age))
        assert len(list(own_cache.iterdir())) == min(3, tempo - 58)
    newest = cover_of(job(tempo=70))
    monkeypatch.setattr(cover, "_picture", None)
    assert cover_of(job(tempo=70)) == newest


@pytest.mark.parametrize("audio_format", [one for one in AudioFormat if one != AudioFormat.WAV])
def test_ffprobe_and_mutagen_find_the_cover_of_every_track(
    audio_format: AudioFormat, tmp_path: Path
) -> None:
    mine = job(tmp_path, format=str(audio_format))
    path = carry_out(mine).paths[0]
    wanted = cover_of(mine)
    read: Any = mutagen.File(path)
    if audio_format is AudioFormat.MP3:
        found = read.tags.getall("APIC")[0].data
    elif audio_format is AudioFormat.M4A:
        found = bytes(read.tags["covr"][0])
    elif audio_format is AudioFormat.FLAC:
        found = read.pictures[0].data
    else:
        block = base64.b64decode(read["METADATA_BLOCK_PICTURE"][0])
        found = mutagen.flac.Picture(block).data
    assert found == wanted
    command = ["ffprobe", "-v", "error", "-show_streams", "-of", "json", str(path)]
    run = subprocess.run(command, capture_output=True, check=True, timeout=HANG_S)
    streams = json.loads(run.stdout)["streams"]
    (shown,) = (one for one in streams if one["codec_type"] == "video")
    assert (shown["codec_name"], shown["width"], shown["height"]) == ("png", SIDE, SIDE)
    assert shown["disposition"]["attached_pic"] == 1
