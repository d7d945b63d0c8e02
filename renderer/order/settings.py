"""The table of settings: one row each, and the values that a user's settings mean.

Each field of `Settings` is a row of the table. Its name is the keyword of the Python interface; the
option of the command line and the key of a pack are the name with hyphens. A row says

- its default, as a value;
- its `Kind` (`renderer.order.kinds`): how it is read, its bounds, how JSON has it;
- its help, one sentence or two;
- its verbs: which commands know it (`TRACKS` are all that make or describe tracks);
- `said`: what names of files say of it where it is not as usual, `{}` standing for its value. What
  every name says (pitch, mix, tempo, format) has `EVERY_NAME`; what changes no track, `NO_TRACK`;
- `own`: what an exercise itself asks for, where the default is to leave it so;
- `usual`: other defaults of single verbs.

To add a setting: add a row here, and use it where it acts, as `settings.NAME`: what is played in
`renderer.order.tracks.timeline_of` or `Settings.applied_to`, how a score is read in
`Settings.reading`. Options, keywords, JSON, names, digests and what is said of wrong values follow
from the row. Settings that exclude each other are named in `renderer.order.disagreements`. Rows
stand in the order in which names say them and help lists them.
"""
# ruff: noqa: RUF009 - each field's default is the row that is made of it

from __future__ import annotations

import datetime
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from difflib import get_close_matches
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from renderer.errors import Problem, RungwiseError, failure
from renderer.notation.length import Length
from renderer.notation.limits import (
    MOST_COUNT_IN_BARS,
    MOST_DAYS,
    MOST_GAP_BARS,
    MOST_LINES,
    MOST_MINUTES,
    MOST_PLAYINGS,
    MOST_REPEATS,
)
from renderer.notation.parts import Span, part_of, part_title
from renderer.notation.playing import Beat, Inner
from renderer.notation.score import Exercise, Ladder, Placement
from renderer.notation.written import ALL_TUNES, ReadAs, Reading, Recognise, Rests, Transposition
from renderer.order import kinds
from renderer.order.disagreements import disagreements, placed
from renderer.order.formats import AudioFormat
from renderer.order.kinds import Plain
from renderer.order.setting_row import (
    EVERY_NAME,
    NO_TRACK,
    PAGED,
    PLAYED,
    READ,
    SCORED,
    TRACKS,
    Setting,
)
from renderer.order.setting_row import SCORES_PANEL as _SCORES
from renderer.order.setting_row import SOUND_PANEL as _SOUND
from renderer.order.setting_row import row as _row
from renderer.order.web_addresses import LONGEST_LINK
from renderer.sound.frames import HIGHEST_RATE, LOWEST_RATE
from renderer.sound.midi_tuning import Tuning
from renderer.sound.mix_settings import Gracenotes, Layout, Levels, Mix, MixSettings, Room
from renderer.sound.own_soundfont import shipped_soundfont
from renderer.sound.tuning import Chanter, PitchStandard, Scale, parse_pitch, scale_named
from renderer.sound.voices import Voice, parse_preset
from renderer.timing.expand import CountInStyle, Introduction

_RENDER = frozenset({"render"})
_SHEET = frozenset({"sheet"})
_PLAN = frozenset({"plan"})
_PACK = frozenset({"pack"})
GIVEN = ("tracks", "sheet", "plan", "page")
"""What learners can get."""


def _own_inner(exercise: Exercise) -> Inner | None:
    return exercise.inner if all(line.inner is None for line in exercise.lines) else None


def _own_stages(exercise: Exercise) -> tuple[Inner, ...] | None:
    return (exercise.ladder.inner or None) if exercise.ladder is not None else None


def _own_beat(exercise: Exercise) -> Beat | None:
    return exercise.beat if all(line.beat is None for line in exercise.lines) else None


def _own_repeats(exercise: Exercise) -> int | None:
    return 1 if exercise.ladder is None else exercise.ladder.repeats


def _own_length(exercise: Exercise) -> Length | None:
    if any(line.gracenote is not None for line in exercise.lines):
        return None
    return exercise.gracenotes.length


def _own_placement(exercise: Exercise) -> Placement | None:
    if any(line.placement is not None for line in exercise.lines):
        return None
    return exercise.gracenotes.placement


def _count_in_words(settings: Settings) -> str:
    # Rolls are two however many bars are asked for.
    if settings.count_in and settings.count_in_style == "rolls":
        return ""
    return f"count-in {settings.count_in}" if settings.count_in else "no count-in"


_USUAL_LEVELS = Levels(chanter=0.0, drone=-9.0, metronome=-6.0, drum=-2.0)


