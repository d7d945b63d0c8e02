"""Forms that music21 reads, and exercises as its streams: the same notes, report and limits.

`**kern` is written by its reference at humdrum.org, MEI by the MEI guidelines 4.0.
"""

from __future__ import annotations

import io
import re
import signal
import subprocess
import sys
import zipfile
import zlib
from pathlib import Path

import music21
import pytest

import renderer
from renderer.errors import RungwiseError
from renderer.notation.compare import differences
from renderer.notation.score import MelodyNote
from renderer.notation.source_file import FORMS, Source
from renderer.notation.written import Reading
from renderer.reading import music21_process
from renderer.reading.exercise import read_exercise
from renderer.reading.library import find_exercise
from renderer.reading.other_forms import ENDINGS, LARGEST_OTHER_BYTES, LEFT_OUT, is_other_form
from tests.limits import HANG_S, cpu_time

KERN = """!!!OTL: Wide step
**kern
*clefG2
*k[f#c#]
*M2/4
*MM72
=1
8.aL
16bJk
8ggq
4cc#
=2
8ggq
4dd
4r
==:|!
*-
"""

MEI = """<?xml version="1.0" encoding="UTF-8"?>
<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="4.0.0">
<meiHead><fileDesc><titleStmt><title>Wide step</title></titleStmt><pubStmt/></fileDesc></meiHead>
<music><body><mdiv><score><scoreDef meter.count="2" meter.unit="4" key.sig="2s"><staffGrp>
<staffDef n="1" lines="5" clef.shape="G" clef.line="2"/></staffGrp></scoreDef><section>
<measure n="1"><staff n="1"><layer n="1">
<note pname="a" oct="4" dur="8" dots="1"/><note pname="b" oct="4" dur="16"/>
<note pname="g" oct="5" dur="8" grace="acc"/><note pname="c" oct="5" dur="4" accid.ges="s"/>
</layer></staff></measure>
<measure n="2" right="rptend"><staff n="1"><layer n="1">
<note pname="g" oct="5" dur="8" grace="acc"/><note pname="d" oct="5" dur="4"/><rest dur="4"/>
</layer></staff></measure></section></score></mdiv></body></music></mei>
"""

ABC = "X:1\nT:Wide step\nM:2/4\nL:1/8\nQ:1/4=72\nK:HP\nA>B {g}c2|{g}d2 z2:|\n"

CORPUS = Path(music21.__file__).parent


def source(name: str, text: str) -> Source:
    return Source(name, text.encode())


@pytest.mark.parametrize("name", ["wide.krn", "wide.mei", "standard input"])
@pytest.mark.parametrize("text", [KERN, MEI], ids=["kern", "MEI"])
def test_notes_gracenotes_and_repeats_are_those_of_abc(name: str, text: str) -> None:
    if name.endswith(".krn") != (text is KERN) and "." in name:
        return
    exercise, abc = read_exercise(source(name, text)), read_exercise(source("wide.abc", ABC))
    for bar, same in zip(exercise.lines[0].bars, abc.lines[0].bars, strict=True):
        assert (bar.items, bar.meter) == (same.items, same.meter)
    assert exercise.lines[0].bars[1].signs.closes == 2
    assert exercise.composer == ""


def test_a_line_of_tiny_notation_is_read() -> None:
    """The smallest of music21's forms: `#` raises a letter, `'` is an octave up."""
    (bar,) = read_exercise(source("t.tntxt", "4/4 a4 b4 c'#4 d'4")).lines[0].bars
    assert [item.note.abc for item in bar.items if isinstance(item, MelodyNote)] == list("ABcd")


def test_title_and_tempo_of_kern_are_kept() -> None:
    exercise = read_exercise(source("melody.krn", KERN))
    assert (exercise.title, exercise.tempo) == ("Wide step", 72)


def test_a_file_of_musedata_is_reported_note_by_note() -> None:
    with pytest.raises(RungwiseError) as caught:
        read_exercise(CORPUS / "musedata/testPrimitive/test01/01.md")
    assert "F#4 is not on the chanter" in str(caught.value)
    assert "bar 9, beat 2 1/2" in str(caught.value)


