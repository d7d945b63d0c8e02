"""MusicXML, checked by others: the W3C's schema, music21 and Verovio read what is written."""

from __future__ import annotations

import functools
import re
import zipfile
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import musicxml
import pytest
import verovio
import xmlschema
from hypothesis import given

from renderer.errors import RungwiseError
from renderer.notation.abc.reader import read_abc_line
from renderer.notation.compare import differences
from renderer.notation.length import Length
from renderer.notation.musicxml.file import packed
from renderer.notation.musicxml.reader import read_musicxml
from renderer.notation.musicxml.writer import Instrument, write_musicxml
from renderer.notation.pitch import Note
from renderer.notation.playing import Inner
from renderer.notation.printed import Opened, printed_line
from renderer.notation.score import Exercise, Line, MelodyNote, Meter, Slot, note_id
from renderer.notation.signs import Signs
from renderer.notation.written import Reading
from tests.notation.playing_out import played_lines
from tests.notation.strategies import written_exercises
from tests.sampling import examples

FINE = Signs(fine=True)

THREE = Meter(3, 4)
OPENED: list[Opened] = ["closed", "open", "as written"]


def _exercise(**settings: Any) -> Exercise:
    lines = (
        Line(
            read_abc_line("B2 | {g}A2 {d}A2 G2 | {gBd}B4 {gcd}c2 | A>B (3efg f2- | f4", THREE),
            "One",
        ),
        Line(read_abc_line("[M:6/8]{gde}d2e A3 | z3 {GdG}a3 | B15/8z33/8 |", None), "Two & <two>"),
    )
    return Exercise("Test", lines, **settings)


@functools.cache
def _schema() -> xmlschema.XMLSchema:
    """The W3C's musicxml.xsd 4.0 as the PyPI package `musicxml` carries it."""
    folder = Path(musicxml.__file__).parent / "generate_classes"
    return xmlschema.XMLSchema(str(folder / "musicxml_4_0.xsd"), allow="local")


def _root(data: bytes) -> ElementTree.Element:
    return ElementTree.fromstring(data)


def _read(tmp_path: Path, data: bytes | str, reading: Reading | None = None) -> Exercise:
    path = tmp_path / "score.musicxml"
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return read_musicxml(path) if reading is None else read_musicxml(path, reading)


@examples(15)
@given(written_exercises())
def test_every_score_is_valid_against_the_w3c_schema(exercise: Exercise) -> None:
    for opened in OPENED:
        try:
            data = write_musicxml(exercise, opened=opened, instrument=Instrument("Chanter", -11))
        except RungwiseError:
            continue  # An opened ornament need not fit into a short note.
        errors = [error.reason for error in _schema().iter_errors(data.decode())]
        assert errors == []


def test_the_schema_refuses_a_score_that_is_wrong() -> None:
    """So that the test above can fail."""
    data = write_musicxml(_exercise()).replace(b"<voice>1</voice>", b"<voix>1</voix>")
    assert not _schema().is_valid(data.decode())


def test_gracenotes_stem_up_in_groups_with_three_beams_and_melody_notes_stem_down() -> None:
    """Common practice of pipe notation."""
    root = _root(write_musicxml(_exercise()))
    group_beams: list[str] = []
    for note in root.iter("note"):
        if note.find("rest") is not None:
            continue
        if note.find("grace") is None:
            assert note.findtext("stem") == "down"
            continue
        assert note.findtext("stem") == "up"
        assert note.findtext("type") == "32nd"
        beams = [beam.text for beam in note.iterfind("beam")]
        assert len(beams) in (0, 3)
        assert len(set(beams)) <= 1
        group_beams.append(beams[0] or "" if beams else "single")
    text = " ".join(group_beams)
    assert text.count("single") == 2
    assert re.sub("begin (continue )*end|single", "", text).strip() == ""
    assert text.count("begin") == 4


def test_two_sharps_hold_and_none_is_printed() -> None:
    root = _root(write_musicxml(_exercise()))
    key = root.find("part/measure/attributes/key")
    assert key is not None
    assert (key.findtext("fifths"), key.get("print-object")) == ("2", "no")
    altered = {p.findtext("step") for p in root.iter("pitch") if p.findtext("alter") == "1"}
    assert altered == {"C", "F"}
    assert root.find(".//accidental") is None


def test_every_written_note_has_the_name_that_its_event_has() -> None:
    exercise = _exercise()
    root = _root(write_musicxml(exercise))
    found = [note.get("id", "") for note in root.iter("note")]
    assert len(found) == len(set(found))
    wanted = set()
    for number, line in enumerate(exercise.lines, start=1):
        for bar_number, bar in enumerate(line.bars, start=1):
            for item_number, item in enumerate(bar.items, start=1):
                slots = item.slots if isinstance(item, MelodyNote) else (None,)
                for slot_number, slot in enumerate(slots, start=1):
                    place = (number, bar_number, item_number, slot_number)
                    wanted.add(note_id(*place))
                    if slot is not None and slot.gracenote is not None:
                        wanted.add(note_id(*place, gracenote=True))
    assert {name for name in found if "-T" not in name} == wanted


def test_each_line_begins_a_system_with_its_heading_and_ends_with_a_double_bar() -> None:
    measures = _root(write_musicxml(_exercise())).findall("part/measure")
    begins = [m for m in measures if m.find("print[@new-system='yes']") is not None]
    assert measures.index(begins[0]) == 5
    headings = [h.text for h in _root(write_musicxml(_exercise())).iter("rehearsal")]
    assert headings == ["One", "Two & <two>"]
    styles = [m.findtext("barline/bar-style") for m in measures]
    assert styles == [None] * 4 + ["light-light", None, None, "light-heavy"]


