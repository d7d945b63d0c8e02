"""What a pack would be, before it is made: files, minutes, megabytes, seconds of work."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from renderer.delivery.forecast import forecast
from renderer.delivery.manifest import Entry, read_manifest
from renderer.delivery.packing.making import Due
from renderer.delivery.packing.sending import parcels_of
from renderer.delivery.render import cores
from renderer.delivery.work import Work, rates_here, work_of
from renderer.order.packs import PackPlan, PlannedFile
from renderer.order.track_job import TrackJob


@dataclass(frozen=True, slots=True)
class Foretold:
    """What a run would make.

    Parameters
    ----------
    due, files:
        How many files are to be made or linked, of how many.
    tracks, seconds:
        How many tracks are to be rendered, and how long they play.
    numbered:
        How many more tracks sound as they are to and need another number only.
    bytes:
        What the files that are made come to, about; links take no room.
    sizes:
        About how many bytes every file of the pack will have, by its path.
    parcels, parcel_bytes:
        How many files to send are to be made, and what they come to, about.
    too_large:
        Files that will probably be larger than one that is sent may be.
    work:
        How long that takes.
    """

    due: int
    files: int
    tracks: int
    seconds: float
    numbered: int
    bytes: int
    sizes: Mapping[str, int]
    parcels: int
    parcel_bytes: int
    too_large: tuple[str, ...]
    work: Work


def foretold(plan: PackPlan, due: Sequence[Due], workers: int | None = None) -> Foretold:
    """Return what `renderer.delivery.packing.making.make` would make.

    Parameters
    ----------
    plan:
        Of the pack.
    due:
        From `renderer.delivery.packing.making.due_of`.
    workers:
        As for `make`.
    """
    known = read_manifest(plan.root).made
    going = {one.file.path for one in due}
    there = {one.digest for one in plan.files if one.path not in going}
    # What is there under a name that the pack has no longer is linked as well.
    there |= {entry.job for path, entry in known.items() if (plan.root / path).is_file()}
    made = {one.file.digest: one.file for one in due if one.file.digest not in there}
    numbered = {one.file.digest for one in due if one.sounding is not None} & made.keys()
    rendered = [one for digest, one in made.items() if digest not in numbered]
    jobs = [one.job for one in rendered if isinstance(one.job, TrackJob)]
    sizes = _sizes(plan, going, {one.digest for one in made.values()})
    by_digest = {one.digest: sizes[one.path] for one in plan.files}
    parcels, too_large = _parcels(plan, going, sizes, known)
    pages = [one.what for one in made.values() if not isinstance(one.job, TrackJob)]
    parcel_bytes = sum(parcels)
    return Foretold(
        due=len(due),
        files=len(plan.files),
        tracks=len(jobs),
        seconds=float(sum(job.duration for job in jobs)),
        numbered=len(numbered),
        bytes=sum(by_digest[digest] for digest in made),
        sizes=sizes,
        parcels=len(parcels),
        parcel_bytes=parcel_bytes,
        too_large=too_large,
        work=work_of(jobs, workers or cores(), pages=pages, parcel_bytes=parcel_bytes),
    )


def _sizes(plan: PackPlan, going: set[str], made: set[str]) -> dict[str, int]:
    """About how many bytes each file will have; of what stays, exactly."""
    rates = rates_here()
    first: dict[str, PlannedFile] = {}
    for one in plan.files:
        first.setdefault(one.digest, one)
    foretold = [one for one in plan.files if first[one.digest] is one and one.path in going]
    tracks = [one for one in foretold if isinstance(one.job, TrackJob)]
    jobs = [one.job for one in tracks if isinstance(one.job, TrackJob)]
    coming = {one.digest: f.bytes for one, f in zip(tracks, forecast(jobs), strict=True)}
    sizes: dict[str, int] = {}
    for one in plan.files:
        place = plan.root / one.path
        if one.path not in going and place.is_file():
            sizes[one.path] = place.stat().st_size
        else:
            sizes[one.path] = coming.get(one.digest, rates.bytes(one.what))
    return sizes


def _parcels(
    plan: PackPlan, going: set[str], sizes: Mapping[str, int], known: Mapping[str, Entry]
) -> tuple[list[int], tuple[str, ...]]:
    """The bytes of each file to send that is to be made, and files that are too large for one."""
    digests = {
        path: known[path].sha256 if path not in going and path in known else f"to come: {path}"
        for path in sizes
    }
    found: list[int] = []
    too_large: list[str] = []
    for share in plan.pack.shares:
        files = [one.path for one in plan.of(share.name)]
        most = share.settings.max_size
        larger = [path for path in files if most is not None and sizes[path] > most]
        too_large += larger
        if not share.settings.zip:
            continue
        small = [path for path in files if path not in larger]
        for parcel in parcels_of(share.name, small, sizes, digests, most):
            entry = known.get(parcel.path)
            is_there = entry is not None and entry.job == parcel.digest
            if not (is_there and (plan.root / parcel.path).is_file()):
                found.append(sum(sizes[path] for path in parcel.files))
    return found, tuple(too_large)
