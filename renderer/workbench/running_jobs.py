"""Work that takes a while, in threads of its own: begun, asked for, stopped.

The page begins a job, asks how far it is, and takes what came of it. So many at a time and no more,
so that no page can keep a machine busy without end.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from renderer.errors import Problem, RungwiseError, failure

if TYPE_CHECKING:
    from renderer.delivery.render import Handle

Report = Callable[..., None]
"""Takes what there is to say of how far a job is, by names."""

Work = Callable[["Handle", Report], Mapping[str, Any]]
"""Does the work and returns what came of it; ends soon after the handle is cancelled."""

MOST_AT_A_TIME = 2
MOST_KEPT = 12
"""Jobs that run at a time, and ended ones whose outcome can still be asked for."""


@dataclass
class _Running:
    handle: Handle
    progress: dict[str, Any] = field(default_factory=dict)
    outcome: dict[str, Any] | None = None


class Jobs:
    """The jobs of a workbench; safe to be asked by several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._jobs: dict[str, _Running] = {}
        self._numbers = itertools.count(1)

    def begin(self, work: Work) -> str:
        """Begin some work, and return the name of its job.

        Raises
        ------
        RungwiseError
            If so many jobs run already.
        """
        from renderer.delivery.render import Handle

        job = _Running(Handle())
        with self._lock:
            ended = [name for name, one in self._jobs.items() if one.outcome is not None]
            if len(self._jobs) - len(ended) >= MOST_AT_A_TIME:
                raise failure(
                    "other work is still being done", "wait until it has ended, or stop it"
                )
            for name in ended[: len(ended) - MOST_KEPT + 1]:
                del self._jobs[name]
            name = str(next(self._numbers))
            self._jobs[name] = job
        threading.Thread(target=self._do, args=(job, work), daemon=True).start()
        return name

    def _do(self, job: _Running, work: Work) -> None:
        def report(**progress: Any) -> None:
            job.progress = progress

        try:
            outcome: dict[str, Any] = {"state": "done", "result": dict(work(job.handle, report))}
        except RungwiseError as error:
            state = "stopped" if job.handle.is_cancelled else "failed"
            outcome = {"state": state, "problems": list(error.problems)}
        except Exception as error:  # a fault of the program: the page has to hear of it
            fault = Problem(
                f"the workbench has a fault of its own: {type(error).__name__}",
                "nothing of yours is lost; report it",
            )
            outcome = {"state": "failed", "problems": [fault]}
        job.outcome = outcome

    def told(self, name: str) -> dict[str, Any]:
        """Return how far a job is.

        Returns
        -------
        `state` (`running`, `done`, `failed` or `stopped`); while it runs, its `progress`; else its
        `result`, or its `problems` as values.
        """
        job = self._job(name)
        if job.outcome is not None:
            return dict(job.outcome)
        return {"state": "running", "progress": dict(job.progress)}

    def is_running(self, name: str) -> bool:
        """Whether a job has not ended; one that is not known any more has."""
        job = self._jobs.get(name)
        return job is not None and job.outcome is None

    def stop(self, name: str) -> None:
        """Have a job end; what it has finished stays."""
        self._job(name).handle.cancel()

    def stop_all(self) -> None:
        """Have every job end."""
        for job in list(self._jobs.values()):
            job.handle.cancel()

    def _job(self, name: str) -> _Running:
        job = self._jobs.get(name)
        if job is None:
            raise failure("nothing is known of this work any more", "begin it again")
        return job
