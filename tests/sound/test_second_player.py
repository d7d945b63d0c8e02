"""A second player of a track, by public names alone: printed events and loops to our WAV."""

from __future__ import annotations

import ast
import json
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from typer.testing import CliRunner

from renderer.commands.app import app
from renderer.notation.pitch import note_named
from renderer.order.settings import settings_from_plain
from renderer.sound.balance import balance, drone_channels, drones_loop
from renderer.sound.fingers import FingeredEvent, own_note
from renderer.sound.frames import frame_at
from renderer.sound.instrument import make_instrument
from renderer.sound.mix import CUT_OFF_S
from renderer.sound.noise import noise_loop
from renderer.sound.splice import EndlessTone, add_stretch, falling_gain, stretches, with_changes
from renderer.sound.strike_in import struck_in
from renderer.technique.fingering import fingering_written
from renderer.timing.timeline import Click, ClickKind, Event, Role, Roll, SectionKind

WIDE = """
title = "Wide"
meter = "3/4"
tempo = 60
[[lines]]
run = "low A, C, E"
ornament = "doubling"
[[lines]]
run = "C, E, F"
ornament = "grip"
"""


class Told:
    """A track's timeline out of the data that `rungwise events --format json` prints."""

    def __init__(self, data: dict[str, Any]) -> None:
        self.duration = Fraction(data["duration"])
        self.drones_start = Fraction(data["drones_start"])
        self.rolls = tuple(
            Roll(Fraction(one["start"]), Fraction(one["length"]), one["beats"])
            for one in data["rolls"]
        )
        starts = [Fraction(one["start"]) for one in data["events"]]
        ends = [*starts[1:], self.duration]
        self.events = [
            Event(
                start,
                end - start,
                None if one["note"] is None else note_named(one["note"]),
                Role(one["role"]),
            )
            for start, end, one in zip(starts, ends, data["events"], strict=True)
        ]
        self.fingered = [
            FingeredEvent(
                event,
                event.end,
                None if one["fingering"] is None else own_note(fingering_written(one["fingering"])),
            )
            for event, one in zip(self.events, data["events"], strict=True)
        ]
        self._clicks = [
            Click(Fraction(one["start"]), ClickKind(one["kind"]), SectionKind(one["section"]))
            for one in data["clicks"]
        ]

    def __iter__(self) -> Iterator[Event]:
        return iter(self.events)

    def clicks(self) -> Iterator[Click]:
        return iter(self._clicks)


def played(data: dict[str, Any]) -> NDArray[np.int16]:
    """Play a track from its data and the instrument's loops, rounded as a WAV file is."""
    track = Told(data)
    settings = settings_from_plain(
        {key: value for key, value in data["settings"].items() if value is not None}
    )
    rate, mixing = settings.rate, settings.mixing
    instrument = make_instrument(
        settings.pitch[0], settings.scale, settings.chanter, rate=rate, steady=settings.steady
    )
    levels = balance(track, instrument, mixing)
    out = np.zeros((frame_at(track.duration, rate), mixing.layout.channels), np.float32)
    if mixing.has_drones:
        channels = drone_channels(instrument.drones, mixing.layout)
        drones = drones_loop(channels, levels.gains.drones)
        at = frame_at(track.drones_start, rate)
        beginning = struck_in(drones, at, rate)
        out[at : at + len(beginning)] = beginning
        at += len(beginning)
        EndlessTone(drones).copy_to(out[at:], at)
    if levels.tones:
        part = stretches(track.fingered, rate, len(out))
        for stretch, change in with_changes(part, levels.tones, noise_loop(rate)):
            add_stretch(out, 0, stretch, levels.tones, change)
    strokes = [
        *((roll.start, sound) for roll, sound in zip(track.rolls, levels.rolls, strict=True)),
        *(
            (click.start, levels.clicks[click.kind])
            for click in track.clicks()
            if mixing.has_click(click.section)
        ),
    ]
    for start, sound in strokes:
        at = frame_at(start, rate)
        out[at : at + len(sound)] += sound[: len(out) - at]
    ending = round(CUT_OFF_S * rate)
    out[-ending:] *= falling_gain(ending)
    return np.clip(np.rint(out * 32_768), -32_768, 32_767).astype(np.int16)


@pytest.mark.parametrize(
    "asked",
    [
        ["--line", "1"],
        ["--line", "2", "--mix", "chanter", "--gracenotes", "pure", "--layout", "mono"],
        ["--line", "2", "--count-in-style", "rolls", "--pitch", "B flat", "--levels", "drone=-12"],
        ["--repeats", "2", "--mix", "echo", "--show-crossing", "--layout", "split", "--subdivide"],
    ],
    ids=" ".join,
)
def test_a_second_player_makes_our_very_samples_of_printed_events_and_loops(
    asked: list[str], tmp_path: Path
) -> None:
    wide = tmp_path / "wide.toml"
    wide.write_text(WIDE)
    asked = [*asked, "--tempo", "72.5", "--rate", "22050"]
    told = CliRunner().invoke(app, ["events", str(wide), "--format", "json", *asked])
    assert told.exit_code == 0, told.output
    run = CliRunner().invoke(
        app, ["render", str(wide), "-o", str(tmp_path / "out"), "--format", "wav", *asked]
    )
    assert run.exit_code == 0, run.output
    (ours,) = (tmp_path / "out").glob("*.wav")
    samples, rate = soundfile.read(ours, dtype="int16", always_2d=True)
    theirs = played(json.loads(told.stdout))
    assert rate == 22_050
    assert samples.shape == theirs.shape
    assert np.abs(samples).max() > 1_000
    np.testing.assert_array_equal(theirs, samples)


def test_it_takes_no_private_name_of_the_program() -> None:
    for node in ast.walk(ast.parse(Path(__file__).read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("renderer"):
            assert not [alias.name for alias in node.names if alias.name.startswith("_")]
        if isinstance(node, ast.Attribute) and node.attr.startswith("_"):
            # Its own, and what Python itself calls so.
            assert isinstance(node.value, ast.Name)
            assert node.value.id == "self"
