"""Opening standard MIDI files: bytes to notes, tempos, meters, markers and texts.

Places are in quarter notes from the start, exact; times in seconds where a name says so.
"""

from __future__ import annotations

import contextlib
import io
import operator
import re
from bisect import bisect_right
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import accumulate

import mido

from renderer.errors import failure
from renderer.notation.abc.information_fields import read_meter
from renderer.notation.kept_settings import setting_of
from renderer.notation.limits import FINEST_UNIT
from renderer.notation.midi.bytes import EXPORT_AGAIN, checked_bytes
from renderer.notation.midi.marks import BAR_MARK, NOTE_MARK, NoteMark, note_mark
from renderer.notation.score import Meter
from renderer.notation.source_file import Source, read_bytes

LARGEST_MIDI_BYTES = 600_000
MOST_MIDI_NOTES = 15_000
"""Two hours of crotchets at 120 a minute; more takes many seconds to read."""

MOST_VOICES = 500
"""Channels of tracks that have notes; every one is tried as the melody."""

MOST_QUARTERS = 100_000
PERCUSSION_CHANNEL = 9
_NO_TITLE = re.compile(
    r"(untitled|conductor|control|tempo|meter|master|track|midi)"
    r"([ _-]?(track|map|conductor|tempo))?([ _-]?\d+)?",
    re.IGNORECASE,
)
"""What programs call a first track that nobody has named."""

_USUAL_MICROSECONDS = 500_000
"""To a quarter where a file has no tempo (MIDI 1.0)."""


@dataclass(frozen=True, slots=True)
class Sounded:
    """A note of a MIDI file: its key, start and end in quarter notes."""

    key: int
    start: Fraction
    end: Fraction


@dataclass
class Voice:
    """The notes of one channel in one track by start, and its track's marks by place."""

    name: str
    notes: list[Sounded] = field(default_factory=list)
    marks: dict[Fraction, NoteMark] = field(default_factory=dict)


@dataclass(frozen=True)
class MidiContents:
    """What a file holds.

    Parameters
    ----------
    title:
        The first track's name where it is one for the whole; may be empty.
    tick:
        The length of a tick in quarter notes.
    voices:
        Without percussion.
    tempos:
        Places and microseconds to a quarter, by place; the first at 0.
    meters:
        Places and meters, by place; the first at 0.
    bars:
        Places and meters of the bars that files of our own mark, by place.
    markers:
        Places and texts.
    settings:
        What this program keeps in text events.
    end:
        Where the longest track ends.
    """

    title: str
    tick: Fraction
    voices: list[Voice]
    tempos: list[tuple[Fraction, Fraction]]
    meters: list[tuple[Fraction, Meter]]
    bars: list[tuple[Fraction, Meter]]
    markers: list[tuple[Fraction, str]]
    settings: dict[str, str]
    end: Fraction

    def seconds(self, place: Fraction) -> float:
        """The time of a place."""
        quarters = float(place)
        index = max(0, bisect_right(self._tempo_places, quarters) - 1)
        ahead = quarters - self._tempo_places[index]
        return self._tempo_seconds[index] + ahead * self._quarter_seconds[index]

    def __post_init__(self) -> None:
        # Plain numbers: every note of a file asks for its time several times over.
        places = [float(place) for place, _ in self.tempos]
        quarter_seconds = [float(microseconds) / 1e6 for _, microseconds in self.tempos]
        lengths = map(operator.sub, places[1:], places)
        seconds = [0.0, *accumulate(map(operator.mul, lengths, quarter_seconds))]
        object.__setattr__(self, "_tempo_places", places)
        object.__setattr__(self, "_quarter_seconds", quarter_seconds)
        object.__setattr__(self, "_tempo_seconds", seconds)

    _tempo_places: list[float] = field(init=False, repr=False)
    _quarter_seconds: list[float] = field(init=False, repr=False)
    _tempo_seconds: list[float] = field(init=False, repr=False)


def _load(source: Source) -> mido.MidiFile:
    data = checked_bytes(
        read_bytes(source, LARGEST_MIDI_BYTES, if_too_large="save the part on its own")
    )
    try:
        try:
            return mido.MidiFile(file=io.BytesIO(data), clip=True, charset="utf-8")
        except UnicodeDecodeError:
            return mido.MidiFile(file=io.BytesIO(data), clip=True, charset="latin-1")
    except (EOFError, OSError, ValueError, LookupError, TypeError) as error:
        # What the check lets pass and the library stumbles over all the same.
        cause = str(error)[:60] or type(error).__name__
        raise failure(f"it is a damaged MIDI file ({cause})", EXPORT_AGAIN) from None


