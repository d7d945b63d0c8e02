"""What the page asks of print: a text as the pages of its sheet, to look at and to save."""

from __future__ import annotations

import base64
import tempfile
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from renderer.errors import WrongValueError, failure
from renderer.workbench.asked import MOST_TEXT, Answering, text_of
from renderer.workbench.folder import clean_name

if TYPE_CHECKING:
    from renderer.workbench.application import Bench

_SETTINGS = ("size", "paper", "ornaments")
_KINDS = {"pdf": "application/pdf", "png": "image/png"}


def answers(bench: Bench) -> dict[str, Answering]:
    """Return the answers about print by their names."""

    def sheet(asked: Mapping[str, Any]) -> dict[str, Any]:
        """A text (or the file of that name) as `rungwise sheet` prints it, in `form` pdf or png.

        Returns `files`, a page each where the form is png, with `name`, `kind` and `data` in
        base64, and `remarks`.
        """
        from renderer.delivery.carrying_out import carry_out
        from renderer.notation.source_file import Source
        from renderer.order.documents import Document
        from renderer.order.order import Order
        from renderer.order.settings import read_settings

        name, form = text_of(asked, "name"), text_of(asked, "form") or "png"
        if form not in _KINDS:
            raise failure("sheets have no such form here", "ask for pdf or png")
        if "text" in asked:
            data = text_of(asked, "text", MOST_TEXT).encode("utf-8", errors="replace")
        else:
            data = bench.folder.read(name).data
        try:
            settings = read_settings(
                {key: value for key in _SETTINGS if (value := text_of(asked, key))}
            )
        except WrongValueError as error:
            raise error.at("", name) from None
        order = Order((Source(name, data),), settings)
        stem = PurePosixPath(clean_name(PurePosixPath(name).stem, f".{form}"))
        with tempfile.TemporaryDirectory(prefix="rungwise-") as folder:
            made = carry_out(order.document(Document.SHEET, Path(folder) / stem))
            files = [
                {
                    "name": path.name,
                    "kind": _KINDS[form],
                    "data": base64.b64encode(path.read_bytes()).decode(),
                }
                for path in made.paths
            ]
        return {"files": files, "remarks": list(made.remarks)}

    return {"sheet": sheet}
