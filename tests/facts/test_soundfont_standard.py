"""The built SoundFont against the SoundFont Technical Specification 2.04 (E-mu, 2006).

Section numbers name the rule that each test holds the file to. The file is read three ways:
by its RIFF structure here, by `sf2utils`, and by FluidSynth.
"""

import os
import struct
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest
from sf2utils.sf2parse import Sf2File

from tests.limits import HANG_S

SOUNDFONT = Path(__file__).parents[2] / "soundfonts" / "rungwise.sf2"

RECORD_BYTES = {  # sections 7.2 to 7.10
    "phdr": 38,
    "pbag": 4,
    "pmod": 10,
    "pgen": 4,
    "inst": 22,
    "ibag": 4,
    "imod": 10,
    "igen": 4,
    "shdr": 46,
}
KEY_RANGE, VELOCITY_RANGE, SAMPLE_ID, INSTRUMENT = 43, 44, 53, 41  # section 8.1.2
EXPECTED_PRESETS = {(0, 0), (0, 1), (0, 2), (0, 3), (0, 109), (128, 0)}


def chunks(body: bytes) -> list[tuple[str, bytes]]:
    """The chunks of a RIFF list in order, each with its padding checked."""
    found = []
    at = 0
    while at < len(body):
        name, size = body[at : at + 4].decode("ascii"), struct.unpack_from("<I", body, at + 4)[0]
        assert at + 8 + size <= len(body), f"{name} runs past the end of its list"
        found.append((name, body[at + 8 : at + 8 + size]))
        at += 8 + size + size % 2
    assert at == len(body)
    return found


@pytest.fixture(scope="module")
def lists() -> dict[str, list[tuple[str, bytes]]]:
    """The three lists of the file by their type, each as its chunks."""
    [(riff, body)] = chunks(SOUNDFONT.read_bytes())
    assert riff == "RIFF"
    assert body[:4] == b"sfbk"
    found = {}
    for name, part in chunks(body[4:]):
        assert name == "LIST"
        found[part[:4].decode("ascii")] = chunks(part[4:])
    return found


@pytest.fixture(scope="module")
def hydra(lists: dict[str, list[tuple[str, bytes]]]) -> dict[str, list[bytes]]:
    """The records of each sub-chunk of pdta."""
    return {
        name: [body[i : i + RECORD_BYTES[name]] for i in range(0, len(body), RECORD_BYTES[name])]
        for name, body in lists["pdta"]
    }


def sample_headers(hydra: dict[str, list[bytes]]) -> list[tuple[str, int, int, int, int, int]]:
    """Name, start, end, loop start, loop end and rate of each sample, the terminal one left out."""
    headers = []
    for record in hydra["shdr"][:-1]:
        name, *places, _, _, _, _ = struct.unpack("<20s5IBbHH", record)
        start, end, loop_start, loop_end, rate_hz = places
        headers.append(
            (name.rstrip(b"\0").decode("ascii"), start, end, loop_start, loop_end, rate_hz)
        )
    return headers


def test_the_file_holds_its_three_lists_in_order(
    lists: dict[str, list[tuple[str, bytes]]],
) -> None:
    assert list(lists) == ["INFO", "sdta", "pdta"]  # section 4
    assert [name for name, _ in lists["sdta"]] == ["smpl"]
    assert [name for name, _ in lists["pdta"]] == list(RECORD_BYTES)  # section 7.1


def test_info_states_version_2_04_and_its_strings_are_even_and_terminated(
    lists: dict[str, list[tuple[str, bytes]]],
) -> None:
    info = dict(lists["INFO"])
    assert info.keys() >= {"ifil", "isng", "INAM"}  # section 5: the mandatory ones
    assert struct.unpack("<HH", info.pop("ifil")) == (2, 4)
    for name, text in info.items():
        assert len(text) % 2 == 0, name
        assert len(text) <= 256, name
        assert text.endswith(b"\0"), name


def test_every_list_of_records_is_whole_and_ends_in_a_terminal_record(
    lists: dict[str, list[tuple[str, bytes]]], hydra: dict[str, list[bytes]]
) -> None:
    for name, body in lists["pdta"]:
        assert len(body) % RECORD_BYTES[name] == 0, name
    assert hydra["phdr"][-1].startswith(b"EOP\0")
    assert hydra["inst"][-1].startswith(b"EOI\0")
    assert hydra["shdr"][-1].startswith(b"EOS\0")
    assert hydra["pmod"][-1] == hydra["imod"][-1] == b"\0" * 10
    assert hydra["pgen"][-1] == hydra["igen"][-1] == b"\0" * 4


def test_indices_rise_from_zero_to_the_terminal_record(hydra: dict[str, list[bytes]]) -> None:
    for name, offset, counted in (
        ("phdr", 24, "pbag"),
        ("pbag", 0, "pgen"),
        ("pbag", 2, "pmod"),
        ("inst", 20, "ibag"),
        ("ibag", 0, "igen"),
        ("ibag", 2, "imod"),
    ):
        indices = [struct.unpack_from("<H", record, offset)[0] for record in hydra[name]]
        assert indices[0] == 0, name
        assert all(a <= b for a, b in pairwise(indices)), name
        assert indices[-1] == len(hydra[counted]) - 1, name


