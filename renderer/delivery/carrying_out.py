"""Carrying out a job: a track, a playlist, a sheet, a score, a plan or a page to its file.

All of them alike, here or in another process that reads them from JSON
(`renderer.order.jobs.job_from_json`): with progress, to be cancelled by a handle, and whole or not
at all. Many tracks at a time are quicker by `renderer.delivery.render.render_jobs`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from renderer.delivery.claims import (
    Claim,
    check_claims,
    claim,
    of_line,
    which_is_read,
    write_kept,
)
from renderer.delivery.convert import convert
from renderer.delivery.render import (
    AS_USUAL,
    Handle,
    Keeping,
    OnProgress,
    RenderingStoppedError,
    list_tracks,
    render_jobs,
    source_named,
)
from renderer.errors import Problem
from renderer.notation.score import Exercise
from renderer.order.documents import Document, DocumentJob, PlaylistJob
from renderer.order.jobs import Job
from renderer.order.settings import Settings
from renderer.order.track_job import TrackJob

if TYPE_CHECKING:
    from renderer.delivery.sheet.output import Printable
    from renderer.delivery.sheet.pages import Booklet


@dataclass(frozen=True, slots=True)
class Made:
    """What came of a job.

    Parameters
    ----------
    paths:
        The files: one, but for pages as pictures.
    remarks:
        What was decided that the user should know, in sentences.
    lost:
        What the form of a score does not hold, as phrases.
    """

    paths: tuple[Path, ...]
    remarks: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()


def carry_out(
    job: Job,
    *,
    on_progress: OnProgress | None = None,
    handle: Handle | None = None,
    keeping: Keeping = AS_USUAL,
) -> Made:
    """Make the file of one job, here and now.

    Parameters
    ----------
    job:
        Which.
    on_progress:
        Called with what is done so far and what there is to do: seconds of a track, else steps.
    handle:
        Stops the work when it is cancelled; nothing half-written stays.
    keeping:
        Which order it belongs to, and whether it replaces other files.

    Raises
    ------
    RungwiseError
        For whatever the user can put right; a file that was there stays as it was.
    RenderingStoppedError
        If the handle was cancelled.
    """
    handle = Handle() if handle is None else handle
    if isinstance(job, TrackJob):
        (track,) = render_jobs(
            [job], workers=1, on_progress=on_progress, handle=handle, keeping=keeping
        )
        return Made((track.path, *track.beside), track.remarks)
    steps = 1 + (len(job.exercises) if isinstance(job, DocumentJob) else 0)

    def step(done: int) -> None:
        if on_progress is not None:
            on_progress(done, steps)
        if handle.is_cancelled:
            raise RenderingStoppedError(Problem("it was cancelled", "start it again"))

    step(0)
    if isinstance(job, PlaylistJob):
        list_tracks(job, keeping)
        made = Made((job.path,))
    else:
        made = _DOCUMENTS[job.kind](job, keeping, step)
    if on_progress is not None:
        on_progress(steps, steps)
    return made


def claim_of_document(job: DocumentJob, keeping: Keeping) -> Claim:
    """Return the claim of a sheet, a plan or a page: how it is printed makes no difference."""
    which = which_is_read(job.settings)
    if job.kind is Document.PLAN:
        which["learner"] = job.settings.learner
    return claim(
        of_line(_NAMES[job.kind], job.settings),
        [source.name for source in job.sources] or [source_named(one) for one in job.exercises],
        job.path.parent,
        which,
        order=keeping.order,
        job=job.digest,
        replace=keeping.replace,
    )


def sheet_pages(
    job: DocumentJob, step: Callable[[int], None] = lambda done: None
) -> tuple[Printable, tuple[str, ...]]:
    """Return a sheet's pages, and what was decided that the user should know.

    Parameters
    ----------
    job:
        The sheet.
    step:
        Called with how many exercises are engraved.

    Raises
    ------
    RungwiseError
        If an ornament cannot be printed as asked.
    """
    # Imported when they are needed: they bring Verovio and Typst along.
    from renderer.delivery.sheet.content import material_of
    from renderer.delivery.sheet.fitting import fitted
    from renderer.delivery.sheet.layout import PrintSize, sheet_settings

    printing = sheet_settings(job.settings)
    # A line by itself is wanted as a picture for a page of one's own, where it keeps its rows.
    alone = job.settings.line is not None and job.path.suffix.casefold() == ".svg"
    if alone:
        printing = replace(printing, size=printing.size or PrintSize.NORMAL)
    materials = []
    for number, exercise in enumerate(job.exercises, start=1):
        materials.append(material_of(exercise, printing, job.settings))
        step(number)
    pages = fitted(materials, printing, _booklet(job.exercises, job.settings))
    pages = replace(pages, music_alone=alone)
    return pages, tuple(dict.fromkeys(said for one in pages.exercises for said in one.remarks))


def _print(job: DocumentJob, keeping: Keeping, step: Callable[[int], None]) -> Made:
    from renderer.delivery.sheet.output import check_ending, write_pages

    check_ending(job.path)
    mine = claim_of_document(job, keeping)
    check_claims([(job.path, mine)])
    pages, remarks = sheet_pages(job, step)
    return Made(write_pages(pages, job.path, mine), remarks)


def _booklet(exercises: Sequence[Exercise], settings: Settings) -> Booklet | None:
    from renderer.delivery.sheet.pages import Booklet

    if settings.imposition == "cards" or (settings.booklet is None and len(exercises) == 1):
        return None
    audiences = dict.fromkeys(one.audience for one in exercises if one.audience)
    # A name that all exercises share goes on the cover; of several, none is the booklet's.
    shared = next(iter(audiences)) if len(audiences) == 1 else ""
    return Booklet(settings.booklet or "Exercises", settings.audience or shared)


def _write_score(job: DocumentJob, keeping: Keeping, _: Callable[[int], None]) -> Made:
    (exercise,) = job.exercises
    lost = convert(exercise, job.path, job.settings, replace=keeping.replace)
    return Made((job.path,), exercise.remarks, tuple(lost))


def _spread(job: DocumentJob, keeping: Keeping, step: Callable[[int], None]) -> Made:
    from renderer.delivery.practice_files import check_ending_of_plan, write_plan
    from renderer.order.planning import practice_of

    (exercise,) = job.exercises
    check_ending_of_plan(job.path)
    mine = claim_of_document(job, keeping)
    check_claims([(job.path, mine)])
    made = practice_of(exercise, job.settings)
    step(1)
    return Made(tuple(write_plan(made, job, mine)), (*made.remarks, *made.tracks))


def _page(job: DocumentJob, keeping: Keeping, step: Callable[[int], None]) -> Made:
    from renderer.delivery.page.contents import page_contents
    from renderer.delivery.page.one_file import check_ending_of_page, html_of

    check_ending_of_page(job.path)
    mine = claim_of_document(job, keeping)
    check_claims([(job.path, mine)])
    contents = page_contents(job.exercises, job.settings, step)
    write_kept(job.path, html_of(contents), mine)
    return Made((job.path,), tuple(dict.fromkeys(contents["remarks"])))


_NAMES = {
    Document.SHEET: "a sheet",
    Document.SCORE: "a score",
    Document.PLAN: "a plan",
    Document.PAGE: "a practice page",
}
_DOCUMENTS = {
    Document.SHEET: _print,
    Document.SCORE: _write_score,
    Document.PLAN: _spread,
    Document.PAGE: _page,
}
