"""Reading MusicXML: the melody of one part to an exercise.

Each part is read by `part`; here the marks of all parts are shared out, and the part that
a chanter plays is chosen. Source: MusicXML 4.0.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from xml.etree.ElementTree import Element

from renderer.errors import Problem, RungwiseError, failure, shortened
from renderer.notation.chanter_pitches import lies_on_the_chanter
from renderer.notation.kept_settings import musicxml_settings, with_settings
from renderer.notation.limits import MOST_BARS
from renderer.notation.musicxml.file import read_score_element
from renderer.notation.musicxml.part import Part, PartReader
from renderer.notation.score import Exercise
from renderer.notation.signs import NO_SIGNS
from renderer.notation.source_file import Source, Written, open_source
from renderer.notation.to_exercise import exercise_of
from renderer.notation.written import AS_WRITTEN, Measure, Reading, Score, index_of_part

MOST_PARTS = 1000
MOST_BARS_OF_ALL_PARTS = 20 * MOST_BARS


def _parts(root: Element) -> Iterator[Part]:
    names = {
        part.get("id", ""): " ".join((part.findtext("part-name") or "").split())
        for part in root.iterfind("part-list/score-part")
    }
    bars = sum(len(element) for element in root if element.tag in ("part", "measure"))
    if bars > MOST_BARS_OF_ALL_PARTS:
        raise failure(
            f"its parts have more than {MOST_BARS_OF_ALL_PARTS} bars in all",
            "save the part on its own",
        )
    readers: dict[str, PartReader] = {}
    if root.tag == "score-partwise":
        for number, part in enumerate(root.iterfind("part"), start=1):
            _check_parts(number)
            reader = PartReader(names.get(part.get("id", ""), ""))
            for measure in part.iterfind("measure"):
                reader.measure(measure)
            yield reader.finish()
        return
    for measure in root.iterfind("measure"):
        for part in measure.iterfind("part"):
            name = part.get("id", "")
            part.set("number", measure.get("number", ""))
            if name not in readers:
                readers[name] = PartReader(names.get(name, ""))
                _check_parts(len(readers))
            readers[name].measure(part)
    yield from (reader.finish() for reader in readers.values())


def _check_parts(count: int) -> None:
    if count > MOST_PARTS:
        raise failure(f"the score has more than {MOST_PARTS} parts", "save the part on its own")


def _with_marks_of_all(parts: list[Part], index: int) -> list[Measure]:
    """Return a part's measures with the tempo and rehearsal marks that stand in another one.

    Notation programs write them once, in the uppermost part, and mean them for the whole score.
    """
    measures = list(parts[index].measures)
    for part in parts:
        for at, (measure, other) in enumerate(zip(measures, part.measures, strict=False)):
            jumps = replace(other.signs, opens=False, closes=0, endings=(), double=False)
            if (other.tempo, other.tempos_inside, other.heading) == (None, (), "") and (
                jumps == NO_SIGNS
            ):
                continue
            measures[at] = replace(
                measure,
                tempo=other.tempo if measure.tempo is None else measure.tempo,
                tempos_inside=measure.tempos_inside or other.tempos_inside,
                heading=measure.heading or other.heading,
                begins_line=measure.begins_line or bool(other.heading),
                signs=measure.signs.joined(jumps),
            )
    return measures


def _with_openings(measures: Sequence[Measure], implied: set[int]) -> tuple[Measure, ...]:
    """Return measures with a sign wherever a repeat goes back further than to its line or section.

    In MusicXML a repeat that nothing opens goes back to the one before it, or to the beginning;
    in an exercise it goes back to the last double bar line at most. `implied` are the measures at
    which the file says that one begins without a sign.
    """
    opened = list(measures)
    begin, is_open, is_parted = 0, False, False
    for at, measure in enumerate(measures):
        is_open |= measure.signs.opens
        is_parted |= at > begin and measure.begins_line
        if at in implied and not is_open:
            begins_there = at == begin or measure.begins_line or measures[at - 1].signs.double
            begin, is_parted = at, False
            if not begins_there:
                opened[at] = replace(measure, signs=replace(measure.signs, opens=True))
        if measure.signs.opens:
            begin, is_parted = at, False
        if measure.signs.closes:
            if not is_open and is_parted:
                signs = replace(opened[begin].signs, opens=True)
                opened[begin] = replace(opened[begin], signs=signs)
            begin, is_open, is_parted = at + 1, False, False
        is_parted |= measure.signs.double
    return tuple(opened)


def _creator(root: Element, kind: str) -> str:
    for creator in root.iterfind("identification/creator"):
        if creator.get("type", "").strip().casefold() == kind:
            return " ".join((creator.text or "").split())
    return ""


def _title(root: Element, source: Source) -> str:
    for place in ("work/work-title", "movement-title"):
        title = (root.findtext(place) or "").strip()
        if title:
            return title
    for credit in root.iterfind("credit"):
        if (credit.findtext("credit-type") or "").strip() == "title":
            return (credit.findtext("credit-words") or "").strip() or source.stem
    return source.stem


def read_musicxml(written: Written, reading: Reading = AS_WRITTEN) -> Exercise:
    """Read the melody of one part of a MusicXML file (`.musicxml`, `.xml`, `.mxl`).

    Parameters
    ----------
    written:
        A file's path, or a source in hand.
    reading:
        What the user asks; `part` is a part's name or number from 1. Without it the first part that
        lies on the nine notes is read.

    Raises
    ------
    RungwiseError
        For a file that is no MusicXML, and for a part with chords or notes off the chanter: one
        report of all of them with bar and beat.
    """
    source = open_source(written)
    try:
        return _read(source, reading)
    except RungwiseError as error:
        raise error.in_file(source.name) from None


def _read(source: Source, reading: Reading) -> Exercise:
    root = read_score_element(source)
    title = _title(root, source)
    parts = list(_parts(root))
    if not parts:
        raise failure("the score has no parts", "export it again with its music")
    scores = [
        Score(title, tuple(part.measures), part.keyless, source.name, tuple(part.remarks))
        for part in parts
    ]
    index = _chosen(parts, scores, reading)
    if parts[index].problems:
        raise RungwiseError(_with_remedies_once(parts[index].problems))
    measures = _with_openings(_with_marks_of_all(parts, index), parts[index].implied)
    score = replace(scores[index], measures=measures, composer=_creator(root, "composer"))
    exercise = with_settings(exercise_of(score, reading), musicxml_settings(root))
    if len(parts) == 1:
        return exercise
    name = shortened(parts[index].name)
    if not name or sum(part.name == parts[index].name for part in parts) > 1:
        name = f"{name} number {index + 1}".lstrip()
    remark = f"The score has {len(parts)} parts; {name} is read."
    return replace(exercise, remarks=(*exercise.remarks, remark))


def _with_remedies_once(problems: list[Problem]) -> list[Problem]:
    """Leave each remedy to the last of the problems that it is for."""
    last = {problem.remedy: at for at, problem in enumerate(problems)}
    return [
        problem if last[problem.remedy] == at else replace(problem, remedy="")
        for at, problem in enumerate(problems)
    ]


def _chosen(parts: list[Part], scores: list[Score], reading: Reading) -> int:
    if reading.part is not None:
        return index_of_part(reading.part, [part.name for part in parts], "part")
    for index, (part, score) in enumerate(zip(parts, scores, strict=True)):
        if not part.problems and lies_on_the_chanter(score, reading):
            return index
    with_notes = (i for i, p in enumerate(parts) if any(m.notes for m in p.measures))
    return next(with_notes, 0)
