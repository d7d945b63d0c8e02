"""Breaking off: what takes long asks between its steps whether it is still wanted.

An instrument takes a second or two of the processor when it is first made, and so do the events of
a track of hours that are gone through before its sound is made. An instrument's parts are kept by
what decides them, so that who may break them off cannot be an argument: it is the thread's context.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

_T = TypeVar("_T")
_asked: ContextVar[Callable[[], None]] = ContextVar("go_on", default=lambda: None)


@contextmanager
def breaking_off(go_on: Callable[[], None]) -> Iterator[None]:
    """Let what is done within, in this thread, be broken off: `go_on` raises where it is to end."""
    before = _asked.set(go_on)
    try:
        yield
    finally:
        _asked.reset(before)


def ask_to_go_on() -> None:
    """Raise what ends the work, where it is not wanted any more."""
    _asked.get()()


def asking(items: Iterable[_T]) -> Iterator[_T]:
    """Yield the same items, and ask before each whether to go on."""
    for one in items:
        ask_to_go_on()
        yield one
