"""What the page asks of chanters: recordings listened to, compared, and kept as chanter files."""

from __future__ import annotations

import base64
import datetime
import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from renderer.errors import Problem, RungwiseError, WrongValueError, failure
from renderer.workbench.asked import Answering, text_of, texts_of
from renderer.workbench.folder import clean_name, is_recording
from renderer.workbench.said import plain_problem, said_text

if TYPE_CHECKING:
    from renderer.delivery.render import Handle
    from renderer.listening.hearing import HeardChanter
    from renderer.listening.several import Compared
    from renderer.workbench.application import Bench
    from renderer.workbench.running_jobs import Report

MOST_RECORDINGS = 30
"""Recordings that are laid beside each other."""

_MOST_HEARD = 60


@dataclass(frozen=True, slots=True)
class _Recorded:
    """A recording of the folder as it is now."""

    name: str
    path: Path
    size: int
    changed_ns: int

    @property
    def on(self) -> datetime.date:
        return datetime.date.fromtimestamp(self.changed_ns / 1e9)


class _Tuning:
    """The answers; what was heard of a recording is kept while the recording is the same."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.folder = bench, bench.folder
        self._heard: OrderedDict[_Recorded, HeardChanter] = OrderedDict()
        self._lock = threading.Lock()

    def listen(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Begin to listen to recordings of the folder; one is measured, several are compared."""
        recorded = self._recorded(asked)
        scale = _scale_name(text_of(asked, "scale"))

        def work(handle: Handle, report: Report) -> dict[str, Any]:
            heard = self._heard_of(recorded, handle, report)
            if len(recorded) == 1:
                return _one(recorded[0].name, heard[0], scale)
            return _several(dict(zip((one.name for one in recorded), heard, strict=True)))

        return {"job": self.bench.jobs.begin(work)}

    def keep_chanter(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Write what was heard as a chanter file of the folder."""
        from renderer.listening.measured import measured_text, middle_text

        recorded = self._recorded(asked)
        called, at = text_of(asked, "called", 80).strip(), text_of(asked, "at", 200).strip()
        with self._lock:
            heard = {one.name: self._heard.get(one) for one in recorded}
        known = {name: one for name, one in heard.items() if one is not None}
        if len(known) != len(recorded):
            raise failure("this recording has changed meanwhile", "listen to it again")
        on = max(one.on for one in recorded)
        stems = {one.name: PurePosixPath(one.name).stem for one in recorded}
        if len(recorded) == 1:
            (name,) = known
            called = called or stems[name]
            text = measured_text(known[name], called, on=on, at=at)
        else:
            text = middle_text(_compared(known), known, stems, called, on=on, at=at)
            called = called or f"Median of {len(known)} chanters"
        name = self.folder.free_name(clean_name(called))
        return {"name": name, "version": self.folder.save(name, text.encode(), "")}

    def job(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """How far a job is, and what came of it."""
        told = self.bench.jobs.told(text_of(asked, "job"))
        if "problems" in told:
            # Of several files, each problem says which.
            told["problems"] = [plain_problem(one, names_file=True) for one in told["problems"]]
        return told

    def stop_job(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        self.bench.jobs.stop(text_of(asked, "job"))
        return {}

    def _recorded(self, asked: Mapping[str, Any]) -> list[_Recorded]:
        names = list(dict.fromkeys(texts_of(asked, "names", MOST_RECORDINGS)))
        if not names:
            raise failure("no recording is chosen", "choose one")
        found = []
        for name in names:
            if not is_recording(name):
                raise failure("this is no recording", "choose one", file=name)
            path = self.folder.place(name)
            if not path.is_file():
                raise failure("there is no such file", "look in the library", file=name)
            about = path.stat()
            found.append(_Recorded(name, path, about.st_size, about.st_mtime_ns))
        return found

    def _heard_of(
        self, recorded: Sequence[_Recorded], handle: Handle, report: Report
    ) -> list[HeardChanter]:
        found: list[HeardChanter] = []
        problems: list[Problem] = []
        for one in recorded:
            with self._lock:
                known = self._heard.get(one)
            if known is not None:
                found.append(known)
                continue
            try:
                heard = _listened(one, handle, report)
            except WrongValueError as error:
                problems.append(Problem(error.cause, error.remedy, file=one.name))
                continue
            except RungwiseError as error:
                if handle.is_cancelled:
                    raise
                problems += [replace(problem, file=one.name) for problem in error.problems]
                continue
            with self._lock:
                self._heard[one] = heard
                while len(self._heard) > _MOST_HEARD:
                    self._heard.popitem(last=False)
            found.append(heard)
        if problems:
            raise RungwiseError(problems)
        return found


def _listened(one: _Recorded, handle: Handle, report: Report) -> HeardChanter:
    from renderer.listening.hearing import listen
    from renderer.listening.recording import open_recording

    def heard(seconds: float) -> None:
        if handle.is_cancelled:
            raise failure("it was stopped", "begin it again")
        report(name=one.name, seconds=round(seconds))

    report(name=one.name, seconds=0)
    recording = open_recording(one.path)
    hearing = listen(recording, recording.rate, heard=heard)
    return hearing.chanter(full_scale_share=recording.full_scale_share)


def _scale_name(name: str) -> str:
    if not name:
        return ""
    from renderer.sound.tuning import scale_named

    return scale_named(name).name


def _compared(heard: Mapping[str, HeardChanter]) -> Compared:
    from renderer.listening.several import compare

    try:
        return compare(heard)
    except WrongValueError as error:
        raise error.at("") from None


def _image(drawn: bytes) -> str:
    return f"data:image/svg+xml;base64,{base64.b64encode(drawn).decode()}"


def _one(name: str, heard: HeardChanter, scale: str) -> dict[str, Any]:
    """Return what was heard of one chanter, as JSON holds it; distances are in cents."""
    from renderer.delivery.tuning_pictures import tuning_picture
    from renderer.listening.drones import beats_of
    from renderer.listening.several import drone_advice
    from renderer.sound.tuning import scale_named, scales

    stem = PurePosixPath(name).stem
    against = scale_named(scale) if scale else heard.scale
    off = {one.name: heard.off_cents(one) for one in scales().values()}
    drones = heard.drones
    beats = () if drones is None else beats_of(drones, heard.low_a_hz)
    return {
        "called": stem,
        "low_a_hz": heard.low_a_hz,
        "is_practice": heard.is_practice,
        "seconds": heard.seconds,
        "scale": against.name,
        "nearest": heard.scale.name,
        "scales": list(off),
        "notes": [
            {
                "note": int(one.note),
                "hz": one.hz,
                "cents": one.cents,
                "off": float(off[against.name][one.note]),
                "spread": one.spread_cents,
                "seconds": one.seconds,
                "heard": one.is_heard,
                "confidence": one.confidence,
            }
            for one in heard.notes
        ],
        "beats": [[beat.first, beat.second, beat.rate_hz] for beat in beats],
        "advice": [
            said_text(one)
            for one in (() if drones is None else drone_advice(drones, heard.low_a_hz))
        ],
        "remarks": [said_text(one) for one in heard.remarks],
        "picture": _image(tuning_picture(heard, stem, against, ".svg")),
    }


def _several(heard: Mapping[str, HeardChanter]) -> dict[str, Any]:
    """Return how several chanters lie beside each other, as JSON holds it."""
    from renderer.delivery.tuning_pictures import comparison_picture

    compared = _compared(heard)
    return {
        "chanters": [PurePosixPath(name).stem for name in compared.off_cents],
        "nearest": PurePosixPath(compared.nearest).stem,
        "middle": {int(note): hz for note, hz in compared.middle_hz.items()},
        "off": [
            {int(note): cents for note, cents in off.items()} for off in compared.off_cents.values()
        ],
        "mendings": [
            {
                "chanter": PurePosixPath(one.chanter).stem,
                "note": None if one.note is None else int(one.note),
                "cents": one.cents,
                "remedy": said_text(one.remedy),
            }
            for one in compared.mendings
        ],
        "remarks": [
            {
                language: text and f"{PurePosixPath(name).stem}: {text}"
                for language, text in said_text(remark).items()
            }
            for name, one in heard.items()
            for remark in one.remarks
        ],
        "picture": _image(comparison_picture(compared, ".svg")),
    }


def answers(bench: Bench) -> dict[str, Answering]:
    """Return the answers about chanters and jobs by their names."""
    tuning = _Tuning(bench)
    return {
        "listen": tuning.listen,
        "keep-chanter": tuning.keep_chanter,
        "job": tuning.job,
        "stop-job": tuning.stop_job,
    }
