"""What the page asks of files: the library, opening, saving, earlier versions, names."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from renderer.errors import RungwiseError, failure
from renderer.notation.limits import LARGEST_SCORE_BYTES, LONGEST_FILE_BYTES
from renderer.workbench.asked import MOST_TEXT, Answering, text_of, texts_of
from renderer.workbench.folder import MOST_LISTED, Opened, clean_name, is_recording, text_in
from renderer.workbench.said import said_problem

if TYPE_CHECKING:
    from renderer.workbench.application import Bench

_NEW = """title = {title}
meter = "3/4"
tempo = 60

[[lines]]
run = "low A, B, C"
"""


class _Files:
    """The answers; each takes what was asked and gives what JSON holds."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.folder = bench, bench.folder

    def library(self, _asked: Mapping[str, Any]) -> dict[str, Any]:
        from renderer.workbench.library_rows import told_rows

        self.bench.warm()
        return {
            "folder": self.folder.root.name or str(self.folder.root),
            "files": told_rows(self.folder),
            "removed": [
                {"name": name, "when": when, "version": version}
                for name, when, version in self.folder.removed()
            ],
        }

    def shipped(self, _asked: Mapping[str, Any]) -> dict[str, Any]:
        from renderer.workbench.library_rows import shipped_rows

        return {"shipped": shipped_rows()}

    def opened(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        found = self.folder.read(text_of(asked, "name"))
        self.bench.warm()
        return {
            "name": found.name,
            "text": found.text if is_written(found.name) else None,
            "version": found.version,
            "is_definition": is_definition(found.name),
        }

    def standing(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """The version that is on disk, to notice what other programs do."""
        return {"version": self.folder.version(text_of(asked, "name"))}

    def save(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        name, text = text_of(asked, "name"), text_of(asked, "text", MOST_TEXT)
        return {"version": self.folder.save_text(name, text, text_of(asked, "version"))}

    def keep(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Keep a text among the earlier versions, while the file itself is somebody else's."""
        self.folder.keep(
            text_of(asked, "name"), text_of(asked, "text", MOST_TEXT).encode(errors="replace")
        )
        return {}

    def new(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """A new exercise, or a copy of a shipped one."""
        shipped = text_of(asked, "shipped")
        title = text_of(asked, "title").strip()
        if shipped:
            from renderer.workbench.library_rows import shipped_data

            data = shipped_data(shipped)
            name = self.folder.free_name(clean_name(shipped))
        else:
            import tomlkit

            name = self.folder.free_name(clean_name(title or "New exercise"))
            shown = tomlkit.item(title or "New exercise").as_string()
            data = _NEW.format(title=shown).encode()
        return {"name": name, "version": self.folder.save(name, data, "")}

    def duplicate(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        found = self.folder.read(text_of(asked, "name"))
        name = self.folder.free_name(found.name)
        return {"name": name, "version": self.folder.save(name, found.data, "")}

    def rename(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Another name for a file, also in the packs that name it: all, or those of a list.

        Returns its `name`, the `packs` that were changed, and those that are `left` as they were,
        each with why.
        """
        from renderer.workbench.named_files import with_new_name

        name, to = text_of(asked, "name"), text_of(asked, "to").strip()
        if not PurePosixPath(to).suffix:
            to += PurePosixPath(name).suffix
        only = texts_of(asked, "packs", MOST_LISTED) if "packs" in asked else None
        found = [one for one in self._that_may_name(name) if only is None or one.name in only]
        self.folder.rename(name, to, text_of(asked, "version"))
        packs, left = [], []
        for one in found:
            own = to if one.name == name else one.name
            try:
                changed = with_new_name(one.text, one.name, name, to)
                if changed != one.text:
                    self.folder.save_text(own, changed, one.version)
                    packs.append(own)
            except RungwiseError as error:
                left.append({"name": own, "why": said_problem(error.problems[0])})
        return {"name": to, "packs": packs, "left": left}

    def _that_may_name(self, name: str) -> list[Opened]:
        """Return what may be a pack, and so may name a file."""
        if is_recording(name):
            return []
        found = []
        for entry in self.folder.entries():
            if is_definition(entry.name) and entry.size <= LONGEST_FILE_BYTES:
                with suppress(RungwiseError):  # gone meanwhile
                    one = self.folder.read(entry.name)
                    if b"exercises" in one.data:
                        found.append(one)
        return found

    def remove(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Take a file out of the library; returns the `packs` that still name it."""
        from renderer.workbench.named_files import names

        name = text_of(asked, "name")
        packs = [
            one.name
            for one in self._that_may_name(name)
            if one.name != name and names(one.text, one.name, name)
        ]
        self.folder.remove(name, text_of(asked, "version"))
        return {"packs": packs}

    def put_back(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """A file that was removed, as it was, under its name or, where that is taken, another."""
        name = text_of(asked, "name")
        data = self.folder.earlier_data(name, text_of(asked, "version"))
        name = self.folder.free_name(name)
        return {"name": name, "version": self.folder.save(name, data, "")}

    def earlier(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        rows = self.folder.earlier(text_of(asked, "name"))
        return {"versions": [{"when": when, "version": version} for when, version in rows]}

    def earlier_text(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        data = self.folder.earlier_data(text_of(asked, "name"), text_of(asked, "version"))
        return {"text": text_in(data)}

    def drop(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """A file that is dropped in: what it is, and under which name it was kept."""
        from renderer.workbench.library_rows import told

        data, name = asked.get("data", b""), text_of(asked, "name")
        if not isinstance(data, bytes) or not data:
            raise failure("the file is empty", "choose another", file=name[:80])
        path = PurePosixPath(name.replace("\\", "/").rpartition("/")[2])
        most = MOST_TEXT if is_definition(path.name) else LARGEST_SCORE_BYTES
        if len(data) > most and not is_recording(path.name):
            cause = f"this is larger than {most / 1_000_000:g} MB, too large for what it is"
            raise failure(cause, "choose another", file=path.name[:80])
        name = self.folder.free_name(clean_name(path.stem, path.suffix))
        row = told(name, data)
        if row["problems"] and row["kind"] == "unknown":
            raise RungwiseError(row["found"])
        version = self.folder.save(name, data, "")
        return {"name": name, "version": version} | {
            key: value for key, value in row.items() if key != "found"
        }

    def end(self, _asked: Mapping[str, Any]) -> dict[str, Any]:
        self.bench.end()
        return {}


def answers(bench: Bench) -> dict[str, Answering]:
    """Return the answers about files by their names."""
    files = _Files(bench)
    return {
        "library": files.library,
        "shipped": files.shipped,
        "open": files.opened,
        "standing": files.standing,
        "save": files.save,
        "keep": files.keep,
        "new": files.new,
        "duplicate": files.duplicate,
        "rename": files.rename,
        "remove": files.remove,
        "put-back": files.put_back,
        "earlier": files.earlier,
        "earlier-text": files.earlier_text,
        "drop": files.drop,
        "end": files.end,
    }


def is_definition(name: str) -> bool:
    """Whether a file is one that fields can change."""
    return name.casefold().endswith((".toml", ".txt"))


def is_written(name: str) -> bool:
    """Whether a file is text that a person can write in."""
    return is_definition(name) or name.casefold().endswith((".abc", ".musicxml", ".xml"))