def _meter(message: mido.MetaMessage) -> Meter | None:
    count, unit = message.numerator, message.denominator
    return Meter(count, unit) if 1 <= count <= 64 and 1 <= unit <= FINEST_UNIT else None


class _Collector:
    """Gathers the events of all tracks."""

    def __init__(self, ticks_per_quarter: int) -> None:
        self.tick = Fraction(1, ticks_per_quarter)
        self.tempos: dict[Fraction, Fraction] = {}
        self.meters: dict[Fraction, Meter] = {}
        self.bars: dict[Fraction, Meter] = {}
        self.markers: dict[Fraction, str] = {}
        self.settings: dict[str, str] = {}
        self.voices: list[Voice] = []
        self.end = Fraction(0)
        self._count = 0

    def track(self, track: mido.MidiTrack) -> None:
        tick, longest = 0, MOST_QUARTERS / self.tick
        voices: dict[int, Voice] = {}
        # mido searches the whole track for its name each time.
        name = track.name.strip()
        sounding: dict[tuple[int, int], int] = {}
        marks: dict[Fraction, NoteMark] = {}
        for message in track:
            tick += message.time
            if tick > longest:
                raise failure(f"it is longer than {MOST_QUARTERS} beats", "divide it")
            if message.is_meta:
                self._meta(message, tick * self.tick, marks)
            elif message.type in ("note_on", "note_off"):
                if message.channel == PERCUSSION_CHANNEL:
                    continue
                voice = voices.setdefault(message.channel, Voice(name, marks=marks))
                where = (message.channel, message.note)
                begun = sounding.pop(where, None)
                if begun is not None and tick > begun:
                    voice.notes.append(Sounded(message.note, begun * self.tick, tick * self.tick))
                if message.type == "note_on" and message.velocity:
                    sounding[where] = tick
        for (channel, key), begun in sounding.items():
            # Whoever stops recording while a note sounds leaves its end out.
            if tick > begun:
                end = tick * self.tick
                voices[channel].notes.append(Sounded(key, begun * self.tick, end))
        self.end = max(self.end, tick * self.tick)
        self._count += sum(len(voice.notes) for voice in voices.values())
        if self._count > MOST_MIDI_NOTES:
            raise failure(f"it has more than {MOST_MIDI_NOTES} notes", "divide it")
        self.voices += [voice for voice in voices.values() if voice.notes]
        if len(self.voices) > MOST_VOICES:
            raise failure(f"more than {MOST_VOICES} of its tracks have notes", "export one part")
        for voice in voices.values():
            voice.notes.sort(key=lambda note: (note.start, note.end))

    def _meta(
        self, message: mido.MetaMessage, place: Fraction, marks: dict[Fraction, NoteMark]
    ) -> None:
        match message.type:
            case "set_tempo" if message.tempo > 0:
                self.tempos[place] = Fraction(message.tempo)
            case "time_signature":
                meter = _meter(message)
                if meter is not None:
                    self.meters[place] = meter
            case "marker":
                self.markers[place] = message.text.strip()
            case "text":
                name, value = setting_of(message.text) or ("", "")
                if name == NOTE_MARK:
                    mark = note_mark(value)
                    if mark is not None:
                        marks[place] = mark
                elif name == BAR_MARK:
                    with contextlib.suppress(ValueError):
                        meter = read_meter(value)
                        if meter is not None:
                            self.bars[place] = meter
                elif name:
                    self.settings[name] = value
            case _:
                pass


def _title(file: mido.MidiFile, *, is_ours: bool) -> str:
    """The name of the whole, which is that of the first track, unless it only says what track."""
    if not file.tracks or file.type != 1:
        return ""
    name = file.tracks[0].name.strip()
    return name if is_ours or not _NO_TITLE.fullmatch(name) else ""


def read_contents(source: Source) -> MidiContents:
    """Return what a MIDI file holds.

    Raises `RungwiseError` for what is no MIDI file, is damaged, or is too large.
    """
    file = _load(source)
    collector = _Collector(file.ticks_per_beat)
    for track in file.tracks:
        collector.track(track)
    collector.tempos.setdefault(Fraction(0), Fraction(_USUAL_MICROSECONDS))
    collector.meters.setdefault(Fraction(0), Meter(4, 4))
    return MidiContents(
        title=_title(file, is_ours=bool(collector.settings)),
        tick=collector.tick,
        voices=collector.voices,
        tempos=sorted(collector.tempos.items()),
        meters=sorted(collector.meters.items(), key=lambda event: event[0]),
        bars=sorted(collector.bars.items(), key=lambda event: event[0]),
        markers=sorted(collector.markers.items()),
        settings=collector.settings,
        end=collector.end,
    )
