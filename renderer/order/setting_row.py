"""A row of the table of settings (`renderer.order.settings`): what is known of a setting."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

from renderer.notation.score import Exercise
from renderer.order.kinds import Kind

if TYPE_CHECKING:
    from renderer.order.settings import Settings

_T = TypeVar("_T")

TRACKS = frozenset({"render", "events", "check", "sheet", "plan", "play"})
"""The verbs that make or describe tracks: they know whatever tracks differ by."""

PLAYED = TRACKS | {"convert"}
"""Those, and the verb whose MIDI files play what tracks play."""

PAGED = frozenset({"page"})
"""The verb of practice pages, on which the learner chooses what tracks differ by otherwise."""

READ = PLAYED | PAGED | {"fingering"}
"""The verbs that read an exercise and change nothing in it."""

PACKED = frozenset({"render", "sheet", "plan", "page"})
"""The verbs whose files packs have in them: what these know can stand in a pack's file."""

SCORED = READ | {"expand", "coverage", "abridge"}
"""Those, and the verbs of whole books: all that read scores, and so know how."""

EVERY_NAME = "in every name"
NO_TRACK = "no track differs by it"


@dataclass(frozen=True, slots=True)
class Setting:
    """A row of the table of settings; see `renderer.order.settings`.

    Parameters
    ----------
    name:
        The keyword of the Python interface.
    kind:
        How it is read, its bounds, how JSON has it.
    help:
        What it does, in a sentence.
    verbs:
        The commands that know it.
    said:
        What a file's name says of it.
    default:
        The value where nothing is given.
    own:
        What an exercise asks for itself; None where it has no say.
    usual:
        Other defaults, by verb.
    option:
        The option's name, where it is not the setting's.
    panel:
        Under which heading help lists it; empty for none of its own.
    """

    name: str
    kind: Kind
    help: str
    verbs: frozenset[str]
    said: str | Callable[[Any], str]
    default: Any
    own: Callable[[Exercise], Any] | None
    usual: Mapping[str, Any]
    option: str
    panel: str

    @property
    def key(self) -> str:
        """Its key in packs and JSON."""
        return self.name.replace("_", "-")

    def default_of(self, verb: str) -> Any:
        """Return the default that a verb has."""
        return self.usual.get(verb, self.default)

    def shown(self, settings: Settings) -> str:
        """Return its value as help and messages write it."""
        plain = self.kind.plain(settings.of(self.name))
        if isinstance(plain, bool):
            return "on" if plain else "off"
        return ", ".join(map(str, plain)) if isinstance(plain, list) else str(plain)

    def words(self, settings: Settings) -> str:
        """Return what names say where it is not as usual."""
        if callable(self.said):
            return self.said(settings)
        return self.said.format(getattr(settings, self.name))


def row(
    default: _T,
    kind: Kind,
    help_text: str,
    verbs: frozenset[str],
    said: str | Callable[[Settings], str],
    *,
    own: Callable[[Exercise], _T] | None = None,
    usual: Mapping[str, _T] | None = None,
    option: str = "",
    panel: str = "",
    is_packed: bool = True,
) -> _T:
    """Return a row as a field of the table; its parameters are those of `Setting`.

    `is_packed`: whether packs have it too where a verb of their files does.
    """
    if verbs & PACKED and is_packed:
        verbs |= {"pack"}
    made = Setting("", kind, help_text, verbs, said, default, own, usual or {}, option, panel)
    # What a dataclass takes for a field is, to a type checker, its default.
    return field(default=default, metadata={"setting": made})


SOUND_PANEL = "How tracks sound"
SCORES_PANEL = "Reading scores (ABC, MusicXML, MIDI)"