def test_a_pickup_is_measure_0_and_implicit() -> None:
    """MusicXML 4.0: pickup measures are numbered 0 and implicit."""
    first = _root(write_musicxml(_exercise())).find("part/measure")
    assert first is not None
    assert (first.get("number"), first.get("implicit")) == ("0", "yes")


def test_the_tempo_is_in_quarters_and_holds_over_a_change_of_the_beat() -> None:
    root = _root(write_musicxml(_exercise(tempo=Fraction(60))))
    assert [sound.get("tempo") for sound in root.iter("sound")] == ["60", "90"]


@pytest.mark.parametrize(
    ("semitones", "diatonic", "chromatic", "octave"),
    [(1, "1", "1", None), (-12, "0", "0", "-1"), (-11, "1", "1", "-1"), (2, "1", "2", None)],
)
def test_the_transposition_is_spelled_in_steps_and_octaves(
    semitones: int, diatonic: str, chromatic: str, octave: str | None
) -> None:
    root = _root(write_musicxml(_exercise(), instrument=Instrument("Chanter", semitones)))
    transpose = root.find("part/measure/attributes/transpose")
    assert transpose is not None
    found = [transpose.findtext(tag) for tag in ("diatonic", "chromatic", "octave-change")]
    assert found == [diatonic, chromatic, octave]


def test_opened_ornaments_are_real_notes_with_their_own_gracenotes(tmp_path: Path) -> None:
    bars = read_abc_line("{gBd}B2 {Gdc}d4", THREE)
    exercise = Exercise("Opened", (Line(bars),), inner=Inner((Length(Fraction(1, 2), "beat"),)))
    again = _read(tmp_path, write_musicxml(exercise))
    notes = list(again.lines[0].melody_notes)
    assert [note.beats for note in notes] == [Fraction(1, 2)] * 4 + [1]
    assert ["".join(slot.abc for slot in note.slots) for note in notes] == [
        "{g}B", "{d}B", "G", "{d}c", "d",
    ]  # fmt: skip


def test_an_opened_ornament_that_has_no_room_is_refused_with_its_place() -> None:
    bars = read_abc_line("A2 {gBd}B2 A2", THREE)
    exercise = Exercise("Opened", (Line(bars),), inner=Inner((Length(Fraction(1), "beat"),)))
    with pytest.raises(RungwiseError, match=r"line 1, bar 1, note 2 \(B\)"):
        write_musicxml(exercise)


def test_the_same_exercise_gives_the_same_bytes_plain_and_packed() -> None:
    one, other = write_musicxml(_exercise()), write_musicxml(_exercise())
    assert one == other
    assert packed(one) == packed(other)


def test_a_packed_score_is_read_as_the_plain_one(tmp_path: Path) -> None:
    path = tmp_path / "score.mxl"
    path.write_bytes(packed(write_musicxml(_exercise(), opened="closed")))
    assert differences(_exercise(), read_musicxml(path)) == []


# Read by others


def _music21_notes(data: bytes) -> list[tuple[str, float, bool]]:
    from music21 import converter

    score = converter.parseData(data.decode(), format="musicxml")
    flat = score.parts[0].flatten().notes
    return [(n.nameWithOctave, float(n.quarterLength), n.duration.isGrace) for n in flat]


@pytest.mark.parametrize("opened", ["closed", "open"])
def test_music21_reads_the_same_pitches_lengths_and_gracenotes(opened: Opened) -> None:
    exercise = _exercise()
    wanted: list[tuple[str, float, bool]] = []

    def name(note: Note) -> str:
        sharp = "#" if note in (Note.C, Note.F) else ""
        return f"{note.step}{sharp}{note.octave}"

    for number in range(1, len(exercise.lines) + 1):
        for bar in printed_line(exercise, number, opened).notes:
            for note in bar:
                wanted += [(name(small.note), 0.0, True) for small in note.group]
                if note.note is not None:
                    wanted.append((name(note.note), float(note.length * 4), False))
    found: list[tuple[str, float, bool]] = []
    joined = _joined_ties(write_musicxml(exercise, opened=opened))
    for pitch, length, is_grace in joined:
        found.append((pitch, length, is_grace))
    assert [(p, g) for p, _, g in found] == [(p, g) for p, _, g in wanted]
    for (_, one, _), (_, other, _) in zip(found, wanted, strict=True):
        assert one == pytest.approx(other)


def _joined_ties(data: bytes) -> list[tuple[str, float, bool]]:
    """music21's notes; the parts of a note that we tied inside a bar made one by their ids."""
    notes = _music21_notes(data)
    ids = [note.get("id", "") for note in _root(data).iter("note") if note.find("rest") is None]
    joined: list[tuple[str, float, bool]] = []
    for (pitch, length, is_grace), name in zip(notes, ids, strict=True):
        if "-T" in name:
            joined[-1] = (pitch, joined[-1][1] + length, is_grace)
        else:
            joined.append((pitch, length, is_grace))
    return joined


@examples(10)
@given(written_exercises())
def test_verovio_engraves_every_note_under_its_name(exercise: Exercise) -> None:
    data = write_musicxml(exercise, opened="closed")
    toolkit = verovio.toolkit()
    toolkit.setOptions({"breaks": "none", "footer": "none", "header": "none"})
    assert toolkit.loadData(data.decode())
    engraved = set(re.findall(r'id="(L\d+-B[^"]*)"', toolkit.renderToSVG(1)))
    written = {note.get("id") for note in _root(data).iter("note")}
    assert engraved == written


def _starts_in_quarters(root: ElementTree.Element) -> dict[str, float]:
    """Where each note at full size begins, reckoned from its durations."""
    starts: dict[str, float] = {}
    divisions, now = 1, Fraction(0)
    for element in root.iterfind("part/measure/*"):
        if element.tag == "attributes" and element.find("divisions") is not None:
            divisions = int(element.findtext("divisions", ""))
        elif element.tag == "note" and element.find("grace") is None:
            starts[element.get("id", "")] = float(now)
            now += Fraction(int(element.findtext("duration", "")), divisions)
    return starts