def _level_words(settings: Settings) -> str:
    usual = asdict(_USUAL_LEVELS)
    levels = asdict(settings.levels)
    return ", ".join(f"{part} {db:g} dB" for part, db in levels.items() if db != usual[part])


def _voice_words(part: str, soundfont: Path | None, preset: str | None) -> str:
    name = "" if soundfont is None else f"{soundfont.stem} "
    return "" if preset is None else f"{part} {name}{preset.replace(':', '-')}"


@dataclass(frozen=True, slots=True)
class Settings:
    """What a user's settings mean; each field is a row of the table (see the head of this module).

    Values are those that `read_settings` gives: checked, each by itself and with each other.
    """

    line: int | None = _row(
        None,
        kinds.whole(1, MOST_LINES, 1),
        "Only this line, from 1.",
        READ,
        "",  # its title says it
        usual={"fingering": 1},
    )
    lines: tuple[int, ...] | None = _row(
        None,
        kinds.line_numbers(),
        "Only these lines, as 2,5-7.",
        PLAYED,
        "",  # its title says it
    )
    bars: Span | None = _row(
        None,
        kinds.bar_span(),
        "Only these bars of each line, as 3-4; by the score's own numbers where it has some, else "
        "counted from the first whole bar, so that a pickup is bar 0. Each is played once, without "
        "repeats.",
        PLAYED,
        "",  # its title says it
    )
    lead_in: bool = _row(
        False,
        kinds.switch(),
        "Begin each line, or its bars, with the note before it, after a rest that fills its bar.",
        PLAYED,
        "led in by the note before",
    )
    tempo: Fraction | None = _row(
        None,
        kinds.tempo(),
        "One tempo, in beats per minute; the exercise's own if left out.",
        PLAYED | PAGED,
        EVERY_NAME,
    )
    ladder: Ladder | None = _row(
        None,
        kinds.ladder(),
        "Several tempos: from:to:step as 50:80:10, a list as 50,60,75, or per cent of the "
        "exercise's tempo as 60%:100%:10%. Left out, the exercise's own ladder.",
        PLAYED | PAGED,
        EVERY_NAME,
    )
    climb: Ladder | None = _row(
        None,
        kinds.ladder(),
        "One track that climbs: these tempos one after the other, as 50:88:2, on each of them each "
        "line so often as --repeats says, with --gap bars of clicks between.",
        PLAYED,
        EVERY_NAME,
    )
    each_line: bool = _row(
        False,
        kinds.switch(),
        "A track of its own for each line, named by its number on the sheet and its heading.",
        TRACKS,
        EVERY_NAME,
    )
    pitch: tuple[PitchStandard, ...] = _row(
        (parse_pitch("A"),),
        kinds.pitches(),
        "A (440 Hz), 'B flat' (466.16 Hz), low A in hertz as players say it (478), or a chanter "
        "file with nine measured pitches (chanter.toml). May be given several times.",
        PLAYED | PAGED | {"audition"},
        EVERY_NAME,
        usual={"audition": (parse_pitch("B flat"),)},
        panel=_SOUND,
    )
    mix: tuple[Mix, ...] = _row(
        (Mix.FULL,),
        kinds.several(kinds.one_of("mix", Mix)),
        "full (all), backing (no chanter), chanter (alone) or echo (each line played, then left "
        "free for the learner). May be given several times.",
        PLAYED,
        EVERY_NAME,
    )
    format: tuple[AudioFormat, ...] = _row(
        (AudioFormat.MP3,),
        kinds.several(kinds.audio_format()),
        "mp3, m4a, opus, ogg, flac or wav. May be given several times.",
        _RENDER,
        EVERY_NAME,
    )
    share: bool = _row(
        False,
        kinds.switch(),
        "Make small files to send: MP3 in mono at 64 kbit/s, half a megabyte a minute.",
        _RENDER,
        "small file",
    )
    chanter: Chanter = _row(
        Chanter.PRACTICE,
        kinds.chanter(),
        "practice (sounds an octave lower) or pipe.",
        PLAYED | PAGED,
        "{} chanter",
        panel=_SOUND,
    )
    scale: Scale = _row(
        scale_named(),
        kinds.scale(),
        "harmonic, MacNeill or equal.",
        PLAYED | PAGED | {"audition"},
        lambda settings: settings.scale.name,
        panel=_SOUND,
    )
    soundfont: Path | None = _row(
        None,
        kinds.path(),
        "A SoundFont of your own (SF2 or SF3) for the chanter.",
        TRACKS | PAGED | {"audition"},
        "",  # said with the preset, which it must have
        panel=_SOUND,
    )
    preset: str | None = _row(
        None,
        kinds.preset(),
        "Its preset, as BANK:PROGRAM, such as 0:109.",
        TRACKS | PAGED | {"audition"},
        lambda settings: _voice_words("chanter", settings.soundfont, settings.preset),
        panel=_SOUND,
    )
    drone_soundfont: Path | None = _row(
        None,
        kinds.path(),
        "A SoundFont of your own for the drones.",
        TRACKS | PAGED | {"audition"},
        "",
        panel=_SOUND,
    )
    drone_preset: str | None = _row(
        None,
        kinds.preset(),
        "Its preset, as BANK:PROGRAM.",
        TRACKS | PAGED | {"audition"},
        lambda settings: _voice_words("drones", settings.drone_soundfont, settings.drone_preset),
        panel=_SOUND,
    )
    drone: bool = _row(
        True,
        kinds.switch(),
        "Whether drones sound.",
        PLAYED | PAGED,
        "no drone",
        panel=_SOUND,
    )
    metronome: bool = _row(
        True,
        kinds.switch(),
        "Whether the metronome goes on through the lines.",
        PLAYED | PAGED,
        "no metronome",
        panel=_SOUND,
    )
    subdivide: bool = _row(
        False,
        kinds.switch(),
        "Let the metronome mark halves or thirds as well.",
        PLAYED | PAGED,
        "subdivided",
    )
    count_in: int = _row(
        1,
        kinds.whole(0, MOST_COUNT_IN_BARS, 2),
        "Bars of count-in.",
        PLAYED | PAGED,
        _count_in_words,
        usual={"convert": 0},
    )
    count_in_style: CountInStyle = _row(
        "clicks",
        kinds.one_of("count-in style", ("clicks", "rolls")),
        "clicks, or rolls as pipe bands start.",
        PLAYED | PAGED,
        lambda settings: settings.count_in_style if settings.count_in else "",
    )
    introduction: Introduction = _row(
        "none",
        kinds.one_of("introduction", ("none", "E")),
        "none, or E: the chanter sounds E for the beat before the tune, as bands begin.",
        TRACKS | PAGED,
        lambda settings: f"introductory {settings.introduction}" if settings.count_in else "",
    )
    gap: int = _row(
        1,
        kinds.whole(0, MOST_GAP_BARS, 1),
        "Bars of clicks between lines; of tunes with repeats and of medleys, between tunes.",
        PLAYED,
        "gap {}",
        usual={"convert": 0},
    )
    repeats: int | None = _row(
        None,
        kinds.whole(1, MOST_REPEATS, 4),
        "How often each line is played on each rung; as the ladder says if left out.",
        PLAYED,
        lambda settings: "once each" if settings.repeats == 1 else f"{settings.repeats} times each",
        own=_own_repeats,
        usual={"convert": 1},
    )
    gracenote: Length | None = _row(
        None,
        kinds.gracenote_length(),
        "Length of the gracenotes, such as '45 ms'; the exercise's own if left out.",
        PLAYED | PAGED,
        "gracenotes {}",
        own=_own_length,
    )
    placement: Placement | None = _row(
        None,
        kinds.one_of("placement", ("on the beat", "before the beat")),
        "'on the beat' or 'before the beat': whether gracenotes take their time from the note that "
        "they lead or from what sounds before; the exercise's own if left out.",
        PLAYED | PAGED,
        "{}",
        own=_own_placement,
    )
    gracenotes: Gracenotes = _row(
        "fingered",
        kinds.one_of("way for gracenotes to sound", ("fingered", "pure")),
        "fingered (each with the pitch and tone of its own fingering) or pure (as the nine notes "
        "sound).",
        TRACKS | PAGED,
        "{} gracenotes",
        panel=_SOUND,
    )
    steady: bool = _row(
        False,
        kinds.switch(),
        "Leave out breath, wandering pitch and drones striking in: for tuning by the track.",
        TRACKS | PAGED | {"audition"},
        "steady",
        panel=_SOUND,
    )
    inner: Inner | None = _row(
        None,
        kinds.inner(),
        "How long each inner note of every movement lasts: '50 ms' closes movements, '1/2 beat' or "
        "'even' opens them, 'book' is what the ornament book says; one for each part with commas "
        "between; the exercise's own if left out.",
        PLAYED | PAGED,
        "inner notes {}",
        own=_own_inner,
    )
    open_to_close: tuple[Inner, ...] | None = _row(
        None,
        kinds.stages(),
        "Movements from opened to closed within a track: lengths of inner notes one after the "
        "other, as 'even : 1/4 beat : 120 ms : 80 ms', each for so many rounds as --repeats says; "
        "in a track that climbs, spread over its rungs; as the exercise's ladder says if left out.",
        PLAYED,
        lambda settings: f"inner notes {stages_in_words(settings.open_to_close or ())}",
        own=_own_stages,
    )
    beat: Beat | None = _row(
        None,
        kinds.slot_on_the_beat(),
        "The part of every movement that begins on the beat: 'first', 'last' (the melody note) or "
        "its number; as the exercise or the ornament book says if left out.",
        PLAYED | PAGED,
        "{} on the beat",
        own=_own_beat,
    )
    show_crossing: bool = _row(
        False,
        kinds.switch(),
        "Play each line clean, then with every crossing noise that lurks in it.",
        PLAYED | PAGED,
        "crossing noises",
    )
    layout: Layout = _row(
        Layout.STEREO,
        kinds.one_of("layout", Layout),
        "stereo, mono, or split (chanter left, drone and metronome right).",
        TRACKS,
        "{}",
        panel=_SOUND,
    )
    room: Room = _row(
        "none",
        kinds.one_of("room", ("none", "small", "hall")),
        "Where the track is heard: none, for tuning by it, or a small room or a hall, which go on "
        "sounding after the music for 0.3 or 1.5 s.",
        TRACKS,
        lambda settings: "hall" if settings.room == "hall" else f"{settings.room} room",
        panel=_SOUND,
    )
    levels: Levels = _row(
        _USUAL_LEVELS,
        kinds.levels(_USUAL_LEVELS),
        "Levels in dB, as chanter=0,drone=-9,metronome=-6,drum=-2.",
        TRACKS | PAGED,
        _level_words,
        panel=_SOUND,
    )
    rate: int = _row(
        44_100,
        kinds.whole(LOWEST_RATE, HIGHEST_RATE, 48_000),
        "Frames per second of the files.",
        TRACKS | {"audition"},
        "{} Hz",
        panel=_SOUND,
    )
    part: str | None = _row(
        None,
        kinds.text(),
        "The part or track, by name or number from 1.",
        SCORED,
        "part {}",
        panel=_SCORES,
    )
    tune: str | None = _row(
        None,
        kinds.text(),
        "ABC: the tune, by its X: number or title; all for every tune of the file.",
        SCORED,
        lambda settings: "" if settings.tune == ALL_TUNES else f"tune {settings.tune}",
        panel=_SCORES,
    )
    transpose: Transposition = _row(
        0,
        kinds.transposition(),
        "Semitones, or auto for the nearest that fits the nine notes.",
        SCORED,
        lambda settings: f"transposed {settings.transpose}",
        panel=_SCORES,
    )
    read_as: ReadAs = _row(
        "written",
        kinds.one_of("way to read letters", ("written", "chanter")),
        "Letters sound as key and accidentals say (written) or as the chanter plays them, C and F "
        "sharp and all others natural (chanter).",
        SCORED,
        "letters as on the chanter",
        panel=_SCORES,
    )
    rests: Rests = _row(
        "silence",
        kinds.one_of("way to play rests", ("silence", "hold")),
        "At a rest, silence stops the chanter, hold holds the note before.",
        SCORED,
        lambda settings: "rests held",
        panel=_SCORES,
    )
    no_repeats: bool = _row(
        False,
        kinds.switch(),
        "Read repeats and endings once instead of playing them out.",
        SCORED,
        "no repeats",
        panel=_SCORES,
    )
    gracenote_under: Length | None = _row(
        None,
        kinds.milliseconds("80 ms"),
        "MIDI: notes shorter than this before longer ones are gracenotes; by the gap between short "
        "and long notes of the file if left out.",
        SCORED,
        "gracenotes under {}",
        panel=_SCORES,
    )
    recognise: Recognise = _row(
        "stated",
        kinds.one_of("way to recognise opened movements", ("stated", "opened")),
        "Which notes are a movement opened out: those of which the file says so (stated), or, "
        "where it says nothing, also all that spell one (opened).",
        SCORED,
        "movements recognised",
        panel=_SCORES,
    )
    ornaments: str = _row(
        "as written",
        kinds.one_of("form of ornaments", ("as written", "open", "closed", "both")),
        "Ornaments opened out into notes, closed as gracenote groups, as written, or (on sheets) "
        "both, one under the other.",
        _SHEET | {"convert"},
        NO_TRACK,
    )
    tuning: Tuning = _row(
        "bend",
        kinds.one_of("way to tune a MIDI file", ("mts", "bend", "none")),
        "MIDI out: tuning messages, pitch bend, or neither.",
        frozenset({"convert"}),
        NO_TRACK,
    )
    fingering: bool = _row(
        False, kinds.switch(), "Print the finger changes under each line.", _SHEET, NO_TRACK
    )
    explain: bool = _row(
        False,
        kinds.switch(),
        "A strip at the end that explains each movement once: opened, closed, and what each finger "
        "does.",
        _SHEET,
        NO_TRACK,
    )
    advice: str = _row(
        "first",
        kinds.one_of("amount of advice", ("all", "first", "none")),
        "What to watch, under each line: where it first occurs (first), also `As line 2` where it "
        "holds again (all), or none.",
        _SHEET,
        NO_TRACK,
    )
    marks: str = _row(
        "first",
        kinds.one_of("amount of marks", ("all", "first", "none")),
        "Marks over the notes for the hand that moves first: where a crossing noise first occurs "
        "(first), everywhere (all), or none.",
        _SHEET,
        NO_TRACK,
    )
    counting: str | None = _row(
        None,
        kinds.one_of("way to show beats", ("ruler", "numbers", "none")),
        "The beats under the staves: a ruler with their parts, numbers, or none. Left out: numbers "
        "for beginners and children, a ruler under opened movements.",
        _SHEET,
        NO_TRACK,
    )
    size: str | None = _row(
        None,
        kinds.one_of("print size", ("compact", "normal", "large", "children")),
        "normal, compact for whole books, large, which can be read from two metres away, or "
        "children: a staff of 12 mm, two bars a row and the names of the notes. Left out: normal, "
        "and larger where a page has room for it.",
        _SHEET,
        NO_TRACK,
    )
    paper: str = _row(
        "a4", kinds.one_of("paper", ("a4", "letter")), "The paper.", _SHEET | _PLAN, NO_TRACK
    )
    landscape: bool = _row(False, kinds.switch(), "Print across the page.", _SHEET, NO_TRACK)
    booklet: str | None = _row(
        None,
        kinds.text(),
        "The title of a booklet with cover and contents. Several exercises always make one.",
        _SHEET,
        NO_TRACK,
    )
    audience: str = _row(
        "",
        kinds.text(),
        "The class or band on the booklet's cover.",
        _SHEET,
        NO_TRACK,
        option="--for",
    )
    link: str = _row(
        "",
        kinds.text(
            f"at most {LONGEST_LINK} bytes",
            most_bytes=LONGEST_LINK,
            cause=f"a QR code that a phone reads from paper holds at most {LONGEST_LINK}",
        ),
        "A web address, printed as a QR code, where the tracks are. With {exercise} or {line} in "
        "it each exercise or line has its own: https://example.org/{exercise}/{line}.",
        _SHEET,
        NO_TRACK,
    )
    imposition: str = _row(
        "single",
        kinds.one_of("imposition", ("single", "pairs", "folded", "cards")),
        "How pages come onto paper: each on its own sheet (single), two of half the size beside "
        "each other (pairs), the same in the order for folding (folded), or a line a card to cut "
        "out (cards).",
        _SHEET,
        NO_TRACK,
    )
    date: datetime.date | None = _row(
        None, kinds.day(), "A date for the foot of the pages; none if left out.", _SHEET, NO_TRACK
    )
    minutes: int = _row(
        20,
        kinds.whole(1, MOST_MINUTES, 20),
        "Minutes a day, rests included.",
        _PLAN | PAGED,
        NO_TRACK,
    )
    days: int = _row(14, kinds.whole(1, MOST_DAYS, 14), "How many days.", _PLAN | PAGED, NO_TRACK)
    playings: int | None = _row(
        None,
        kinds.whole(1, MOST_PLAYINGS, 12),
        "How often each line is played at least in all; as often as there is time if left out.",
        _PLAN | PAGED,
        NO_TRACK,
    )
    learner: str = _row(
        "",
        kinds.text(),
        "The learner's name at the head of the page.",
        _PLAN,
        NO_TRACK,
        is_packed=False,  # a pack names its learners, each with a folder
    )
    start: datetime.date | None = _row(
        None, kinds.day(), "The first day; tomorrow if left out.", _PLAN, NO_TRACK
    )
    at: datetime.time = _row(
        datetime.time(18), kinds.time_of_day(), "When practice begins.", _PLAN, NO_TRACK
    )
    gets: tuple[str, ...] = _row(
        ("tracks", "sheet", "plan"),
        kinds.several(kinds.one_of("thing to give", GIVEN)),
        "What each learner of a pack gets: tracks, sheet, plan, page (for a browser). "
        "May be given several times.",
        _PACK,
        NO_TRACK,
    )
    zip: bool = _row(
        False, kinds.switch(), "Make one file to send of each learner's folder.", _PACK, NO_TRACK
    )
    max_size: int | None = _row(
        None,
        kinds.file_size(),
        "The largest that a file to send may be, such as '16 MB': a folder that is larger is sent "
        "in parts, and tracks that are have so many lines each as fit.",
        _PACK,
        NO_TRACK,
    )

    def of(self, name: str) -> Any:
        """Return the value of the setting of that name."""
        return getattr(self, name)

    def changed(self, **changes: Any) -> Settings:
        """Return these settings with others instead, read as users give them."""
        given = {row.name: getattr(self, row.name) for row in SETTINGS}
        return read_settings(given | changes)

    @property
    def voice(self) -> Voice | None:
        """The chanter's preset where it is not the project's own."""
        return _voice(self.soundfont, self.preset)

    @property
    def drone_voice(self) -> Voice | None:
        """The drones' preset where it is not the project's own."""
        return _voice(self.drone_soundfont, self.drone_preset)

    @property
    def reading(self) -> Reading:
        """How scores are read."""
        under = self.gracenote_under
        return Reading(
            part=self.part if self.tune in (None, ALL_TUNES) else self.tune,
            transpose=self.transpose,
            read_as=self.read_as,
            rests=self.rests,
            play_repeats=not self.no_repeats,
            gracenote_under_ms=None if under is None else float(under.value),
            recognise=self.recognise,
        )

    def chosen(self, exercise: Exercise) -> Exercise:
        """Return an exercise, or the lines and bars of it that are asked for.

        Raises a `RungwiseError` if it lacks them.
        """
        if self.lines is None and self.bars is None and not self.lead_in:
            return exercise if self.line is None else _only_line(exercise, self.line)
        lines = (self.line,) if self.line is not None else self.lines or ()
        return part_of(exercise, lines, self.bars, led_in=self.lead_in)

    @property
    def heard_layout(self) -> Layout:
        """Where the parts are heard: small files have one channel."""
        return Layout.MONO if self.share else self.layout

    @property
    def mixing(self) -> MixSettings:
        """How the first of its mixes is mixed."""
        return MixSettings(
            mix=self.mix[0],
            drone=self.drone,
            metronome=self.metronome,
            levels=self.levels,
            layout=self.heard_layout,
            pure_gracenotes=self.gracenotes == "pure",
            room=self.room,
        )

    def pitches_of(self, exercise: Exercise) -> tuple[PitchStandard, ...]:
        """Return the pitches that an exercise is played at: its own chanter's unless others are
        asked for.

        Raises a `RungwiseError` for a chanter that is none.
        """
        if not exercise.own_chanter or self.pitch != BY_NAME["pitch"].default:
            return self.pitch
        return (own_pitch(exercise.own_chanter, exercise.source),)

    def applied_to(self, exercise: Exercise) -> Exercise:
        """Return an exercise with what is played as these settings have it.

        That is its gracenotes, inner notes and slots on the beat; tempos and repeats are those of
        tracks, and which lines there are is a matter of reading (`chosen`).
        """
        # Whatever a command does with it, a chanter that is none is said.
        self.pitches_of(exercise)
        gracenotes = exercise.gracenotes
        lines = exercise.lines
        if self.gracenote is not None:
            gracenotes = replace(gracenotes, length=self.gracenote)
            lines = tuple(replace(line, gracenote=None) for line in lines)
        if self.placement is not None:
            gracenotes = replace(gracenotes, placement=self.placement)
            lines = tuple(replace(line, placement=None) for line in lines)
        exercise = replace(exercise, gracenotes=gracenotes)
        if self.inner is not None:
            lines = tuple(replace(line, inner=None) for line in lines)
            exercise = replace(exercise, inner=self.inner)
        if self.beat is not None:
            lines = tuple(replace(line, beat=None) for line in lines)
            exercise = replace(exercise, beat=self.beat)
        return replace(exercise, lines=lines)

    def timed(self, exercise: Exercise) -> Exercise:
        """Return an exercise with the tempo and the ladder asked for, as scores hold them."""
        ladder = exercise.ladder
        if self.ladder is not None:
            own = Ladder(()) if ladder is None else ladder
            ladder = replace(self.ladder, repeats=own.repeats, inner=own.inner)
        if self.open_to_close is not None:
            one = Ladder((exercise.tempo if self.tempo is None else self.tempo,))
            ladder = replace(one if ladder is None else ladder, inner=self.open_to_close)
        tempo = exercise.tempo if self.tempo is None else self.tempo
        return replace(exercise, tempo=tempo, ladder=ladder)

    def parts_of(self, exercise: Exercise) -> tuple[Exercise, ...]:
        """Return what of an exercise is played in tracks of its own: all of it, or each line."""
        is_one_line = len(exercise.lines) == 1 and exercise.whole_title
        if not self.each_line or is_one_line:
            return (exercise,)
        whole = exercise.whole_title or exercise.title
        lines = (exercise.only(number) for number in range(1, len(exercise.lines) + 1))
        return tuple(
            replace(
                line,
                title=part_title(whole, (line.number_of(0),), self.bars),
                whole_title=whole,
            )
            for line in lines
        )

    def stages_of(self, exercise: Exercise) -> tuple[Inner, ...]:
        """Return how movements of an exercise go from opened to closed; empty where they do not."""
        if self.open_to_close is not None or self.inner is not None:
            return self.open_to_close or ()
        return () if exercise.ladder is None else exercise.ladder.inner

    def repeats_of(self, exercise: Exercise) -> int:
        """Return how often each line of an exercise is played."""
        if self.repeats is not None:
            return self.repeats
        return 1 if exercise.ladder is None else exercise.ladder.repeats

    def ladder_of(self, exercise: Exercise) -> Ladder | None:
        """Return the ladder that an exercise is played on, with its repeats; None for one tempo."""
        repeats = self.repeats_of(exercise)
        if self.tempo is not None:
            return Ladder((self.tempo,), repeats=repeats)
        if self.climb is not None:
            return replace(self.climb, repeats=repeats)
        ladder = exercise.ladder if self.ladder is None else self.ladder
        return None if ladder is None else replace(ladder, repeats=repeats)

    def takes_of(self, exercise: Exercise) -> tuple[Fraction | None, ...]:
        """Return the tempo of each track of an exercise, in practice order; None where it climbs.

        Raises a `RungwiseError` if one is out of range.
        """
        tempos = self.tempos_of(exercise)
        return tempos if self.climb is None else (None,)

    def tempos_of(self, exercise: Exercise) -> tuple[Fraction, ...]:
        """Return the rungs that an exercise is played on, in beats a minute, in practice order.

        Raises a `RungwiseError` if one is out of range.
        """
        ladder = self.ladder_of(exercise)
        if ladder is None:
            return (exercise.tempo,)
        share = exercise.tempo / 100 if ladder.percent else 1
        return tuple(_A_TEMPO.read(rung * share) for rung in ladder.tempos)

    def tempo_of(self, exercise: Exercise) -> Fraction:
        """Return the one tempo that is asked for; the exercise's own where none is.

        Raises a `RungwiseError` where a ladder asks for several.
        """
        if self.tempo is None and self.ladder is None:
            return exercise.tempo
        tempos = self.tempos_of(exercise)
        if len(tempos) > 1:
            raise failure(
                f"a ladder of {len(tempos)} rungs is asked for, and this is about one track",
                "give one of them as --tempo",
                place="ladder",
            )
        return tempos[0]


