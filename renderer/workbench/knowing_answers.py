"""What the page asks of technique: lines one by one, and a book as a whole.

Of each line how fast it fits, how hard it is, what to watch in it and what the fingers do; of a
book its ways into each movement, and the short versions of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from renderer.errors import WrongValueError, failure
from renderer.notation.pitch import Note
from renderer.notation.score import bar_numbers
from renderer.notation.source_file import Source
from renderer.workbench.asked import MOST_TEXT, Answering, text_of
from renderer.workbench.folder import clean_name, text_in

if TYPE_CHECKING:
    from renderer.delivery.abridging import Shortness
    from renderer.delivery.render import Handle
    from renderer.notation.definition.reader import Definition
    from renderer.notation.score import Exercise
    from renderer.technique.abridge import Selection
    from renderer.technique.coverage import Coverage
    from renderer.technique.finger_changes import Change, Step
    from renderer.technique.report import PlacedChange
    from renderer.workbench.application import Bench
    from renderer.workbench.running_jobs import Report

_MOST_SHORT = 64
"""Short versions that are kept, so that a slider that goes to and fro asks the solver once."""


class _Knowing:
    """The answers; each takes what was asked and gives what JSON holds."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.folder = bench, bench.folder
        self._short: dict[tuple[Source, Shortness], dict[str, Any]] = {}

    def _source(self, asked: Mapping[str, Any]) -> Source:
        """The text that was sent, else the file of that name."""
        name = text_of(asked, "name")
        if "text" in asked:
            data = text_of(asked, "text", MOST_TEXT).encode("utf-8", errors="replace")
        else:
            data = self.folder.read(name).data
        return Source(name, data)

    def _exercise(self, asked: Mapping[str, Any]) -> Exercise:
        from renderer.order.settings import read_settings
        from renderer.reading.exercise import read_exercise

        inner = text_of(asked, "inner")
        settings = read_settings({"inner": inner} if inner else {})
        return settings.applied_to(read_exercise(self._source(asked)))

    def know(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """A text (or the file of that name): of each line what `rungwise check` says of it.

        `fastest`, `even`: beats a minute as text, None for any tempo; `difficulty`: points a beat;
        `played` and `advice` in English and German; `noises`: where crossing noises lurk, and which
        hand is to move `first`.
        """
        from renderer.notation.limits import FASTEST_TEMPO
        from renderer.technique.report import assess, crossings
        from renderer.timing.fit import fastest_and_even_tempos, spoken_limit

        exercise = self._exercise(asked)
        limits = fastest_and_even_tempos(exercise)

        def spoken(limit: Fraction | None) -> str | None:
            # Faster than anybody can ask for is every tempo.
            return None if limit is None or limit >= FASTEST_TEMPO else spoken_limit(limit)

        return {
            "lines": [
                {
                    "fastest": spoken(fastest),
                    "even": spoken(even),
                    "difficulty": round(report.difficulty, 1),
                    "played": {"en": report.played, "de": report.played_in_german},
                    "advice": [
                        {"bar": one.bar_number, "en": one.text, "de": one.german}
                        for one in sorted(report.advice, key=lambda one: (one.bar, one.beat))
                    ],
                    "noises": [
                        {
                            "bar": one.bar,
                            "item": one.item,
                            "number": bar_numbers(line)[one.bar - 1],
                            "heard": int(one.heard),
                            "first": one.hand_first.value,
                        }
                        for one in crossings(line)
                    ],
                }
                for line, report, (fastest, even) in zip(
                    exercise.lines, assess(exercise), limits, strict=True
                )
            ]
        }

    def fingers(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """The line of index `line` (from 0) of a text or file: what the fingers do in it.

        Returns `changes`, each different one once, in the order of the music: its place (`bar` and
        `item` from 1, `number` of the bar), how many `times` it comes, the notes `from`, `by` (a
        gracenote, or None) and `to`; its `stations`, each the `closed` holes from the top (x or -),
        the note that `sounds`, and the `moves` that led there; and its `cautions`. Notes are
        numbers from low G up.
        """
        from renderer.technique.report import changes_of

        exercise, index = self._exercise(asked), asked.get("line")
        if not isinstance(index, int) or not 0 <= index < len(exercise.lines):
            raise failure("there is no such line any more", "load the page again")
        line = exercise.lines[index]
        numbers = bar_numbers(line)
        found: dict[Change, list[PlacedChange]] = {}
        for placed in changes_of(line):
            if placed.change.steps:
                found.setdefault(placed.change, []).append(placed)
        return {
            "changes": [
                _plain_change(change, places) | {"number": numbers[places[0].bar - 1]}
                for change, places in found.items()
            ]
        }

    def book(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """A text (or file) as a book: its ways into each movement, as `rungwise coverage` has them.

        `among` names the notes in question. Returns `movements`, each with its name, how often it
        is `played`, how many ways in are `covered`, the `notes` to be shown, from the lowest, the
        `counts` by note before (None at a start) and note, and the ways in that are `missing`.
        """
        from renderer.notation.definition.fields import read_notes
        from renderer.reading.exercise import exercise_and_book
        from renderer.technique.coverage import coverage

        try:
            among = read_notes(text_of(asked, "among") or "low G to high A")
        except WrongValueError as error:
            raise error.at("among") from None
        exercise, known = exercise_and_book(self._source(asked))
        found = coverage([exercise], book=known, among=among)
        return {"movements": [_plain_coverage(one, among) for one in found]}

    def pages(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """How many pages the sheet of a text (or file) has."""
        from renderer.delivery.sheet.fitting import pages_of
        from renderer.reading.exercise import read_exercise

        return {"pages": pages_of(read_exercise(self._source(asked)))}

    def abridge(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Begin to choose `lines` or `pages` of a text (or file), as `rungwise abridge` does.

        The job's result: `lines` (from 0), what they cover and what is `uncovered`, as names and
        notes, and what the solver has proved.
        """
        from renderer.delivery.abridging import Shortness

        source = self._source(asked)
        short = Shortness(lines=_number(asked, "lines"), pages=_number(asked, "pages"))

        def work(_handle: Handle, _report: Report) -> dict[str, Any]:
            known = self._short.get((source, short))
            if known is None:
                known = _short_version(source, short)
                if len(self._short) >= _MOST_SHORT:
                    self._short.clear()
                self._short[source, short] = known
            return known

        return {"job": self.bench.jobs.begin(work)}

    def shortened(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """A text (or file) with the lines of `lines` (from 0) only."""
        return {"text": self._shortened(asked)}

    def keep_short(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Keep the lines of `lines` of a text (or file) as a file of their own beside it."""
        from renderer.delivery.abridging import title_of_shortened

        stem = PurePosixPath(text_of(asked, "name")).stem
        data = self._shortened(asked, is_copy=True).encode()
        name = self.folder.free_name(clean_name(title_of_shortened(stem)))
        return {"name": name, "version": self.folder.save(name, data, "")}

    def _shortened(self, asked: Mapping[str, Any], *, is_copy: bool = False) -> str:
        from renderer.delivery.abridging import shortened, title_of_shortened
        from renderer.notation.definition.text import definition_text
        from renderer.reading.exercise import definition_in, definition_written_out
        from renderer.workbench.editing import edit

        source, lines = self._source(asked), _chosen(asked)
        definition = definition_in(source)
        whole = definition_written_out(source)
        if lines[-1] >= len(whole.lines):
            raise failure("the lines are others by now", "choose once more")
        if definition is None:
            return definition_text(shortened(whole, lines))
        # What was written by hand stays as it is; an order of playing goes by numbers, and goes.
        text = edit(text_in(source.data), {"do": "set", "path": ["order"], "to": None})
        text = edit(text, {"do": "arrange", "lines": _rows(definition, whole, lines)})
        if is_copy and definition.title:
            to = title_of_shortened(definition.title)
            text = edit(text, {"do": "set", "path": ["title"], "to": to})
        return text


def _number(asked: Mapping[str, Any], key: str) -> int | None:
    value = asked.get(key)
    if value is None or (isinstance(value, int) and not isinstance(value, bool)):
        return value
    raise failure(f"`{key}` is no number", "load the page again")


def _chosen(asked: Mapping[str, Any]) -> list[int]:
    lines = asked.get("lines")
    if (
        not isinstance(lines, list)
        or not lines
        or not all(isinstance(one, int) and one >= 0 for one in lines)
    ):
        raise failure("no line is chosen", "choose at least one")
    return sorted(set(lines))


def _short_version(source: Source, short: Shortness) -> dict[str, Any]:
    from renderer.delivery.abridging import choose
    from renderer.reading.exercise import definition_written_out
    from renderer.technique.realise import realise

    whole = definition_written_out(source)
    music = realise(whole)
    try:
        selection = choose(music, whole.lines, short)
    except WrongValueError as error:
        raise error.at("", source.name) from None
    return _plain_selection(selection, len(music.lines))


def _plain_selection(selection: Selection, of: int) -> dict[str, Any]:
    return {
        "lines": list(selection.lines),
        "of": of,
        "covered": len(selection.covered),
        "ways": len(selection.covered) + len(selection.uncovered),
        "most_coverable": selection.most_coverable,
        "fewest": selection.fewest_lines,
        "is_proven": selection.is_proven,
        "uncovered": [
            [one.ornament, int(one.coming_from), int(one.note)]
            for one in sorted(selection.uncovered)
        ],
    }


def _rows(
    definition: Definition, whole: Definition, lines: Sequence[int]
) -> list[int | dict[str, Any]]:
    """Return the entries of some lines: whole ones by their numbers, of others what is chosen."""
    from renderer.notation.definition.text import line_table
    from renderer.technique.realise import lines_of_entries

    rows: list[int | dict[str, Any]] = []
    chosen, first = set(lines), 0
    for entry, count in enumerate(lines_of_entries(definition)):
        own = [line for line in range(first, first + count) if line in chosen]
        if count and len(own) == count:
            rows.append(entry)
        else:
            rows += [dict(line_table(whole.lines[line]).unwrap()) for line in own]
        first += count
    return rows


def _plain_coverage(one: Coverage, among: Sequence[Note]) -> dict[str, Any]:
    played = {note for pair in one.counts for note in pair if note is not None}
    return {
        "name": one.ornament,
        "played": sum(one.counts.values()),
        "covered": one.covered,
        "possible": len(one.possible),
        "notes": [int(note) for note in Note if note in among or note in played],
        "counts": [
            [None if before is None else int(before), int(note), count]
            for (before, note), count in one.counts.items()
        ],
        "missing": [[int(before), int(note)] for before, note in one.missing],
    }


def _plain_change(change: Change, places: Sequence[PlacedChange]) -> dict[str, Any]:
    from renderer.technique.cautions import CautionKind, cautions_of
    from renderer.technique.fingering import fingering, sounding

    begun = fingering(change.previous)
    stations = [{"closed": _holes(begun), "sounds": int(sounding(begun)), "moves": None}]
    stations += [
        {"closed": _holes(step.after), "sounds": int(step.sounds), "moves": _moves(step)}
        for step in change.steps
    ]
    return {
        "bar": places[0].bar,
        "item": places[0].item,
        "times": len(places),
        "from": int(change.previous),
        "by": None if change.gracenote is None else int(change.gracenote),
        "to": int(change.note),
        "stations": stations,
        "cautions": [
            {
                "en": one.text,
                "de": one.german,
                "is_crossing": one.kind is CautionKind.CROSSING_NOISE,
            }
            for one in cautions_of(change)
        ],
    }


def _holes(closed: frozenset[Any]) -> str:
    from renderer.technique.fingering import Finger

    return "".join("x" if finger in closed else "-" for finger in Finger)


def _moves(step: Step) -> dict[str, str]:
    """Return a step's moves in words, without what sounds after them."""
    from renderer.technique import german
    from renderer.technique.text_tables import finger_words

    english, deutsch = [], []
    for fingers, verb, wort in (
        (step.lifted, "lift", "heben"),
        (step.closed, "close", "schließen"),
    ):
        if fingers:
            english.append(f"{verb} {finger_words(fingers)}")
            deutsch.append(f"{german.fingers_named(fingers, moved=True)} {wort}")
    return {"en": ", ".join(english), "de": ", ".join(deutsch)}


def answers(bench: Bench) -> dict[str, Answering]:
    """Return the answers about technique by their names."""
    knowing = _Knowing(bench)
    return {
        "know": knowing.know,
        "fingers": knowing.fingers,
        "book": knowing.book,
        "pages": knowing.pages,
        "abridge": knowing.abridge,
        "shortened": knowing.shortened,
        "keep-short": knowing.keep_short,
    }
