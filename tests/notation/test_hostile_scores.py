"""Files that mean harm or are broken: a clear error or a reading, in seconds and without traces."""

from __future__ import annotations

import contextlib
import io
import os
import re
import resource
import subprocess
import sys
import tracemalloc
import zipfile
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import mido
import pretty_midi
import pytest
from hypothesis import given
from hypothesis import strategies as st

from renderer.errors import RungwiseError
from renderer.notation.abc.reader import read_abc, read_abc_line
from renderer.notation.abc.writer import write_abc
from renderer.notation.definition.reader import read_definition
from renderer.notation.definition.writer import write_definition
from renderer.notation.limits import MOST_WRITTEN_NOTES
from renderer.notation.midi.reader import read_midi
from renderer.notation.musicxml.reader import read_musicxml
from renderer.notation.musicxml.writer import write_musicxml
from renderer.notation.score import Exercise, Meter
from renderer.notation.written import Reading
from renderer.order.tracks import expand
from renderer.reading.exercise import read_exercise
from renderer.technique.realise import realise
from tests.limits import ENDLESS_CPU_S, cpu_time
from tests.sampling import examples

Reader = Callable[[Path], Exercise]
READERS: dict[str, Reader] = {".musicxml": read_musicxml, ".mxl": read_musicxml,
                              ".abc": read_abc, ".mid": read_midi}  # fmt: skip

NOTE = "<note><pitch><step>A</step><octave>4</octave></pitch><duration>{}</duration></note>"
FORWARD = "<forward><duration>{}</duration></forward>"
METER = "<attributes><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
HEAD = '<part-list><score-part id="P1"><part-name/></score-part></part-list>'


def _score(measures: str, prolog: str = "") -> bytes:
    root = f'<score-partwise>{HEAD}<part id="P1">{measures}</part></score-partwise>'
    return f'<?xml version="1.0"?>{prolog}{root}'.encode()


def _measure(content: str, number: int = 1) -> str:
    attributes = "<attributes><divisions>1</divisions></attributes>"
    return f'<measure number="{number}">{attributes}{content}</measure>'


def _refused(tmp_path: Path, suffix: str, data: bytes) -> str:
    path = tmp_path / f"hostile{suffix}"
    path.write_bytes(data)
    before = sorted(tmp_path.iterdir())
    with cpu_time(), pytest.raises(RungwiseError) as caught:
        READERS[suffix](path)
    assert sorted(tmp_path.iterdir()) == before
    message = str(caught.value.problems[0])
    assert message.startswith(str(path))
    return message


def _packed(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return out.getvalue()


def test_a_bomb_of_entities_is_refused(tmp_path: Path) -> None:
    rows = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 12))
    prolog = f'<!DOCTYPE score-partwise [<!ENTITY a0 "boom">{rows}]>'
    assert "entities" in _refused(tmp_path, ".musicxml", _score("&a11;", prolog))


