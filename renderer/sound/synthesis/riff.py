"""Presets, instruments and samples to the bytes of a SoundFont 2.04 file.

Source of every layout, number and rule here: SoundFont Technical Specification 2.04 (E-mu,
2006), whose section numbers stand beside them. Sample positions are in frames, times of
envelopes in timecents (1200 times the base-2 logarithm of seconds).
"""

import struct
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

ZERO_FRAMES_AFTER_SAMPLE = 46  # §6.1: at least 46 zero points after each sample
FRAMES_OUTSIDE_LOOP = 8  # §7.10: valid points needed before a loop's start and after its end
SHORTEST_LOOP_FRAMES = 32  # §7.10
LONGEST_NAME = 20  # §7.2, §7.6, §7.10: fields of 20 characters

# §8.1.2, numbers of the generators that are used
GENERATORS = {
    "release_volume_envelope": 38,
    "instrument": 41,
    "key_range": 43,
    "sample": 53,
    "sample_modes": 54,
    "scale_tuning": 56,
    "overriding_root_key": 58,
}
LOOP_CONTINUOUSLY = 1  # §8.1.2, sampleModes
MONO_SAMPLE = 1  # §7.10, sfSampleType

# §8.2 and §8.4: default modulators by source, destination and amount source. Written out with
# amount 0 they are switched off: no vibrato from wheel or pressure, no effect sends.
_STEADY_MODULATORS = (
    (0x0102, 8, 0x0000),  # velocity to filter cutoff (§8.4.2)
    (0x000D, 6, 0x0000),  # channel pressure to vibrato depth (§8.4.3)
    (0x0081, 6, 0x0000),  # modulation wheel to vibrato depth (§8.4.4)
    (0x00DB, 16, 0x0000),  # controller 91 to reverb send (§8.4.8)
    (0x00DD, 15, 0x0000),  # controller 93 to chorus send (§8.4.9)
)
_VELOCITY_TO_ATTENUATION = (0x0502, 48, 0x0000)  # §8.4.1


@dataclass(frozen=True, eq=False)
class Sample:
    """One mono sample; `loop` is (first frame, frame after the last) inside `frames`, or None."""

    name: str
    frames: npt.NDArray[np.int16]
    rate_hz: int
    root_key: int
    loop: tuple[int, int] | None = None


@dataclass(frozen=True)
class Zone:
    """A sample on a range of keys (both ends included)."""

    sample: Sample
    low_key: int
    high_key: int
    release_timecents: int
    follows_keys: bool = True


@dataclass(frozen=True)
class Preset:
    """A preset with the one instrument that it plays; zones that overlap sound together."""

    name: str
    bank: int
    program: int
    zones: tuple[Zone, ...]
    velocity_sensitive: bool


def soundfont_bytes(presets: list[Preset], info: dict[str, str]) -> bytes:
    """Write a SoundFont 2.04 file.

    `info` maps INFO sub-chunk names (`isng`, `INAM`, `ICOP`, ...) to ASCII text; `ifil` is added.
    Presets are written in the order of bank and program. Raises ValueError where a name, a key,
    a loop or a sample breaks the standard.
    """
    ordered = sorted(presets, key=lambda preset: (preset.bank, preset.program))
    samples: list[Sample] = []
    for preset in ordered:
        _check_name(preset.name)
        for zone in preset.zones:
            if not 0 <= zone.low_key <= zone.high_key <= 127:
                raise ValueError(f"{preset.name}: keys {zone.low_key} to {zone.high_key}")
            if not any(zone.sample is known for known in samples):
                _check_sample(zone.sample)
                samples.append(zone.sample)

    pcm, headers = _pool(samples)
    body = (
        b"sfbk"
        + _list(b"INFO", _info_chunks(info))
        + _list(b"sdta", _chunk(b"smpl", pcm))
        + _list(b"pdta", _hydra(ordered, samples, headers))
    )
    return _chunk(b"RIFF", body)


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def _list(kind: bytes, body: bytes) -> bytes:
    return _chunk(b"LIST", kind + body)


def _info_chunks(info: dict[str, str]) -> bytes:
    chunks = _chunk(b"ifil", struct.pack("<HH", 2, 4))
    for name, text in info.items():
        # §5: a string ends in one or two zero bytes, so that its length is even.
        encoded = text.encode("ascii") + b"\0"
        chunks += _chunk(name.encode("ascii"), encoded + b"\0" * (len(encoded) % 2))
    return chunks


def _check_name(name: str) -> None:
    if not name or len(name) >= LONGEST_NAME or not name.isascii():
        raise ValueError(f"a name has 1 to {LONGEST_NAME - 1} ASCII characters, not {name!r}")