def test_what_is_not_on_the_chanter_is_offered_to_be_read_otherwise() -> None:
    text = KERN.replace("4cc#", "4cc").replace("*k[f#c#]", "*k[f#]")
    with pytest.raises(RungwiseError) as caught:
        read_exercise(source("wide.krn", text))
    assert "bar 1, beat 2: C5 is not on the chanter" in str(caught.value)
    assert "--read-as chanter" in str(caught.value)
    read = read_exercise(source("wide.krn", text), Reading(read_as="chanter"))
    assert read.lines[0].bars[0].items == (
        read_exercise(source("wide.krn", KERN)).lines[0].bars[0].items
    )


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("t.krn", "**kern\n4c 4e\n*-\n", "two notes or more sound at once"),
        ("t.krn", "no kern", "music21 cannot|no notes|no parts|no melody"),
        ("t.mei", MEI[: len(MEI) // 2], "no well-formed XML"),
        (
            "t.mei",
            '<!DOCTYPE mei [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><mei>&b;</mei>',
            "its document type declares entities",
        ),
        ("t.krn", KERN + "!" * LARGEST_OTHER_BYTES, "larger than 1 MB"),
    ],
)
def test_what_cannot_be_read_is_one_clear_message(name: str, text: str, words: str) -> None:
    with pytest.raises(RungwiseError, match=words) as caught:
        read_exercise(source(name, text))
    assert {problem.file for problem in caught.value.problems} == {name}


def test_files_that_may_hold_code_are_not_given_to_music21(tmp_path: Path) -> None:
    for ending in (".p", ".pkl", ".pgz", ".pickle", *LEFT_OUT):
        assert not is_other_form(ending.casefold())
        path = tmp_path / f"tune{ending}"
        path.write_bytes(b"x")
        with pytest.raises(RungwiseError, match="are not read"):
            read_exercise(path)


def test_every_form_that_music21_reads_is_read_here_or_there_or_left_out_for_a_reason() -> None:
    converters = music21.converter.Converter().subConvertersList("input")
    theirs = {f".{ending}" for one in converters for ending in one.registerInputExtensions}
    assert theirs == {*FORMS, *ENDINGS, *LEFT_OUT} - {".toml"}


def packed(**members: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name.replace("_", "."), content)
    return out.getvalue()


EXAMPLES = sorted(path for path in CORPUS.rglob("*") if path.suffix in (".capx", ".nwc", ".nwctxt"))


@pytest.mark.parametrize("path", EXAMPLES, ids=[path.name for path in EXAMPLES])
def test_music21s_own_examples_are_read_up_to_the_notes_that_no_chanter_has(path: Path) -> None:
    try:
        exercise = read_exercise(path)
    except RungwiseError as error:
        said = "not on the chanter|two notes or more sound at once"
        assert all(re.search(said, problem.cause) for problem in error.problems)
    else:
        assert any(line.melody_notes for line in exercise.lines)


def test_of_a_binary_file_the_melody_is_read() -> None:
    path = next(path for path in EXAMPLES if path.name == "cuthbert_test1.nwc")
    exercise = read_exercise(path)
    assert exercise.title == "Cuthbert NWC Test"
    assert [note.note.abc for note in exercise.lines[0].melody_notes] == list("GccBc")


def test_a_packed_file_is_reported_as_what_it_packs() -> None:
    path = CORPUS / "musedata/testPrimitive/test01/01.md"
    with pytest.raises(RungwiseError) as plain:
        read_exercise(path)
    with pytest.raises(RungwiseError) as from_archive:
        read_exercise(Source("t.zip", packed(**{"01_md": path.read_bytes()})))
    causes = [[one.cause for one in error.value.problems] for error in (plain, from_archive)]
    assert causes[0] == causes[1] != []


def test_a_form_of_chords_alone_is_refused_as_such() -> None:
    text = "Composer: nobody\nTime Signature: 2/4\nm1 A: I b2 V\n"
    with pytest.raises(RungwiseError, match="two notes or more sound at once"):
        read_exercise(source("t.rntxt", text))


BOMB = bytes(50_000_000)


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("t.capx", packed(score_xml=b"<a>" + BOMB), "larger than 1 MB"),
        ("t.zip", packed(a_md=BOMB), "larger than 1 MB"),
        ("t.zip", packed(**{f"a{n}_md": b"x" for n in range(1001)}), "too many files"),
        ("t.zip", packed(), "no score"),
        ("t.capx", packed(other_xml=b"<a/>"), "no score"),
        ("t.capx", packed(score_xml=b'<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>'), "entities"),
        ("t.capx", b"PK\3\4" + bytes(40), "damaged packed file"),
        ("t.capx", b"", "damaged packed file"),
        ("t.nwc", b"[NWZ]\0" + zlib.compress(BOMB), "larger than 1 MB"),
        ("t.nwc", b"[NWZ]\0not packed", "damaged packed file"),
        ("t.nwc", b"x", "music21 cannot"),
    ],
)
def test_what_is_packed_is_bounded_before_music21_unpacks_it(
    name: str, data: bytes, says: str
) -> None:
    with cpu_time(), pytest.raises(RungwiseError, match=says) as caught:
        read_exercise(Source(name, data))
    assert {problem.file for problem in caught.value.problems} == {name}