def test_an_external_entity_is_refused_and_not_read(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("A4 secret")
    prolog = f'<!DOCTYPE score-partwise [<!ENTITY leak SYSTEM "{secret.as_uri()}">]>'
    message = _refused(tmp_path, ".musicxml", _score("&leak;", prolog))
    assert "entities" in message
    assert "A4 secret" not in message


def test_the_document_type_of_every_musicxml_file_is_no_offence(tmp_path: Path) -> None:
    prolog = (
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
        '"http://www.musicxml.org/dtds/partwise.dtd">'
    )
    path = tmp_path / "score.musicxml"
    path.write_bytes(_score(_measure(NOTE.format(4)), prolog))
    assert read_musicxml(path).lines


def test_a_zip_bomb_is_refused_by_what_it_unpacks_to(tmp_path: Path) -> None:
    bomb = _packed({"score.xml": b"<score-partwise>" + b" " * 200_000_000})
    assert len(bomb) < 1_000_000
    assert "larger than" in _refused(tmp_path, ".mxl", bomb)


def test_a_packed_score_cannot_name_a_file_outside(tmp_path: Path) -> None:
    outside = tmp_path / "outside.musicxml"
    outside.write_bytes(_score(_measure(NOTE.format(4))))
    container = '<container><rootfiles><rootfile full-path="{}"/></rootfiles></container>'
    for name in ("../outside.musicxml", str(outside), "/etc/passwd"):
        packed = _packed({"META-INF/container.xml": container.format(name).encode()})
        assert "no score in this" in _refused(tmp_path, ".mxl", packed)


def test_names_with_paths_inside_a_packed_score_are_only_names(tmp_path: Path) -> None:
    packed = _packed({"../../escaped.xml": _score(_measure(NOTE.format(4)))})
    folder = tmp_path / "a" / "b"
    folder.mkdir(parents=True)
    (folder / "score.mxl").write_bytes(packed)
    assert read_musicxml(folder / "score.mxl").lines
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["a", "b", "score.mxl"]


def test_a_packed_score_may_have_names_as_windows_writes_them(tmp_path: Path) -> None:
    container = '<container><rootfiles><rootfile full-path="music\\b.xml"/></rootfiles></container>'
    packed = _packed({
        "META-INF\\container.xml": container.encode(),
        "a.xml": b"<no-score/>",
        "music\\b.xml": _score(_measure(NOTE.format(4))),
    })  # fmt: skip
    path = tmp_path / "score.mxl"
    path.write_bytes(packed)
    assert read_musicxml(path).lines


@pytest.mark.parametrize(
    ("at", "value"), [(6, 1), (6, 0x41), (8, 99), (14, 12345)],
    ids=["encrypted", "strongly encrypted", "packed in an unknown way", "wrong check sum"],
)  # fmt: skip
def test_a_packed_score_that_cannot_be_unpacked_is_refused(
    tmp_path: Path, at: int, value: int
) -> None:
    whole = bytearray(_packed({"score.xml": _score(_measure(NOTE.format(4)))}))
    # The archive's list of files repeats what stands before each, two bytes further on.
    for place in (at, whole.index(b"PK\1\2") + at + 2):
        whole[place : place + 2] = value.to_bytes(2, "little")
    assert "damaged .mxl file" in _refused(tmp_path, ".mxl", bytes(whole))


def test_a_link_in_a_packed_score_is_not_followed(tmp_path: Path) -> None:
    link = zipfile.ZipInfo("score.xml")
    link.external_attr = 0o120777 << 16
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(link, str(tmp_path / "outside.musicxml"))
    (tmp_path / "outside.musicxml").write_bytes(_score(_measure(NOTE.format(4))))
    assert "no well-formed XML" in _refused(tmp_path, ".mxl", out.getvalue())


@pytest.mark.parametrize("suffix", [".musicxml", ".mxl", ".mid"])
def test_a_truncated_file_is_refused(tmp_path: Path, suffix: str) -> None:
    score = _score("".join(_measure(NOTE.format(4), n) for n in range(20)))
    midi = b"MThd\0\0\0\6\0\1\0\1\0\x60MTrk\0\0\0\x20\0\x90\x45\x40"
    whole = {".musicxml": score, ".mxl": _packed({"score.xml": score}), ".mid": midi}[suffix]
    _refused(tmp_path, suffix, whole[: len(whole) * 2 // 3])


@pytest.mark.parametrize("suffix", list(READERS))
def test_a_hundred_megabytes_of_junk_are_refused(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"junk{suffix}"
    block = os.urandom(1_000_000)
    with path.open("wb") as file:
        for _ in range(100):
            file.write(block)
    with cpu_time(), pytest.raises(RungwiseError, match="larger than"):
        READERS[suffix](path)
    path.unlink()


@pytest.mark.parametrize("suffix", list(READERS))
def test_an_empty_file_a_folder_and_a_missing_one_are_refused(tmp_path: Path, suffix: str) -> None:
    _refused(tmp_path, suffix, b"")
    folder = tmp_path / f"folder{suffix}"
    folder.mkdir()
    with pytest.raises(RungwiseError, match="this is a folder"):
        READERS[suffix](folder)
    with pytest.raises(RungwiseError, match="no such file"):
        READERS[suffix](tmp_path / f"missing{suffix}")


def test_repeats_that_play_out_without_end_are_refused(tmp_path: Path) -> None:
    forward = '<barline location="left"><repeat direction="forward"/></barline>'
    backward = '<barline location="right"><repeat direction="backward" times="999999"/></barline>'
    measures = "".join(
        _measure(forward * (n % 300 == 0) + NOTE.format(4) + backward * (n % 300 == 299), n)
        for n in range(900)
    )
    path = tmp_path / "endless.musicxml"
    path.write_bytes(_score(measures))
    with cpu_time(), pytest.raises(RungwiseError, match="play out to more than"):
        read_exercise(path)
    once = read_exercise(path, Reading(play_repeats=False))
    assert len(once.lines[0].bars) == 900


def test_notes_of_no_length_are_left_out_and_negative_ones_refused(tmp_path: Path) -> None:
    path = tmp_path / "score.musicxml"
    path.write_bytes(_score(_measure(NOTE.format(0) + NOTE.format(4))))
    exercise = read_musicxml(path)
    assert len(list(exercise.lines[0].melody_notes)) == 1
    assert "Notes of no length are left out." in exercise.remarks
    assert "below 0" in _refused(tmp_path, ".musicxml", _score(_measure(NOTE.format(-4))))


@pytest.mark.parametrize(
    "value", ["", "x", "1e400", "1e99999999", "1e-99999999", "nan", "inf", "1/0", "9" * 5000]
)
def test_numbers_that_are_none_are_refused(tmp_path: Path, value: str) -> None:
    _refused(tmp_path, ".musicxml", _score(_measure(NOTE.format(value))))
    divisions = f"<measure><attributes><divisions>{value}</divisions></attributes></measure>"
    _refused(tmp_path, ".musicxml", _score(divisions))


def _said_within_limits(path: Path) -> str:
    """What is wrong with a file, read in a process held to 1 GB of address space and so long."""
    code = (
        "import sys; from pathlib import Path; from renderer.errors import RungwiseError\n"
        "from tests.notation.test_hostile_scores import READERS\n"
        "p = Path(sys.argv[1])\n"
        "try: READERS[p.suffix](p)\n"
        "except RungwiseError as error: print(error.problems[0].cause)\n"
    )

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (2**30, 2**30))
        resource.setrlimit(resource.RLIMIT_CPU, (ENDLESS_CPU_S, ENDLESS_CPU_S))

    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)],
        capture_output=True, text=True, check=False, preexec_fn=limited, env=environment,
        cwd=Path(__file__).parents[2],
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-500:]
    return done.stdout


