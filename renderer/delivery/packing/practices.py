"""Practice plans of a pack, worked out before anything of it is made: some cannot be."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from renderer.errors import Problem, RungwiseError
from renderer.order.documents import Document, DocumentJob
from renderer.order.packs import PackPlan, PlannedFile
from renderer.order.planning import practice_of
from renderer.timing.practice import PracticePlan


def practices_of(plan: PackPlan, files: Iterable[PlannedFile]) -> dict[str, PracticePlan]:
    """Return the practice of every plan among files of a pack, by the digests of their jobs.

    Raises a `RungwiseError` with every one that its days and minutes have no room for, placed at
    the learner or group in the pack's file.
    """
    found: dict[str, PracticePlan] = {}
    problems: dict[Problem, None] = {}
    places = {share.name: share.receiver.layer.place for share in plan.pack.shares}
    for one in files:
        job = one.job
        if not isinstance(job, DocumentJob) or job.kind is not Document.PLAN:
            continue
        try:
            found[one.digest] = practice_of(job.exercises[0], job.settings)
        except RungwiseError as error:
            name = Path(job.exercises[0].source).name or job.exercises[0].title
            for problem in error.problems:
                cause = f"the practice plan of {name} cannot be made: {problem.cause}"
                place, file = places[one.receiver], plan.pack.file
                problems[replace(problem, cause=cause, place=place, file=file)] = None
    if problems:
        raise RungwiseError(problems)
    return found