@pytest.mark.parametrize(
    ("limit", "code"),
    [("MOST_SECONDS", "while True: pass"), ("MOST_MEMORY_BYTES", "x = bytes(10**9)")],
)
def test_music21_has_so_much_time_and_memory_and_no_more(limit: str, code: str) -> None:
    """What becomes of it is told by its end, whatever the system does to it."""
    most = 1 if limit == "MOST_SECONDS" else 5 * 10**8
    script = (
        f"from renderer.reading import music21_process as one\none.{limit} = {most}\n"
        f"one._with_limits()\n{code}\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", script], stderr=subprocess.DEVNULL, check=False, timeout=HANG_S
    ).returncode
    assert ended in (-signal.SIGXCPU, -signal.SIGKILL) if limit == "MOST_SECONDS" else ended == 1


def test_what_takes_too_long_is_refused_with_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    """The real limit and a real end, with a program in music21's place that never ends."""
    script = "import resource as r\nr.setrlimit(r.RLIMIT_CPU, (1, 1))\nwhile True: pass"
    ended = subprocess.run([sys.executable, "-c", script], check=False, timeout=HANG_S)
    monkeypatch.setattr(music21_process, "_answer", lambda *_: (ended.returncode, b""))
    with pytest.raises(RungwiseError, match="music21 needs more than 60 s or 4 GB for it"):
        read_exercise(source("wide.krn", KERN))


def test_nothing_is_imported_from_the_folder_at_hand(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("json.py", "renderer.py", "music21.py"):
        (tmp_path / name).write_text("open('seen', 'w')\nraise SystemExit(3)\n")
    monkeypatch.chdir(tmp_path)
    text = KERN.replace("Wide step", "Another wide step")
    assert read_exercise(source("wide.krn", text)).title == "Another wide step"
    assert not (tmp_path / "seen").exists()


def test_without_music21_the_message_says_how_to_get_it() -> None:
    code = (
        "import sys\nsys.modules['music21'] = None\n"
        "from renderer.notation.source_file import Source\n"
        "from renderer.reading.exercise import read_exercise\n"
        "from renderer.errors import RungwiseError\n"
        "try:\n    read_exercise(Source('t.krn', b'**kern'))\n"
        "except RungwiseError as error:\n    print(error)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=HANG_S
    )
    assert "pip install 'rungwise[music21]'" in run.stdout.lower()


@pytest.mark.parametrize(
    "name", ["first-gracenotes", "grips-and-taorluaths", "pickups", "four-four-march"]
)
def test_an_exercise_comes_back_from_a_music21_stream(name: str) -> None:
    exercise = read_exercise(find_exercise(name))
    again = renderer.from_music21(renderer.to_music21(exercise, opened="closed"))
    lost = differences(exercise, again)
    assert [phrase for phrase in lost if phrase.startswith("line")] == []
    assert again.tempo == exercise.tempo


def test_a_tune_keeps_repeats_endings_and_gracenotes_in_a_music21_stream() -> None:
    text = (
        "X:1\nT:Tune\nM:6/8\nL:1/8\nQ:3/8=70\nK:HP\n|:{g}A2B {gcd}c2d|1 {e}f3 {g}e3:|2 {e}f3 a3||\n"
    )
    tune = read_exercise(source("tune.abc", text))
    stream = renderer.to_music21(tune)
    assert len(stream.recurse().getElementsByClass("RepeatBracket")) == 2
    graces = [note for note in stream.recurse().notes if note.duration.isGrace]
    assert [note.nameWithOctave for note in graces] == [
        "G5", "G5", "C#5", "D5", "E5", "G5", "E5",
    ]  # fmt: skip
    assert differences(tune, renderer.from_music21(stream)) == []


def test_who_waits_for_music21_is_told_so_once(tmp_path: Path) -> None:
    path = tmp_path / "wide.krn"
    path.write_text(KERN)
    run = subprocess.run(
        [sys.executable, "-m", "renderer.cli", "check", str(path)],
        capture_output=True, text=True, check=True, timeout=HANG_S,
    )  # fmt: skip
    assert run.stderr == "music21 reads wide.krn, which may take some seconds.\n"
    assert "G gracenote on C" in run.stdout


def test_nothing_of_music21s_own_is_printed_on_the_way_to_a_stream(
    capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """music21 prints warnings for its programmers, such as `Warning: uncaught weakref found`."""
    exercise = read_exercise(find_exercise("first-gracenotes"))
    parse_data = music21.converter.parseData

    def noisy(*arguments: object, **options: object) -> object:
        print("Warning: uncaught weakref found")
        print("music21: a warning", file=sys.stderr)
        return parse_data(*arguments, **options)

    monkeypatch.setattr(music21.converter, "parseData", noisy)
    assert renderer.from_music21(renderer.to_music21(exercise)).title == exercise.title
    assert capfd.readouterr() == ("", "")