@examples(40)
@given(written_exercises())
def test_verovio_counts_the_same_time(exercise: Exercise) -> None:
    plain = replace(
        exercise,
        lines=tuple(
            replace(
                line,
                bars=tuple(
                    # Verovio puts gracenotes into its time map as well.
                    replace(
                        bar,
                        items=tuple(
                            MelodyNote(item.beats, (Slot(item.note),), tied=item.tied)
                            if isinstance(item, MelodyNote)
                            else item
                            for item in bar.items
                        ),
                    )
                    for bar in line.bars
                ),
            )
            for line in exercise.lines
        ),
    )
    data = write_musicxml(plain, opened="closed")
    toolkit = verovio.toolkit()
    assert toolkit.loadData(data.decode())
    heard = {
        name: moment["qstamp"]
        for moment in toolkit.renderToTimemap({"includeRests": True})
        for name in (*moment.get("on", ()), *moment.get("restsOn", ()))
    }
    starts = _starts_in_quarters(_root(data))
    assert heard == pytest.approx({name: starts[name] for name in heard}, abs=1e-3)
    assert len(heard) >= sum(not note.tied for line in plain for note in line.melody_notes)


# As others write it


def _score(measures: str, *, key: int = 2, parts: int = 1) -> str:
    listed = "".join(
        f'<score-part id="P{n}"><part-name>Part {n}</part-name></score-part>'
        for n in range(1, parts + 1)
    )
    attributes = (
        f"<attributes><divisions>4</divisions><key><fifths>{key}</fifths></key>"
        "<time><beats>2</beats><beat-type>4</beat-type></time></attributes>"
    )
    body = measures.replace("ATTRIBUTES", attributes)
    return f'<score-partwise version="3.1"><part-list>{listed}</part-list>{body}</score-partwise>'


def _note(name: str, duration: int = 4, extra: str = "") -> str:
    alter = "<alter>1</alter>" if "#" in name else ""
    pitch = f"<pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"
    return f"<note>{pitch}<duration>{duration}</duration>{extra}</note>"


def _mark(tempo: int | str) -> str:
    return f'<direction><sound tempo="{tempo}"/></direction>'


def _measure(number: int, *content: str) -> str:
    return f'<measure number="{number}">{"".join(content)}</measure>'


def _part(*measures: str, name: str = "P1") -> str:
    return f'<part id="{name}">{"".join(measures)}</part>'


def _said(exercise: Exercise) -> str:
    return " ".join(exercise.remarks)


def test_repeats_and_endings_are_played_out(tmp_path: Path) -> None:
    forward = '<barline location="left"><repeat direction="forward"/></barline>'
    first = '<barline location="left"><ending number="1" type="start"/></barline>'
    first_end = (
        '<barline location="right"><ending number="1" type="stop"/>'
        '<repeat direction="backward"/></barline>'
    )
    second = '<barline location="left"><ending number="2" type="start"/></barline>'
    second_end = '<barline location="right"><ending number="2" type="discontinue"/></barline>'
    score = _score(
        _part(
            _measure(1, "ATTRIBUTES", forward, _note("A4", 8)),
            _measure(2, first, _note("B4", 8), first_end),
            _measure(3, second, _note("D5", 8), second_end),
            _measure(4, _note("E5", 8)),
        )
    )

    exercise = _read(tmp_path, score)

    def notes(lines: tuple[Line, ...]) -> str:
        return " ".join(note.note.abc for line in lines for note in line.melody_notes)

    assert notes(exercise.lines) == "A B d e"
    assert notes(played_lines(exercise)) == "A B A d e"
    assert notes(played_lines(replace(exercise, played_once=True))) == "A d e"


def test_an_ending_that_nothing_closes_ends_where_the_next_repeat_begins(tmp_path: Path) -> None:
    def barline(place: str, content: str) -> str:
        return f'<barline location="{place}">{content}</barline>'

    begin, end = (f'<repeat direction="{way}"/>' for way in ("forward", "backward"))
    first, second = (f'<ending number="{number}" type="start"/>' for number in (1, 2))
    stop = '<ending number="1" type="stop"/>'
    assert _played(
        tmp_path,
        _measure(1, "ATTRIBUTES", barline("left", begin), _note("A4", 8)),
        _measure(2, barline("left", first), _note("B4", 8), barline("right", stop + end)),
        _measure(3, barline("left", second), _note("D5", 8)),
        _measure(4, barline("left", begin), _note("E5", 8), barline("right", end)),
    ) == "A | B | A | d | e | e"  # fmt: skip


def test_a_key_signature_may_be_there_or_not(tmp_path: Path) -> None:
    plain = _score(_part(_measure(1, "ATTRIBUTES", _note("C5"), _note("F5"))), key=0)
    sharp = _score(_part(_measure(1, "ATTRIBUTES", _note("C#5"), _note("F#5"))))
    for score in (plain, sharp):
        notes = [note.note for note in _read(tmp_path, score).lines[0].melody_notes]
        assert notes == [Note.C, Note.F]
    assert "no key signature" in _said(_read(tmp_path, plain))


def test_notes_off_the_chanter_are_one_report_with_bar_and_beat(tmp_path: Path) -> None:
    score = _score(
        _part(
            _measure(1, "ATTRIBUTES", _note("C4"), _note("A4")),
            _measure(2, _note("B4"), _note("C6")),
        )
    )
    with pytest.raises(RungwiseError) as caught:
        _read(tmp_path, score)
    assert [p.place for p in caught.value.problems] == ["bar 1, beat 1", "bar 2, beat 2"]
    assert "nine notes" in caught.value.problems[-1].remedy


