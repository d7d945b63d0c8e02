"""Practice plans of a pack, worked out before anything of it is made: some cannot be."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from renderer.errors import Problem, RungwiseError
from renderer.order.documents import Document, DocumentJob
from renderer.order.packs import PackPlan, PlannedFile
from renderer.order.planning import practice_of
from renderer.timing.practice import PracticePlan

_MOST_KEPT = 1_000
_KEPT: dict[str, PracticePlan] = {}
"""What was worked out last, by the digests of its jobs: a pack is foretold, then made."""


def practices_of(
    plan: PackPlan,
    files: Iterable[PlannedFile],
    on_next: Callable[[int, int], None] = lambda done, of: None,
) -> dict[str, PracticePlan]:
    """Return the practice of every plan among files of a pack, by the digests of their jobs.

    Each takes about a tenth of a second, so before each of them, and after the last, `on_next` is
    called with how many are done of how many; it may raise to stop.

    Raises a `RungwiseError` with every one that its days and minutes have no room for, placed at
    the learner or group in the pack's file.
    """
    found: dict[str, PracticePlan] = {}
    problems: dict[Problem, None] = {}
    places = {share.name: share.receiver.layer.place for share in plan.pack.shares}
    wanted = [
        (one, one.job)
        for one in files
        if isinstance(one.job, DocumentJob) and one.job.kind is Document.PLAN
    ]
    for done, (one, job) in enumerate(wanted):
        on_next(done, len(wanted))
        try:
            known = _KEPT.get(one.digest)
            found[one.digest] = known or practice_of(job.exercises[0], job.settings)
        except RungwiseError as error:
            name = Path(job.exercises[0].source).name or job.exercises[0].title
            for problem in error.problems:
                cause = f"the practice plan of {name} cannot be made: {problem.cause}"
                place, file = places[one.receiver], plan.pack.file
                problems[replace(problem, cause=cause, place=place, file=file)] = None
    on_next(len(wanted), len(wanted))
    if problems:
        raise RungwiseError(problems)
    if len(_KEPT) > _MOST_KEPT:
        _KEPT.clear()
    _KEPT.update(found)
    return found