def test_a_million_notes_are_refused_in_time_and_memory(tmp_path: Path) -> None:
    xml = tmp_path / "million.musicxml"
    xml.write_bytes(_score(_measure(NOTE.format(1) * 300_000)))
    abc = tmp_path / "million.abc"
    abc.write_text("X:1\nT:x\nM:none\nL:1/8\nK:HP\n" + ("A B c d |" * 50 + "\n") * 5_000)
    midis = []
    for count in (1_000_000, 90_000):
        midis.append(tmp_path / f"{count}.mid")
        events = b"\0\x90\x45\x40" + b"\x10\x45\0\0\x45\x40" * count
        head = b"MThd\0\0\0\6\0\1\0\1\0\x60MTrk"
        midis[-1].write_bytes(head + len(events).to_bytes(4, "big") + events)
    for path in (xml, abc, *midis):
        said = _said_within_limits(path)
        assert "larger than" in said or "notes" in said, said


def test_endless_numbers_in_a_midi_file_are_refused_in_time(tmp_path: Path) -> None:
    path = tmp_path / "endless.mid"
    head = b"MThd\0\0\0\6\0\1\0\1\0\x60MTrk"
    path.write_bytes(head + (590_000).to_bytes(4, "big") + b"\xff" * 590_000)
    assert "more than the 4 bytes" in _said_within_limits(path)


MARKUP = {
    "elements": '<a b=""/>' * 3_500_000,
    "attributes": "<a " + " ".join(f'a{n}=""' for n in range(1_700_000)) + "/>",
    "depth": "<a>" * 1_700_000 + "</a>" * 1_700_000,
    "encoded twice as long": "<a/>" * 3_900_000,
}


@pytest.mark.parametrize("kind", MARKUP)
def test_more_markup_than_any_score_has_is_refused_before_it_fills_the_memory(
    tmp_path: Path, kind: str
) -> None:
    root = f"<score-partwise>{MARKUP[kind]}</score-partwise>"
    data = root.encode("utf-16" if "twice" in kind else "utf-8")
    for suffix, content in ((".musicxml", data), (".mxl", _packed({"score.xml": data}))):
        tracemalloc.start()
        message = _refused(tmp_path, suffix, content)
        _, most_bytes = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert "elements and attributes, and at most 1600000 are read. Save the part" in message
        assert most_bytes < 4 * len(data)