def test_auto_transposition_names_the_interval(tmp_path: Path) -> None:
    score = _score(_part(_measure(1, "ATTRIBUTES", _note("A3"), _note("A4"))))
    with pytest.raises(RungwiseError, match="--transpose 12"):
        _read(tmp_path, score)
    exercise = _read(tmp_path, score, Reading(transpose="auto"))
    assert "up 12 semitones" in _said(exercise)
    assert [n.note for n in exercise.lines[0].melody_notes] == [Note.LOW_A, Note.HIGH_A]


def test_the_part_that_fits_is_read_unless_one_is_named(tmp_path: Path) -> None:
    high = _part(_measure(1, "ATTRIBUTES", _note("C6", 8)))
    low = _part(_measure(1, "ATTRIBUTES", _note("A4", 8)), name="P2")
    score = _score(high + low, parts=2)
    assert "Part 2 is read" in _said(_read(tmp_path, score))
    assert _read(tmp_path, score, Reading(part="2")).lines
    with pytest.raises(RungwiseError, match="C6"):
        _read(tmp_path, score, Reading(part="Part 1"))
    with pytest.raises(RungwiseError, match=r"no part 'Tuba'.*1 \(Part 1\), 2 \(Part 2\)"):
        _read(tmp_path, score, Reading(part="Tuba"))


def test_parts_of_one_name_are_told_apart_by_their_number(tmp_path: Path) -> None:
    high = _part(_measure(1, "ATTRIBUTES", _note("C6", 8)))
    low = _part(_measure(1, "ATTRIBUTES", _note("A4", 8)), name="P2")
    score = _score(high + low, parts=2).replace("Part 1", "Chanter").replace("Part 2", "Chanter")
    assert "Chanter number 2 is read" in _said(_read(tmp_path, score))
    assert " parts; number 2 is read" in _said(_read(tmp_path, score.replace("Chanter", "")))


def test_a_chord_is_refused_with_its_place(tmp_path: Path) -> None:
    chord = _note("E5", 4).replace("<note>", "<note><chord/>")
    score = _score(_part(_measure(1, "ATTRIBUTES", _note("A4"), _note("A4"), chord)))
    with pytest.raises(RungwiseError, match="bar 1, beat 2: two notes or more sound at once"):
        _read(tmp_path, score)


def test_a_chord_of_four_notes_is_one_complaint(tmp_path: Path) -> None:
    chord = "".join(_note(f"{step}5", 4).replace("<note>", "<note><chord/>") for step in "CEG")
    score = _score(_part(_measure(1, "ATTRIBUTES", _note("A4"), chord, _note("A4"), chord)))
    with pytest.raises(RungwiseError) as caught:
        _read(tmp_path, score)
    assert [problem.place for problem in caught.value.problems] == [
        "bar 1, beat 1",
        "bar 1, beat 2",
    ]


@pytest.mark.parametrize(
    ("alter", "said"),
    [
        ("0.5", "a note is a quarter tone above C5"),
        ("-0.5", "a note is a quarter tone below C5"),
        ("1.5", "a note is three quarter tones above C5"),
        ("0.333", "a note is 0.333 semitones above C5"),
    ],
)
def test_what_lies_between_two_semitones_is_said_in_words(
    tmp_path: Path, alter: str, said: str
) -> None:
    """MusicXML 4.0, alter: 0.5 stands for a quarter tone sharp."""
    note = _note("C5", 8).replace("</step>", f"</step><alter>{alter}</alter>")
    with pytest.raises(RungwiseError) as caught:
        _read(tmp_path, _score(_part(_measure(1, "ATTRIBUTES", note))))
    (problem,) = caught.value.problems
    assert problem.cause == said
    assert "nine notes" in problem.remedy


@pytest.mark.parametrize(
    ("mark", "said"),
    [
        (_mark(1600), "The tempo mark in bar 2, 1600 quarter notes a minute, is passed over"),
        (_mark(3), "The tempo mark in bar 2, 3 quarter notes a minute, is passed over"),
        (_mark("fast"), "The metronome mark in bar 2 is not read"),
        (_mark(""), "The metronome mark in bar 2 is not read"),
    ],
)
def test_a_tempo_that_nobody_plays_is_passed_over(tmp_path: Path, mark: str, said: str) -> None:
    score = _score(
        _part(
            _measure(1, "ATTRIBUTES", _mark(72), _note("A4", 8)), _measure(2, mark, _note("B4", 8))
        )
    )
    exercise = _read(tmp_path, score)
    assert _tempos(exercise) == [72, None, None]
    assert said in _said(exercise)


@pytest.mark.parametrize(
    ("beats", "unit", "mark", "tempo", "meter"),
    [
        (2, 2, 600, 300, "2/2"),
        (2, 2, 15, 15, "4/4"),
        (6, 8, 600, 400, "6/8"),
        (4, 8, 30, 60, "4/8"),
    ],
)
def test_a_tempo_is_one_for_the_meters_beat_or_for_a_quarter_note(
    tmp_path: Path, beats: int, unit: int, mark: int, tempo: int, meter: str
) -> None:
    time = f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>"
    length = 16 * beats // unit
    content = (f"<attributes>{time}</attributes>", _mark(mark), _note("A4", length))
    exercise = _read(tmp_path, _score(_part(_measure(1, "ATTRIBUTES", *content))))
    assert exercise.tempo == tempo
    assert str(exercise.lines[0].bars[0].meter) == meter
    assert ("is counted in" in _said(exercise)) == (meter != f"{beats}/{unit}")