def test_presets_are_sorted_and_their_names_terminated(hydra: dict[str, list[bytes]]) -> None:
    places = []
    for record in hydra["phdr"][:-1]:
        name, program, bank, *_ = struct.unpack("<20sHHHIII", record)
        assert name[-1] == 0  # section 7.2: at most 19 characters and a zero
        places.append((bank, program))
    assert places == sorted(EXPECTED_PRESETS)


def test_key_ranges_come_first_and_samples_last_in_each_zone(
    hydra: dict[str, list[bytes]],
) -> None:
    bags = [struct.unpack("<HH", record)[0] for record in hydra["ibag"]]
    generators = [struct.unpack("<HH", record)[0] for record in hydra["igen"]]
    zones = [generators[a:b] for a, b in pairwise(bags)]
    for zone in zones:
        if SAMPLE_ID in zone:  # the others are global zones
            assert zone[0] == KEY_RANGE
            assert zone[-1] == SAMPLE_ID
            assert len(set(zone)) == len(zone)
    samples = [struct.unpack("<HH", record) for record in hydra["igen"]]
    used = {amount for generator, amount in samples if generator == SAMPLE_ID}
    assert used == set(range(len(hydra["shdr"]) - 1)), "every sample is in some zone"


def test_each_sample_is_followed_by_46_zero_points(
    lists: dict[str, list[tuple[str, bytes]]], hydra: dict[str, list[bytes]]
) -> None:
    pcm = dict(lists["sdta"])["smpl"]
    headers = sample_headers(hydra)
    ends = [header[2] for header in headers]
    next_starts = [header[1] for header in headers[1:]] + [len(pcm) // 2]
    for (name, *_), end, next_start in zip(headers, ends, next_starts, strict=True):
        assert next_start - end >= 46, name  # section 6.1
        assert not any(pcm[2 * end : 2 * (end + 46)]), name


def test_loops_lie_inside_their_samples_by_eight_points_and_are_long_enough(
    hydra: dict[str, list[bytes]],
) -> None:
    for name, start, end, loop_start, loop_end, rate_hz in sample_headers(hydra):
        assert 1 <= len(name) <= 20
        assert 400 <= rate_hz <= 50000, name  # section 7.10
        assert end - start >= 48, name
        assert loop_start - start >= 8, name
        assert end - loop_end >= 8, name
        assert loop_end - loop_start >= 32, name


def test_sf2utils_reads_every_preset_instrument_and_sample(
    hydra: dict[str, list[bytes]], caplog: pytest.LogCaptureFixture
) -> None:
    with SOUNDFONT.open("rb") as file:
        read = Sf2File(file)
        presets = {(preset.bank, preset.preset) for preset in read.presets if preset.name != "EOP"}
        names = {sample.name for sample in read.samples if sample.name != "EOS"}
        assert presets == EXPECTED_PRESETS
        assert names == {header[0] for header in sample_headers(hydra)}
        for sample in read.samples:
            if sample.name != "EOS":
                assert sample.is_mono
                assert sample.pitch_correction == 0
                assert 0 < sample.start_loop < sample.end_loop < sample.duration
    assert not [record for record in caplog.records if record.levelname in ("WARNING", "ERROR")]


PLAY_EVERYTHING = """
import sys
import fluidsynth
synth = fluidsynth.Synth(samplerate=44100.0)
number = synth.sfload(sys.argv[1])
for bank, program in ((0, 0), (0, 1), (0, 2), (0, 3), (0, 109), (128, 0)):
    if synth.program_select(0, number, bank, program) != 0:
        sys.exit("a preset is missing")
    for key in range(128):
        synth.noteon(0, key, 127)
        synth.get_samples(64)
        synth.noteoff(0, key)
        synth.get_samples(64)
synth.delete()
"""


def what_fluidsynth_says(soundfont: Path) -> str:
    """Everything FluidSynth prints on loading a file and playing every key of every preset.

    In a process of its own, where nothing else has turned its messages off.
    """
    environment = {name: value for name, value in os.environ.items() if name != "CI"}
    done = subprocess.run(
        [sys.executable, "-c", PLAY_EVERYTHING, str(soundfont)],
        env=environment,
        check=False,
        timeout=HANG_S,
        capture_output=True,
        text=True,
    )
    return done.stdout + done.stderr


def test_fluidsynth_loads_and_plays_it_without_a_word() -> None:
    assert what_fluidsynth_says(SOUNDFONT) == ""


def test_fluidsynth_would_complain_of_a_damaged_file(tmp_path: Path) -> None:
    # Shows that the silence above means something.
    damaged = tmp_path / "damaged.sf2"
    damaged.write_bytes(SOUNDFONT.read_bytes()[:-50])
    assert "fluidsynth: error" in what_fluidsynth_says(damaged)
