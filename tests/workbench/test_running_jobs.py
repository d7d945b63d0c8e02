"""Work that takes a while: so much at a time, told of, stopped, and its faults said."""

from __future__ import annotations

from collections.abc import Mapping
from threading import Event
from typing import Any

import pytest

from renderer.delivery.render import Handle
from renderer.errors import RungwiseError, failure
from renderer.workbench.running_jobs import MOST_AT_A_TIME, MOST_KEPT, Jobs, Report, Work
from tests.workbench.benches import waited_for


def ended(jobs: Jobs, name: str) -> dict[str, Any]:
    def told() -> dict[str, Any] | None:
        found = jobs.told(name)
        return None if found["state"] == "running" else found

    return waited_for(told)


def numbered(number: int) -> Work:
    return lambda _handle, _report: {"n": number}


def until_stopped(handle: Handle, report: Report) -> Mapping[str, Any]:
    report(done=3, of=12)
    wait = Event()
    while not handle.is_cancelled:
        wait.wait(0.01)
    raise failure("it was stopped", "begin it again")


def test_a_job_tells_how_far_it_is_and_ends_when_it_is_stopped() -> None:
    jobs = Jobs()
    name = jobs.begin(until_stopped)
    told = waited_for(lambda: jobs.told(name).get("progress"))
    assert told == {"done": 3, "of": 12}
    jobs.stop(name)
    assert ended(jobs, name)["state"] == "stopped"


def test_no_more_than_so_many_run_at_a_time() -> None:
    jobs = Jobs()
    names = [jobs.begin(until_stopped) for _ in range(MOST_AT_A_TIME)]
    with pytest.raises(RungwiseError, match="Wait until it has ended"):
        jobs.begin(until_stopped)
    jobs.stop_all()
    for name in names:
        ended(jobs, name)
    assert ended(jobs, jobs.begin(lambda _handle, _report: {"made": 1}))["result"] == {"made": 1}


def test_a_fault_of_the_program_is_said_and_the_next_job_runs() -> None:
    jobs = Jobs()

    def faulty(_handle: Handle, _report: Report) -> Mapping[str, Any]:
        raise ZeroDivisionError

    told = ended(jobs, jobs.begin(faulty))
    assert told["state"] == "failed" and "ZeroDivisionError" in str(told["problems"][0])

    def refused(_handle: Handle, _report: Report) -> Mapping[str, Any]:
        raise failure("there is no such learner", "name one")

    told = ended(jobs, jobs.begin(refused))
    assert told["state"] == "failed" and "no such learner" in str(told["problems"][0])


def test_what_ended_long_ago_is_forgotten_and_said_so() -> None:
    jobs = Jobs()
    names = []
    for number in range(MOST_KEPT + 3):
        name = jobs.begin(numbered(number))
        ended(jobs, name)
        names.append(name)
    assert jobs.told(names[-1])["result"] == {"n": MOST_KEPT + 2}
    with pytest.raises(RungwiseError, match="Begin it again"):
        jobs.told(names[0])