_A_TEMPO = kinds.tempo()


def stages_in_words(stages: Sequence[Inner]) -> str:
    """Return how inner notes go from opened to closed: `even, then 1/4 beat, then 80 ms`."""
    return ", then ".join(map(str, stages))


def closing_words(exercise: Exercise, settings: Settings) -> str:
    """Return how movements go from opened to closed in a track, in words; nothing if they do not.

    Sheets and plans say it.
    """
    stages = settings.stages_of(exercise)
    if not stages:
        return ""
    return f"Movements close within each track: inner notes {stages_in_words(stages)}"


def _only_line(exercise: Exercise, number: int) -> Exercise:
    count = len(exercise.lines)
    if exercise.first_number == number and count == 1:
        return exercise
    if number > count:
        name = Path(exercise.source).name or exercise.title
        remedy = f"choose one from 1 to {count}" if count > 1 else "it has only one line"
        raise failure(f"{name} has no line {number}", remedy, place="line")
    return exercise.only(number)


def _voice(soundfont: Path | None, preset: str | None) -> Voice | None:
    if preset is None:
        return None
    bank, program = parse_preset(preset)
    return Voice(soundfont or shipped_soundfont(), bank, program)


@cache
def own_pitch(chanter: str, file: str) -> PitchStandard:
    """Return the pitch of a definition's own chanter, `Exercise.own_chanter`, read from a file."""
    return kinds.chanter_of(json.loads(chanter), file=file, place="chanter")