def test_of_many_bars_of_tiny_beats_five_are_named(tmp_path: Path) -> None:
    tiny = "<attributes><time><beats>2</beats><beat-type>64</beat-type></time></attributes>"
    usual = "<attributes><time><beats>2</beats><beat-type>4</beat-type></time></attributes>"
    divisions = "<attributes><divisions>32</divisions></attributes>"
    measures = [_measure(1, "ATTRIBUTES", divisions, usual, _mark(60), _note("A4", 64))]
    for number in range(2, 16, 2):
        measures.append(_measure(number, tiny, _note("B4", 4)))
        measures.append(_measure(number + 1, usual, _note("A4", 64)))
    said = _said(_read(tmp_path, _score(_part(*measures))))
    assert said.count("in 2/64, is counted in 2/4") == 5
    assert "More bars are counted in another meter" in said


def test_a_tempo_inside_a_bar_that_nobody_plays_is_passed_over(tmp_path: Path) -> None:
    content = (_mark(72), _note("A4"), _mark(4800), _note("B4"))
    exercise = _read(tmp_path, _score(_part(_measure(1, "ATTRIBUTES", *content))))
    assert _tempos(exercise) == [72, None]
    assert "4800 quarter notes a minute, is passed over" in _said(exercise)


@pytest.mark.parametrize("mark", ["", _mark(60)])
def test_a_bar_of_tiny_beats_makes_no_tempo_of_its_own(tmp_path: Path, mark: str) -> None:
    tiny = "<attributes><time><beats>2</beats><beat-type>64</beat-type></time></attributes>"
    usual = "<attributes><time><beats>2</beats><beat-type>4</beat-type></time></attributes>"
    divisions = "<attributes><divisions>32</divisions></attributes>"
    score = _score(
        _part(
            _measure(1, "ATTRIBUTES", divisions, tiny, mark, _note("G4", 4)),
            _measure(2, usual, _note("A4", 64)),
            _measure(3, tiny, _note("B4", 4)),
            _measure(4, usual, _note("A4", 64)),
        )
    )
    exercise = _read(tmp_path, score)
    assert _tempos(exercise) == [60, None, None, None, None]
    assert [bar.beats for bar in exercise.lines[0].bars] == [
        Fraction(1, 8), 2, Fraction(1, 8), 2
    ]  # fmt: skip
    said = _said(exercise)
    assert "Bar 1, in 2/64, is counted in 1/4" in said
    assert "Bar 3, in 2/64, is counted in 2/4" in said


GRACE = "<note><grace/><pitch><step>G</step><octave>5</octave></pitch></note>"


def _grace_of(step: str, more: str) -> str:
    pitch = f"<pitch><step>{step}</step><octave>5</octave></pitch>"
    return f"<note><grace/>{pitch}{more}</note>"


@pytest.mark.parametrize("first", [False, True])
def test_gracenotes_printed_on_the_other_staff_lead_to_their_note(
    tmp_path: Path, first: bool
) -> None:
    grace = _grace_of("G", "<voice>1</voice><staff>2</staff>")
    notes = (_note("A4", 4, "<voice>1</voice><staff>1</staff>"),)
    lead = (grace,) if first else (*notes, grace)
    notes = (*lead, _note("B4", 4 if not first else 8, "<voice>1</voice><staff>1</staff>"))
    exercise = _read(tmp_path, _score(_part(_measure(1, "ATTRIBUTES", *notes))))
    *_, last = exercise.lines[0].melody_notes
    assert last.group == (Note.HIGH_G,)
    assert "left out" not in _said(exercise)


@pytest.mark.parametrize("before", [False, True])
def test_gracenotes_of_another_voice_are_left_out_and_said(tmp_path: Path, before: bool) -> None:
    grace = _grace_of("G", "<voice>5</voice><staff>2</staff>")
    backup = "<backup><duration>8</duration></backup>"
    notes = [_note("A4", 8, "<voice>1</voice><staff>1</staff>"), backup]
    notes.insert(0 if before else 2, grace)
    notes.append(_note("B4", 8, "<voice>5</voice><staff>2</staff>"))
    exercise = _read(tmp_path, _score(_part(_measure(1, "ATTRIBUTES", *notes))))
    (note,) = exercise.lines[0].melody_notes
    assert (note.note, note.group) == (Note.LOW_A, ())
    said = _said(exercise)
    assert "Gracenotes of another voice or staff are left out, first in bar 1." in said
    assert "Only the first voice" in said


REST = "<note><rest/><duration>4</duration></note>"
FORWARD = "<forward><duration>4</duration></forward>"
SECOND_VOICE = f"<backup><duration>4</duration></backup>{_note('A4', 8, '<voice>2</voice>')}"


@pytest.mark.parametrize(
    ("content", "beat"),
    [
        ((GRACE, REST, _note("A4")), "1"),
        ((_note("A4"), GRACE, FORWARD, _note("B4")), "2"),
        ((_note("A4"), GRACE, SECOND_VOICE), "2"),
        ((_note("A4"), GRACE, FORWARD), "2"),
    ],
    ids=["a rest", "a gap", "a bar that another voice fills", "a gap to the end of the bar"],
)
def test_gracenotes_that_lead_to_a_rest_are_refused_as_in_abc(
    tmp_path: Path, content: tuple[str, ...], beat: str
) -> None:
    score = _score(_part(_measure(7, "ATTRIBUTES", *content), _measure(8, _note("B4"))))
    with pytest.raises(RungwiseError, match=f"bar 7, beat {beat}: gracenotes lead to a rest"):
        _read(tmp_path, score)
    with pytest.raises(RungwiseError, match="gracenotes lead to a rest"):
        read_abc_line("A2 | {g}z2 c2", None)


def test_gracenotes_may_stand_before_the_bar_line_or_behind_a_gap(tmp_path: Path) -> None:
    score = _score(
        _part(
            _measure(1, "ATTRIBUTES", _note("A4", 8), GRACE),
            _measure(2, _note("B4"), FORWARD, GRACE, _note("A4", 4)),
            _measure(3, REST, GRACE, _note("B4")),
        )
    )
    notes = list(_read(tmp_path, score).lines[0].melody_notes)
    assert [len(note.group) for note in notes] == [0, 1, 1, 1]