@pytest.mark.long
def test_a_score_of_as_many_notes_as_are_read_is_read(tmp_path: Path) -> None:
    path = tmp_path / "long.musicxml"
    bar = _measure(NOTE.format(1) * 4)
    path.write_bytes(_score(bar * (MOST_WRITTEN_NOTES // 4)))
    assert len(list(read_musicxml(path).lines[0].melody_notes)) == MOST_WRITTEN_NOTES
    path.write_bytes(_score(bar * (MOST_WRITTEN_NOTES // 4 + 1)))
    with pytest.raises(RungwiseError, match="more than 50000 notes"):
        read_musicxml(path)


def test_long_namespaces_are_refused(tmp_path: Path) -> None:
    data = f'<score-partwise xmlns="{"u" * 100_000}">{"<a/>" * 1_000_000}</score-partwise>'
    assert "namespace 'uuu" in _refused(tmp_path, ".musicxml", data.encode())
    data = _score(_measure(NOTE.format(4))).decode()
    path = tmp_path / "score.musicxml"
    path.write_text(data.replace("<score-partwise", '<score-partwise xmlns="urn:x"'))
    assert read_musicxml(path).lines


@pytest.mark.parametrize("name", ["nothing {}", "inner length of line {}"])
def test_settings_without_end_are_bounded_and_named_in_short(tmp_path: Path, name: str) -> None:
    fields = "".join(
        f'<miscellaneous-field name="{name.format(n)}">x</miscellaneous-field>'
        for n in range(300_000)
    )
    made = "<encoding><software>Rungwise</software></encoding>"
    head = f"<identification>{made}<miscellaneous>{fields}</miscellaneous></identification>"
    path = tmp_path / "settings.musicxml"
    score = _score(_measure(NOTE.format(4))).decode()
    path.write_text(score.replace("<score-partwise>", f"<score-partwise>{head}"))
    with cpu_time():
        assert len(read_musicxml(path).remarks) < 10


def test_remarks_on_every_bar_are_said_in_short(tmp_path: Path) -> None:
    metronome = "<direction><direction-type><metronome/></direction-type></direction>"
    meter = METER.replace(">4</beats", ">1</beats")
    path = tmp_path / "remarks.musicxml"
    path.write_bytes(_score(_measure(meter + metronome + NOTE.format(2)) * 1000))
    remarks = read_musicxml(path).remarks
    assert "More metronome marks are not read." in remarks
    assert "More bars are longer than their meter; each is counted by its own length." in remarks
    assert len(remarks) < 20
    tune = tmp_path / "remarks.abc"
    tune.write_text("X:1\nM:1/4\nL:1/4\nK:HP\n" + "[Q:1/4=60-90]A2|\n" * 1000)
    assert len(read_abc(tune).remarks) < 20


def test_attributes_for_every_element_are_refused(tmp_path: Path) -> None:
    bomb = f'<!DOCTYPE score-partwise [<!ATTLIST a x CDATA "{"A" * 100_000}">]>'
    data = _score("<a/>" * 100_000, bomb)
    assert "attributes of its own" in _refused(tmp_path, ".musicxml", data)


@pytest.mark.parametrize("method", [zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_packed_score_with_a_single_wrong_byte_is_read_or_called_damaged(
    tmp_path: Path, method: int
) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        archive.writestr("é.xml", _score(_measure(NOTE.format(4))))
    whole = out.getvalue()
    path = tmp_path / "score.mxl"
    for at in range(0, len(whole), 5):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :])
        try:
            read_musicxml(path)
        except RungwiseError as error:
            assert str(path) in str(error)


@pytest.mark.parametrize(
    "content",
    [
        "<measure/>" * 300_000,
        ("</part>" + '<part id="P2">' + "<measure/>" * 1_500) * 250,
        pytest.param(
            "</part>"
            + '<part id="P2">'
            + '<measure><sound tempo="60"/></measure>' * 19_000
            + ("</part>" + '<part id="P2">' + "<measure/>" * 300) * 990,
            marks=pytest.mark.long,
        ),
        _measure(
            (
                "<sound tempo='60'/>"
                + FORWARD.format("0.01")
                + "<sound tempo='61'/>"
                + FORWARD.format("0.01")
            )
            * 20_000
        ),
        _measure(
            NOTE.format(4)
            + f'<barline><ending type="start" number="{"1-99," * 2_000_000}"/></barline>'
        ),
        _measure(
            f"<attributes><time><beats>{'1+' * 2_000_000}1</beats><beat-type>4</beat-type></time>"
            f"</attributes>{NOTE.format(4)}"
        ),
        "</part>" + "<part><measure/></part>" * 200_000 + "<part>",
        _measure(NOTE.format(1) * 40_000)
        + _measure(
            "<attributes><measure-style><measure-repeat type='start'>1</measure-repeat>"
            "</measure-style></attributes>"
        )
        + "<measure/>" * 15_000,
    ],
    ids=[
        "bars",
        "bars of parts",
        "marks for all parts",
        "tempos in a bar",
        "endings",
        "beats",
        "parts",
        "repeated bars",
    ],
)
def test_a_score_without_end_is_bounded(tmp_path: Path, content: str) -> None:
    path = tmp_path / "endless.musicxml"
    path.write_bytes(_score(content))
    with cpu_time(), contextlib.suppress(RungwiseError):
        read_musicxml(path)


@pytest.mark.parametrize(
    "header",
    [
        "K:D" + " " * 1_000_000 + "x",
        "Q:1" + "/111" * 60,
        "P:" + " " * 1_000_000 + "!",
        "P:" + "(" * 5_000 + "A" + ")9" * 5_000,
        "P:" + "A99" * 10_000,
    ],
)
def test_fields_that_are_slow_to_make_sense_of_take_no_time(tmp_path: Path, header: str) -> None:
    path = tmp_path / "slow.abc"
    path.write_text(f"X:1\nT:x\nM:4/4\nL:1/4\n{header}\nK:HP\nP:A\nA4|\n")
    with cpu_time():
        try:
            read_abc(path)
        except RungwiseError as error:
            assert len(str(error)) < 500


@pytest.mark.parametrize(
    "code",
    ["{" + "g" * 3_000_000 + "}A|", "|:A4|1-99" + ",1-99" * 500_000 + " B4:|", "Z999|" * 500_000],
)
def test_music_code_without_end_is_bounded(tmp_path: Path, code: str) -> None:
    path = tmp_path / "endless.abc"
    path.write_text(f"X:1\nT:x\nM:4/4\nL:1/4\nK:HP\n{code}\n")
    with cpu_time(), contextlib.suppress(RungwiseError):
        read_abc(path)


BAR_OFF_THE_CHANTER = "bbbb bbbb|"


@pytest.mark.parametrize(
    "tunes",
    [
        pytest.param("X:1\nK:C\nb\n" * 363_000, marks=pytest.mark.long),
        pytest.param(f"X:1\nK:C\n{BAR_OFF_THE_CHANTER * 40}\n" * 9_000, marks=pytest.mark.long),
        pytest.param(
            f"X:1\nK:C\n{BAR_OFF_THE_CHANTER * 40}[Q:x]\n" * 9_000, marks=pytest.mark.long
        ),
    ],
    ids=["of one note", "of many notes", "that break off"],
)
def test_no_more_tunes_are_tried_than_can_be_in_time(tmp_path: Path, tunes: str) -> None:
    path = tmp_path / "tunes.abc"
    path.write_text(f"{tunes}X:last\nK:HP\nA4|\n")
    refusal = r"none of the first \d+ of its \d+ tunes.*--tune"
    with cpu_time(), pytest.raises(RungwiseError, match=refusal):
        read_abc(path)
    assert len(list(read_abc(path, Reading(part="last")).lines)) == 1


def test_what_holds_for_many_tunes_is_read_once(tmp_path: Path) -> None:
    path = tmp_path / "common.abc"
    path.write_text("M:4/4\n" * 200_000 + "M:3/4\n" + "X:1\nK:HP\nb\n" * 20_000)
    with cpu_time(), pytest.raises(RungwiseError, match="not on the chanter"):
        read_abc(path, Reading(part="1"))


def test_bars_that_do_not_add_up_are_reported_up_to_a_number() -> None:
    with pytest.raises(RungwiseError) as caught:
        read_abc_line("L:1/4 A4|" + "A2|" * 1000 + "A4|", Meter(4, 4))
    assert len(caught.value.problems) == 41
    assert "960 more bars do not add up" in str(caught.value.problems[-1])


@examples(150)
@given(st.text(alphabet="GABcdefga{}|:[]()<>-/0123456789z ,'^_=\"!LMKP%~\n", max_size=60))
def test_any_abc_is_read_or_refused_with_a_message(text: str) -> None:
    try:
        bars = read_abc_line(text, None)
    except RungwiseError as error:
        assert all(problem.cause for problem in error.problems)
    else:
        assert bars


@examples(60)
@given(st.binary(max_size=200), st.sampled_from([b"MThd\0\0\0\6\0\1\0\1\0\x60MTrk\0\0\0\x40", b""]))
def test_any_bytes_are_no_midi_file_or_a_readable_one(data: bytes, head: bytes) -> None:
    path = Path(os.environ.get("TMPDIR", "/tmp")) / f"rungwise-any-{os.getpid()}.mid"
    path.write_bytes(head + data)
    try:
        read_midi(path)
    except RungwiseError as error:
        assert str(path) in str(error)
    finally:
        path.unlink()


LONG_BARS = {
    "forward": _measure(NOTE.format(1) + FORWARD.format(999_999_999) + NOTE.format(1)),
    "backup": _measure(
        NOTE.format(1) + FORWARD.format(999_999_999)
        + FORWARD.replace("forward", "backup").format(999_999_998) + NOTE.format(1)
    ),
    "a long note": _measure(NOTE.format(999_999_999)),
    "tiny divisions": _measure(NOTE.format(1)).replace(">1</divisions", ">0.000000001</divisions"),
    "many notes": _measure(NOTE.format(1) * 1000),
    "many notes in 4/4": _measure(METER + NOTE.format(1) * 1000),
}  # fmt: skip


@pytest.mark.parametrize("measures", LONG_BARS.values(), ids=LONG_BARS)
def test_a_bar_of_more_beats_than_a_meter_counts_is_refused(tmp_path: Path, measures: str) -> None:
    before = _measure(NOTE.format(4), 6)
    measures = before + measures.replace('number="1"', 'number="7"')
    message = _refused(tmp_path, ".musicxml", _score(measures))
    assert re.search(r": bar 7: the bar holds \d+/4 and a bar may have 999/4\. Divide it", message)


@pytest.mark.parametrize("code", ["c1000|", "c4096|", "c" * 1000 + "|", "Ac999|", "z1000|"])
def test_a_bar_of_abc_of_more_beats_than_a_meter_counts_is_refused(
    tmp_path: Path, code: str
) -> None:
    tune = f"X:1\nT:x\nM:none\nL:1/4\nK:HP\nA4|{code}\n"
    message = _refused(tmp_path, ".abc", tune.encode())
    assert re.search(r": line 6, bar 2: the bar holds \d+/4 and a bar may have 999/4\.", message)
    with pytest.raises(RungwiseError, match="bar 2: the bar holds"):
        read_abc_line(f"L:1/4 A4|{code}", None)


def test_a_note_of_endless_beats_is_refused_where_it_stands() -> None:
    for length in ("999999999", "9" * 5000, "/" * 5000, "/" + "9" * 5000):
        with pytest.raises(RungwiseError, match=r"bar 1, character 1: a length of [9/…]+ is out"):
            read_abc_line(f"c{length}|", None)


LONGEST_BARS = {
    "a note": "c999|", "notes": "c" * 999 + "|", "a rest": "Az998|",
    "sevenths": "(7:4:7GABcdefg/3|", "an eleventh": "A/11 B10/11 c|", "fine": "A/4096 B4095/4096|",
    "odd lengths": "A/7 B/11 c/13 d/17 e/19 f/23|", "broken": "A>>>B<<<c>d<e|",
}  # fmt: skip


@pytest.mark.parametrize("code", LONGEST_BARS.values(), ids=LONGEST_BARS)
@pytest.mark.parametrize("form", [".toml", ".abc", ".musicxml"])
def test_every_bar_that_is_read_can_be_written_and_read_back(
    tmp_path: Path, code: str, form: str
) -> None:
    path = tmp_path / "tune.abc"
    path.write_text(f"X:1\nT:x\nM:none\nL:1/4\nQ:1/4=60\nK:HP\n{code}\n")
    exercise = read_abc(path)
    written = tmp_path / f"tune{form}"
    write: dict[str, Callable[[Exercise], bytes]] = {
        ".toml": write_definition, ".abc": write_abc, ".musicxml": write_musicxml
    }  # fmt: skip
    written.write_bytes(write[form](exercise))
    if form == ".toml":
        read_back = tuple(realise(read_definition(written)).lines)
    else:
        read_back = READERS[form](written).lines
    assert [line.bars for line in read_back] == [line.bars for line in exercise.lines]


def test_bars_that_last_for_days_in_all_are_refused(tmp_path: Path) -> None:
    tune = "X:1\nM:none\nL:1/4\nK:HP\n" + "c999|" * 101 + "\n"
    assert "lasts 100899 quarter notes" in _refused(tmp_path, ".abc", tune.encode())


def test_lengths_without_a_common_share_are_refused(tmp_path: Path) -> None:
    primes = [4093, 4091, 4079, 4073, 4057, 4051]
    tune = "X:1\nK:HP\n" + "".join(f"A/{prime} " for prime in primes) + "|"
    assert "line 3, bar 1: the lengths up to here" in _refused(tmp_path, ".abc", tune.encode())
    divisions = "<attributes><divisions>{}</divisions></attributes>"
    with cpu_time():
        content = "".join(divisions.format(900_000_001 + 16 * n) + FORWARD.format(1)
                          for n in range(100_000))  # fmt: skip
        data = _score(_measure(content))
        assert "bar 1: the lengths up to here" in _refused(tmp_path, ".musicxml", data)


@pytest.mark.parametrize("signs", [">" * 300_000, "< " * 300_000, ">-<"])
def test_a_broken_rhythm_is_broken_once(tmp_path: Path, signs: str) -> None:
    message = _refused(tmp_path, ".abc", f"X:1\nK:HP\nA{signs}B|".encode())
    assert "stands between two notes" in message


@pytest.mark.parametrize(
    "tune",
    [
        "K:HP\nc" + "'" * 1_000_000 + "|",
        "K:HP\n{g" + "," * 1_000_000 + "}A|",
        "K:HP\nM:" + "1+" * 500_000 + "1/4\nA|",
        "M:" + "1+" * 500_000 + "1/4\nK:HP\nA|",
        "K:HP\n|" + "0" * 1_000_000 + "[0,0A|",
        "K:HP\nV:" + "v" * 1_000_000 + "\nA|\nV:2\nc'|",
        "K:HP\nA|\n\n" * 2 + "X:2\nT:" + "\x1b[31m" * 300_000 + "\nK:HP\nb|",
    ],
    ids=["pitch", "gracenote", "meter", "header", "ending", "voice", "title"],
)
@pytest.mark.parametrize("part", [None, "1" * 500_000])
def test_messages_quote_no_more_of_an_abc_file_than_can_be_read(
    tmp_path: Path, tune: str, part: str | None
) -> None:
    path = tmp_path / "long.abc"
    path.write_text(f"X:1\nT:{'t' * 400_000}\n{tune}\n")
    _said_in_short(path, Reading(part=part))


@pytest.mark.parametrize(
    "score",
    [
        f"<{'x' * 1_000_000}/>",
        f"<score-partwise>&{'x' * 1_000_000};</score-partwise>",
        f"<?xml version='1.0' encoding='{'x' * 1_000_000}'?><score-partwise/>",
        _score(_measure(NOTE.format("1" * 1_000_000))).decode(),
        _score(_measure(NOTE.format(4)).replace('"1"', f'"{"1" * 999_999}"') * 2).decode(),
        _score(_measure(NOTE.format(4))).decode().replace("<part-name/>",
            f"<part-name>{'x' * 1_000_000}</part-name>"),
    ],
    ids=["root", "entity", "encoding", "number", "bar", "part"],
)  # fmt: skip
@pytest.mark.parametrize("part", [None, "x" * 500_000])
def test_messages_quote_no_more_of_a_musicxml_file_than_can_be_read(
    tmp_path: Path, score: str, part: str | None
) -> None:
    path = tmp_path / "long.musicxml"
    path.write_text(score)
    _said_in_short(path, Reading(part=part))


def _said_in_short(path: Path, reading: Reading) -> None:
    read = read_abc if path.suffix == ".abc" else read_musicxml
    try:
        said = list(read(path, reading).remarks)
    except RungwiseError as error:
        said = [str(problem).removeprefix(str(path)) for problem in error.problems]
    assert said
    assert all(len(sentence) < 500 and sentence.isprintable() for sentence in said)


def test_deeply_nested_xml_is_refused_without_a_crash(tmp_path: Path) -> None:
    depth = 400_000
    nested = b"<a>" * depth + b"</a>" * depth
    path = tmp_path / "deep.musicxml"
    path.write_bytes(b"<score-partwise>" + nested + b"</score-partwise>")
    with pytest.raises(RungwiseError, match="no parts"):
        read_musicxml(path)


def test_tempos_too_many_for_exact_time_are_refused_and_whole_ones_are_not(tmp_path: Path) -> None:
    def tune(tempos: list[str]) -> Path:
        bars = "\n".join(f"[Q:1/4={tempo}]ABcd|" for tempo in tempos)
        path = tmp_path / "tempos.abc"
        path.write_text(f"X:1\nT:x\nM:4/4\nL:1/4\nK:HP\n{bars}\n")
        return path

    assert len(read_abc(tune([str(tempo) for tempo in range(40, 401)])).lines[0].bars) == 361
    odd = [f"{60 + index * 0.137:.3f}" for index in range(800)]
    with pytest.raises(
        RungwiseError, match=r"bar \d+: there are too many different tempos"
    ) as told:
        read_abc(tune(odd))
    assert "round them to whole numbers" in str(told.value)


def test_a_midi_file_with_thousands_of_tempos_is_read_and_played_in_exact_time(
    tmp_path: Path,
) -> None:
    file = mido.MidiFile(type=1, ticks_per_beat=480)
    tempos, tune = mido.MidiTrack(), mido.MidiTrack()
    for index in range(3000):
        tempos.append(mido.MetaMessage("set_tempo", tempo=500_000 + index * 97, time=160))
    for index in range(1000):
        tune.append(mido.Message("note_on", note=(69, 71, 73)[index % 3], velocity=90))
        tune.append(mido.Message("note_off", note=(69, 71, 73)[index % 3], time=480))
    file.tracks += [tempos, tune]
    path = tmp_path / "tempos.mid"
    file.save(path)
    timeline = expand(read_midi(path), count_in=0, repeats=1)
    starts = [float(event.start) for event in timeline if event.note is not None]
    wanted = [note.start for note in pretty_midi.PrettyMIDI(str(path)).instruments[0].notes]
    assert starts == pytest.approx(wanted, abs=0.002)
    assert timeline.duration.denominator.bit_length() < 64


def test_macros_that_breed_are_refused_in_time(tmp_path: Path) -> None:
    names = "HIJKLMNOPQRSTUVW"
    macros = "".join(f"m: {one} = {other * 199}\n" for one, other in pairwise(names))
    path = tmp_path / "macros.abc"
    path.write_text(f"X:1\nT:x\nM:4/4\nL:1/8\n{macros}K:HP\n{names[0] * 40}A8|\n")
    with pytest.raises(RungwiseError, match="the macros make this line too long"):
        read_abc(path)
    many = f"m: H = {'y ' * 16}\n"
    path.write_text(f"X:1\nT:x\nM:4/4\nL:1/8\n{many}K:HP\n" + ("H" * 3000 + "\n") * 50)
    with pytest.raises(RungwiseError, match="the macros make the tune too long"):
        read_abc(path)


def test_thousands_of_odd_fields_make_few_remarks(tmp_path: Path) -> None:
    path = tmp_path / "odd.abc"
    odd = "[M:x]A8|[Q:march]B8:c|[Q:80]d8|[M:6/8 9/8]A6|"
    path.write_text("X:1\nT:x\nM:4/4\nL:1/8\nK:HP\n" + f"{odd}\n" * 3000)
    assert len(read_abc(path).remarks) < 60