SETTINGS: tuple[Setting, ...] = tuple(
    replace(one.metadata["setting"], name=one.name) for one in fields(Settings)
)
"""The table's rows."""

BY_NAME = {row.name: row for row in SETTINGS}


@cache
def usual_settings(verb: str = "render") -> Settings:
    """Return the settings of a verb where nothing is given."""
    return replace(Settings(), **{r.name: r.usual[verb] for r in SETTINGS if verb in r.usual})


def known_to(verb: str) -> tuple[Setting, ...]:
    """Return the rows that a verb knows."""
    return tuple(row for row in SETTINGS if verb in row.verbs)


def read_settings(
    given: Mapping[str, object],
    *,
    verb: str = "render",
    called: Callable[[Setting], str] = lambda row: row.name,
) -> Settings:
    """Return what settings mean, as a user gives them.

    Parameters
    ----------
    given:
        Values by the settings' names, as texts, plain data or values; None stands for the default.
    verb:
        Whose defaults hold.
    called:
        What the user knows a setting by, for messages.

    Raises
    ------
    RungwiseError
        With every problem that they have, each placed at its setting.
    """
    problems: list[Problem] = []
    values: dict[str, Any] = {}
    for name, value in given.items():
        if name not in BY_NAME:
            close = next(iter(get_close_matches(name, BY_NAME, n=1)), None)
            names = ", ".join(called(row) for row in SETTINGS)
            problems.append(
                Problem(
                    f"there is no setting {name!r}",
                    f"did you mean {called(BY_NAME[close])}?" if close else f"choose from {names}",
                )
            )
        elif value is not None:
            try:
                values[name] = BY_NAME[name].kind.read(value)
            except kinds.SeveralInOneError as error:
                remedy = _one_by_one(called(BY_NAME[name]), error.parts)
                problems += [replace(one, remedy=remedy, place=name) for one in error.problems]
            except RungwiseError as error:
                problems += placed(error, name)
    settings = replace(usual_settings(verb), **values)
    wrong = {problem.place for problem in problems}
    problems += [one for one in disagreements(settings) if one.place not in wrong]
    if problems:
        order = [row.name for row in SETTINGS]
        problems.sort(key=lambda one: order.index(one.place) if one.place in order else -1)
        raise RungwiseError(
            replace(one, place=called(BY_NAME[one.place])) if one.place in BY_NAME else one
            for one in problems
        )
    return settings