def test_each_kind_of_problem_has_its_remedy_once(tmp_path: Path) -> None:
    chord = _note("E5", 4).replace("<note>", "<note><chord/>")
    bar = (GRACE, REST, _note("A4"), chord)
    score = _score(_part(_measure(1, "ATTRIBUTES", *bar), _measure(2, *bar)))
    with pytest.raises(RungwiseError) as caught:
        _read(tmp_path, score)
    remedies = [problem.remedy[:14] for problem in caught.value.problems]
    assert remedies == ["", "", "write the note", "a chanter play"]


def test_gracenotes_keep_their_order_and_ties_join_notes(tmp_path: Path) -> None:
    grace = "<note><grace/><pitch><step>{}</step><octave>{}</octave></pitch></note>"
    tied = _note("B4", 4, '<tie type="stop"/>')
    score = _score(
        _part(
            _measure(
                1,
                "ATTRIBUTES",
                *(grace.format(*name) for name in ("G5", "B4", "D5")),
                _note("B4", 4, '<tie type="start"/>'),
                tied,
            ),
            _measure(2, tied, _note("A4")),
        )
    )
    exercise = _read(tmp_path, score)
    first, second = exercise.lines[0].bars
    (note,) = first.items
    assert isinstance(note, MelodyNote)
    assert note.beats == 2
    assert [small.abc for small in note.group] == ["g", "B", "d"]
    held = second.items[0]
    assert isinstance(held, MelodyNote)
    assert held.tied


def test_a_timewise_score_is_read_like_a_partwise_one(tmp_path: Path) -> None:
    listed = '<part-list><score-part id="P1"><part-name/></score-part></part-list>'
    measures = _measure(1, _part("ATTRIBUTES", _note("A4", 8))) + _measure(2, _part(_note("B4", 8)))
    score = _score(measures).replace("score-partwise", "score-timewise")
    assert listed[:10] in score
    notes = [note.note.abc for note in _read(tmp_path, score).lines[0].melody_notes]
    assert notes == ["A", "B"]


def test_a_tempo_mark_is_taken_from_the_sound_or_the_metronome(tmp_path: Path) -> None:
    mark = (
        "<direction><direction-type><metronome><beat-unit>eighth</beat-unit>"
        "<per-minute>c. 144</per-minute></metronome></direction-type></direction>"
    )
    for direction, tempo in ((mark, 72), ('<sound tempo="80"/>', 80)):
        score = _score(_part(_measure(1, "ATTRIBUTES", direction, _note("A4", 8))))
        assert _read(tmp_path, score).tempo == tempo


def _played(tmp_path: Path, *measures: str, reading: Reading | None = None) -> str:
    exercise = _read(tmp_path, _score(_part(*measures)), reading)
    return " | ".join(
        " ".join(item.note.abc if isinstance(item, MelodyNote) else "z" for item in bar.items)
        for line in played_lines(exercise)
        for bar in line.bars
    )


def _metronome(*content: str) -> str:
    units = {"q": "quarter", "h": "half", "e": "eighth"}
    inside = "".join(
        "<beat-unit-dot/>" if part == "." else f"<beat-unit>{units[part]}</beat-unit>"
        for part in content
    )
    return (
        f"<direction><direction-type><metronome>{inside}</metronome></direction-type></direction>"
    )


def _tempos(exercise: Exercise) -> list[Fraction | None]:
    return [exercise.tempo, *(bar.tempo for line in exercise.lines for bar in line.bars)]


def test_tempo_and_rehearsal_marks_of_the_uppermost_part_hold_for_all(tmp_path: Path) -> None:
    letter = "<direction><direction-type><rehearsal>A</rehearsal></direction-type></direction>"
    upper = _part(
        _measure(1, "ATTRIBUTES", letter, _mark(84), _note("C3", 8)),
        _measure(2, _mark(90), _note("C3", 8)),
    )
    lower = _part(_measure(1, "ATTRIBUTES", _note("A4", 8)), _measure(2, _note("B4", 8)), name="P2")
    exercise = _read(tmp_path, _score(upper + lower, parts=2))
    assert _tempos(exercise) == [84, None, 90]
    assert exercise.lines[0].heading == "A"
    assert "no tempo mark" not in _said(exercise)


def test_a_tempo_mark_counts_from_where_it_stands(tmp_path: Path) -> None:
    backup = "<backup><duration>8</duration></backup>"
    second = _note("A4", 8, "<voice>2</voice>")
    for content, tempos in (
        ((_mark(70), _note("A4", 8)), [70, None, None]),
        ((_note("A4", 8), backup, _mark(70), second), [70, None, None]),
        ((_mark(60), _note("A4", 8), _mark(70)), [60, None, 70]),
        ((_mark(60), _note("A4"), _mark(70), _note("A4")), [60, None, 70, None]),
        ((_note("A4"), _mark(70), _note("A4"), backup, _mark(60), second), [60, None, 70, None]),
    ):
        score = _score(_part(_measure(1, "ATTRIBUTES", *content), _measure(2, _note("B4", 8))))
        exercise = _read(tmp_path, score)
        assert _tempos(exercise) == tempos
        assert "tempo" not in _said(exercise)