def _check_sample(sample: Sample) -> None:
    _check_name(sample.name)
    if sample.frames.dtype != np.int16 or sample.frames.ndim != 1 or len(sample.frames) < 48:
        raise ValueError(f"{sample.name}: a sample is at least 48 frames of 16 bits")
    if sample.loop is None:
        return
    start, end = sample.loop
    if (
        start < FRAMES_OUTSIDE_LOOP
        or end - start < SHORTEST_LOOP_FRAMES
        or len(sample.frames) - end < FRAMES_OUTSIDE_LOOP
    ):
        raise ValueError(f"{sample.name}: loop {start} to {end} of {len(sample.frames)} frames")


def _pool(samples: list[Sample]) -> tuple[bytes, bytes]:
    """All samples end to end (§6.1), and their header records (§7.10)."""
    pcm = bytearray()
    headers = b""
    for sample in samples:
        start = len(pcm) // 2
        end = start + len(sample.frames)
        # A sample without a loop has its loop fields inside it all the same, for readers that
        # check them before they look at the sample mode.
        loop_start, loop_end = sample.loop or (
            FRAMES_OUTSIDE_LOOP,
            len(sample.frames) - FRAMES_OUTSIDE_LOOP,
        )
        pcm += sample.frames.astype("<i2").tobytes() + b"\0" * (2 * ZERO_FRAMES_AFTER_SAMPLE)
        headers += struct.pack(
            "<20s5IBbHH",
            sample.name.encode("ascii"),
            start,
            end,
            start + loop_start,
            start + loop_end,
            sample.rate_hz,
            sample.root_key,
            0,
            0,
            MONO_SAMPLE,
        )
    return bytes(pcm), headers + struct.pack("<20s5IBbHH", b"EOS", *([0] * 9))


def _hydra(presets: list[Preset], samples: list[Sample], sample_headers: bytes) -> bytes:
    """The nine sub-chunks of pdta (§7), each with its terminal record."""
    phdr = pbag = pgen = inst = ibag = imod = igen = b""
    for index, preset in enumerate(presets):
        name = preset.name.encode("ascii")
        phdr += struct.pack("<20sHHHIII", name, preset.program, preset.bank, index, 0, 0, 0)
        pbag += struct.pack("<HH", index, 0)
        pgen += _generator("instrument", index)

        inst += struct.pack("<20sH", name, len(ibag) // 4)
        switched_off = list(_STEADY_MODULATORS)
        if not preset.velocity_sensitive:
            switched_off.append(_VELOCITY_TO_ATTENUATION)
        ibag += struct.pack("<HH", len(igen) // 4, len(imod) // 10)  # the global zone
        igen += _generator("release_volume_envelope", preset.zones[0].release_timecents)
        for source, destination, amount_source in switched_off:
            imod += struct.pack("<HHhHH", source, destination, 0, amount_source, 0)
        for zone in preset.zones:
            ibag += struct.pack("<HH", len(igen) // 4, len(imod) // 10)
            # §8.1.2: keyRange comes first in its zone, sampleID last.
            igen += _generator("key_range", zone.low_key | zone.high_key << 8)
            if zone.release_timecents != preset.zones[0].release_timecents:
                igen += _generator("release_volume_envelope", zone.release_timecents)
            if zone.sample.loop is not None:
                igen += _generator("sample_modes", LOOP_CONTINUOUSLY)
            if not zone.follows_keys:
                igen += _generator("scale_tuning", 0)
            igen += _generator("overriding_root_key", zone.sample.root_key)
            igen += _generator("sample", next(i for i, s in enumerate(samples) if s is zone.sample))

    count = len(presets)
    phdr += struct.pack("<20sHHHIII", b"EOP", 0, 0, count, 0, 0, 0)
    pbag += struct.pack("<HH", count, 0)
    inst += struct.pack("<20sH", b"EOI", len(ibag) // 4)
    ibag += struct.pack("<HH", len(igen) // 4, len(imod) // 10)
    no_modulator, no_generator = b"\0" * 10, b"\0" * 4
    return b"".join(
        _chunk(name, body)
        for name, body in (
            (b"phdr", phdr),
            (b"pbag", pbag),
            (b"pmod", no_modulator),
            (b"pgen", pgen + no_generator),
            (b"inst", inst),
            (b"ibag", ibag),
            (b"imod", imod + no_modulator),
            (b"igen", igen + no_generator),
            (b"shdr", sample_headers),
        )
    )


def _generator(name: str, amount: int) -> bytes:
    return struct.pack("<HH", GENERATORS[name], amount & 0xFFFF)