def _one_by_one(called: str, parts: Sequence[str]) -> str:
    """How several values are given, by what the user knows the setting by."""
    if not called.startswith("-"):
        return f"write them as a list: {list(parts)}"
    times = {2: "twice"}.get(len(parts), f"{len(parts)} times")
    words = (f'"{part}"' if " " in part else part for part in parts)
    options = " ".join(f"{called} {word}" for word in words)
    return f"give {called} {times}: {options}"


def plain_settings(settings: Settings) -> dict[str, Plain]:
    """Return settings as JSON has them: those that are not as usual, by their keys."""
    return {
        row.key: row.kind.plain(value)
        for row in SETTINGS
        if (value := getattr(settings, row.name)) != row.default
    }


def every_plain(settings: Settings, verb: str) -> dict[str, Plain]:
    """Return all settings that a verb knows as JSON has them, usual or not, by their keys."""
    return {
        row.key: None if (value := getattr(settings, row.name)) is None else row.kind.plain(value)
        for row in known_to(verb)
    }


def settings_from_plain(plain: Mapping[str, object]) -> Settings:
    """Return the settings that `plain_settings` has written.

    Raises a `RungwiseError` for keys and values that are none.
    """
    names = {row.key: row.name for row in SETTINGS}
    given = {names.get(key, key): value for key, value in plain.items()}
    return read_settings(given, called=lambda row: row.key)