def test_a_note_that_a_tempo_mark_falls_into_is_held_across_it(tmp_path: Path) -> None:
    """As when the mark stands in another part, whose notes begin elsewhere."""
    upper = _part(_measure(1, "ATTRIBUTES", _mark(60), _note("C3", 2), _mark(80), _note("C3", 6)))
    grace = "<note><grace/><pitch><step>G</step><octave>5</octave></pitch></note>"
    lower = _part(_measure(1, "ATTRIBUTES", grace, _note("A4", 6), _note("B4", 2)), name="P2")
    exercise = _read(tmp_path, _score(upper + lower, parts=2))
    first, second = exercise.lines[0].bars
    assert (first.tempo, second.tempo) == (None, 80)
    assert [(i.beats, i.group, i.tied) for i in first.items if isinstance(i, MelodyNote)] == [
        (Fraction(1, 2), (Note.HIGH_G,), False)
    ]
    assert [(i.beats, i.group, i.tied) for i in second.items if isinstance(i, MelodyNote)] == [
        (1, (), True),
        (Fraction(1, 2), (), False),
    ]


@pytest.mark.parametrize(
    ("content", "tempo"), [(("q", "q", "."), 90), (("e", "q"), 120), (("h", ".", "q"), 20)]
)
def test_a_note_value_that_equals_another_changes_the_tempo_in_proportion(
    tmp_path: Path, content: tuple[str, ...], tempo: int
) -> None:
    """MusicXML 4.0, metronome: the first value before is as long as the second from here on."""
    score = _score(
        _part(
            _measure(1, "ATTRIBUTES", _mark(60), _note("A4", 8)),
            _measure(2, _metronome(*content), _note("B4", 8)),
        )
    )
    assert _tempos(_read(tmp_path, score)) == [60, None, tempo]


def test_a_metronome_mark_that_cannot_be_told_is_said(tmp_path: Path) -> None:
    score = _score(_part(_measure(1, "ATTRIBUTES", _metronome("q", "q", "."), _note("A4", 8))))
    assert "metronome mark in bar 1 is not read" in _said(_read(tmp_path, score))


@pytest.mark.parametrize(
    ("code", "sign"),
    [
        ("<direction><direction-type><segno/></direction-type></direction>", Signs(segno=True)),
        (
            "<direction><direction-type><words>D.S. al Coda</words></direction-type>"
            '<sound dalsegno="1"/></direction>',
            Signs(jump="D.S. al Coda"),
        ),
        ("<direction><direction-type><words>Fine</words></direction-type></direction>", FINE),
        ('<direction><sound dacapo="yes"/></direction>', Signs(jump="D.C.")),
        ('<sound fine="yes"/>', FINE),
        (
            '<direction><direction-type><coda/></direction-type><sound tocoda="1"/></direction>',
            Signs(to_coda=True),
        ),
    ],
)
def test_signs_that_say_where_to_go_are_read(tmp_path: Path, code: str, sign: Signs) -> None:
    """MusicXML 4.0, `<sound>` and `<direction-type>`."""
    score = _score(_part(_measure(1, "ATTRIBUTES", _note("A4", 8), code)))
    assert _read(tmp_path, score).lines[0].bars[0].signs == sign
    words = "<direction><direction-type><words>a fine tone</words></direction-type></direction>"
    (bar,) = _read(tmp_path, score.replace(code, words)).lines[0].bars
    assert (bar.signs, bar.words) == (Signs(), ("a fine tone",))


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("<lyric><text>la</text></lyric>", "Lyrics are left out."),
        (
            "<notations><ornaments><trill-mark/></ornaments></notations>",
            "Decorations other than gracenotes are left out.",
        ),
        ("<notations><slur/><tied/></notations>", ""),
    ],
)
def test_what_a_chanter_cannot_use_is_left_out_and_said(
    tmp_path: Path, content: str, said: str
) -> None:
    music = _measure(1, "ATTRIBUTES", _mark(60), _note("A4", 8, content))
    assert _said(_read(tmp_path, _score(_part(music)))) == said
    chord = "<harmony><root><root-step>A</root-step></root><kind>major</kind></harmony>"
    with_chord = _score(_part(music.replace("<note>", f"{chord}<note>")))
    assert "Chord symbols are left out." in _said(_read(tmp_path, with_chord))


def _triplet(divisions: int, *durations: int) -> str:
    ratio = (
        "<type>eighth</type><time-modification><actual-notes>3</actual-notes>"
        "<normal-notes>2</normal-notes></time-modification>"
    )
    notes = "".join(_note("A4", duration, ratio) for duration in durations)
    attributes = f"<attributes><divisions>{divisions}</divisions></attributes>"
    return _score(_part(_measure(1, "ATTRIBUTES", attributes, notes, _note("B4", divisions))))


@pytest.mark.parametrize(
    ("divisions", "durations"),
    [(256, (85, 86, 85)), (256, (85, 85, 86)), (1024, (341, 342, 341)), (12, (4, 4, 4))],
)
def test_triplets_are_exact_where_their_durations_are_rounded(
    tmp_path: Path, divisions: int, durations: tuple[int, ...]
) -> None:
    """As scores in music21's corpus by two notation programs have them, at 256 and 1024."""
    (bar,) = _read(tmp_path, _triplet(divisions, *durations)).lines[0].bars
    assert [item.beats for item in bar.items] == [Fraction(1, 3)] * 3 + [1]


def test_a_duration_that_is_not_rounded_outweighs_what_is_printed(tmp_path: Path) -> None:
    swung = "<type>eighth</type>"
    score = _score(
        _part(_measure(1, "ATTRIBUTES", _note("A4", 3, swung), _note("B4", 1, swung), _note("D5")))
    )
    (bar,) = _read(tmp_path, score).lines[0].bars
    assert [item.beats for item in bar.items] == [Fraction(3, 4), Fraction(1, 4), 1]


def test_rests_of_several_voices_before_the_melody_begins_are_no_clash(tmp_path: Path) -> None:
    def rest(voice: int) -> str:
        return f"<note><rest/><duration>8</duration><voice>{voice}</voice></note>"

    backup = "<backup><duration>8</duration></backup>"
    assert _played(
        tmp_path,
        _measure(1, "ATTRIBUTES", rest(1), backup, rest(2)),
        _measure(2, _note("A4", 8, "<voice>1</voice>"), backup, rest(2)),
    ) == "z | A"  # fmt: skip