def track_words(settings: Settings) -> str:
    """Return how tracks sound that go with a page, where that is not as usual; else nothing.

    What the page shows otherwise is left out: which music it is, how fast, how often, and what the
    exercise itself may ask for.
    """
    default = usual_settings()
    words = []
    if settings.pitch != default.pitch:
        words.append(" and ".join(pitch.label for pitch in settings.pitch))
    if settings.mix != default.mix:
        words.append(" and ".join(settings.mix))
    for row in SETTINGS:
        is_shown = row.own is not None or row.verbs >= READ or row.said in (EVERY_NAME, NO_TRACK)
        if not is_shown and getattr(settings, row.name) != row.default:
            words.append(row.words(settings))
    return ", ".join(filter(None, words))


def unusual(exercise: Exercise, settings: Settings) -> tuple[str, ...]:
    """Return what is not as usual, such as `pipe chanter` and `no metronome`, in few words.

    Names and albums carry it, so that a track without metronome or at the pipe chanter neither
    replaces its sister nor looks like it. What every name says is left out.

    Parameters
    ----------
    exercise:
        As it was read, its gracenotes and repeats its own.
    settings:
        What was asked for.
    """
    found = []
    for row in SETTINGS:
        value = getattr(settings, row.name)
        if value == row.default or row.said in (EVERY_NAME, NO_TRACK):
            continue
        if row.own is not None and value == row.own(exercise):
            continue
        found.append(row.words(settings).replace("/", "-"))
    return tuple(filter(None, found))