def _repeat_sign(kind: str, bars: str = "") -> str:
    inside = f'<measure-repeat type="{kind}">{bars}</measure-repeat>'
    return f"<attributes><measure-style>{inside}</measure-style></attributes>"


@pytest.mark.parametrize("filling", ["", "<note><rest/><duration>8</duration></note>"])
def test_a_sign_that_repeats_bars_plays_them_again(tmp_path: Path, filling: str) -> None:
    """MusicXML 4.0, measure-repeat."""
    one, two = _note("A4", 8), _note("B4") + _note("D5")
    assert _played(
        tmp_path,
        _measure(1, "ATTRIBUTES", one),
        _measure(2, two),
        _measure(3, _repeat_sign("start", "2"), filling),
        _measure(4, filling),
        _measure(5, _repeat_sign("stop"), one),
    ) == "A | B d | A | B d | A"  # fmt: skip
    written = [_measure(1, "ATTRIBUTES", one), _measure(2, _repeat_sign("start", "1"), two)]
    assert _played(tmp_path, *written) == "A | B d"


def test_a_sign_that_repeats_what_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RungwiseError, match="bar 1, beat 1: a sign repeats bars"):
        _played(tmp_path, _measure(1, "ATTRIBUTES", _repeat_sign("start", "1"), ""))


def _plain() -> str:
    return _score(_part(_measure(1, "ATTRIBUTES", _note("A4", 8))))


@pytest.mark.parametrize(
    "data",
    [
        ('<?xml version="1.0" encoding="UTF-16"?>' + _plain()).encode("utf-16"),
        b"\xef\xbb\xbf" + _plain().encode(),
        ('<?xml version="1.0" encoding="windows-1252"?>' + _plain()).encode("cp1252"),
        ('\r\n<?xml version="1.0"?>' + _plain()).encode(),
        _plain().replace("<score-partwise ", '<score-partwise xmlns="urn:larkmoor" ').encode(),
        re.sub(r"<(/?)(?=[a-z])", r"<\1m:", _plain())
        .replace("<m:score-partwise ", '<m:score-partwise xmlns:m="urn:larkmoor" ')
        .encode(),
    ],
    ids=["utf-16", "byte order mark", "windows-1252", "empty line", "namespace", "prefix"],
)
def test_encodings_and_namespaces_make_no_difference(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "score.musicxml"
    path.write_bytes(data)
    assert [note.note for note in read_musicxml(path).lines[0].melody_notes] == [Note.LOW_A]


def _container(*listed: str) -> str:
    return f"<container><rootfiles>{''.join(listed)}</rootfiles></container>"


@pytest.mark.parametrize(
    ("container", "name"),
    [
        (
            _container(
                '<rootfile full-path="a.pdf" media-type="application/pdf"/>',
                '<rootfile full-path="s.xml"/>',
            ),
            "s.xml",
        ),
        (_container('<rootfile full-path="./s.xml"/>'), "s.xml"),
        (_container('<rootfile full-path="my%20tune.xml"/>'), "my tune.xml"),
        (_container('<rootfile full-path="in/s.xml"/>'), "in\\s.xml"),
        (_container('<rootfile full-path="gone.xml"/>'), "s.MusicXML"),
        ("<container><root", "s.xml"),
        (None, "s.XML"),
    ],
)
def test_a_packed_score_is_found_however_it_is_listed(
    tmp_path: Path, container: str | None, name: str
) -> None:
    path = tmp_path / "score.mxl"
    with zipfile.ZipFile(path, "w") as archive:
        if container is not None:
            archive.writestr("META-INF/container.xml", container)
        archive.writestr("a.pdf", "%PDF-1.4")
        archive.writestr("__MACOSX/._s.xml", b"\0\5\x16\7")
        archive.writestr(name, _plain())
    assert [note.note for note in read_musicxml(path).lines[0].melody_notes] == [Note.LOW_A]


CORPUS = "music21/corpus"


@pytest.mark.parametrize(
    "file",
    [
        "bach/bwv274.mxl",
        "trecento/PMFC_12_22-Benedicamus PMFC12.22.xml",
        "bach/bwv119.9.mxl",
    ],
)
def test_scores_of_notation_editors_are_read_as_music21_reads_them(file: str) -> None:
    """Test data: music21's corpus, three files that name three editors that wrote them."""
    import music21

    from renderer.notation.musicxml.file import read_score_element
    from renderer.notation.source_file import open_source

    path = Path(music21.__file__).parent / "corpus" / file
    root = read_score_element(open_source(path))
    assert root.findtext("identification/encoding/software")
    exercise = read_musicxml(path, Reading(transpose="auto", play_repeats=False))
    score = music21.converter.parse(path, forceSource=True)
    said = re.search(r"parts; (.+?) is read", _said(exercise))
    names = [part.partName for part in score.parts]
    part = score.parts[names.index(said[1])] if said else score.parts[0]
    voices = (
        part.flatten() if not part.recurse().voices else part.voicesToParts().parts[0].flatten()
    )
    wanted = [
        (n.pitch.midi, Fraction(n.quarterLength).limit_denominator(100), n.tie)
        for n in voices.notes
        if not n.duration.isGrace
    ]
    sounding = [(key, length) for key, length, tie in wanted if tie is None or tie.type == "start"]
    found = [n for line in exercise.lines for n in line.melody_notes if not n.tied]
    assert len(found) == len(sounding)
    shifts = {n.note.midi - key for n, (key, _) in zip(found, sounding, strict=True)}
    keyless_sharps = "no key signature" in _said(exercise)
    assert len(shifts) == 1 or (keyless_sharps and max(shifts) - min(shifts) == 1)
