"""What `rungwise sheet` and `rungwise page` have alike: an engraved file of exercises is made."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from renderer.commands.console import output_console
from renderer.commands.options import order_of, say_left_over
from renderer.order.settings import Settings

if TYPE_CHECKING:
    from renderer.order.documents import Document


def make_engraved(
    kind: Document,
    files: list[Path],
    output: Path,
    settings: Settings,
    *,
    replace: bool,
    tidy: bool,
    after_engraving: str,
) -> None:
    """Carry out a document's job with its progress shown; say its remarks and where it is.

    Parameters
    ----------
    kind:
        What is made; its value is the verb.
    files, output, settings, replace, tidy:
        As the verb was given them; `output` has an ending of that kind.
    after_engraving:
        What is done once all exercises are engraved, in words.
    """
    from rich.console import Console

    from renderer.delivery.carrying_out import carry_out
    from renderer.delivery.claims import identity_of
    from renderer.delivery.render import Keeping

    ordered = order_of(files, settings)
    job = ordered.document(kind, output)
    order = identity_of(kind.value, ordered, output.parent, output.name)
    count = len(job.exercises)
    with Console(stderr=True).status("Engraving") as status:

        def moved(done: float, _: float) -> None:
            if done >= count:
                status.update(after_engraving)
            elif count > 1:
                status.update(f"Engraving exercise {done + 1:.0f} of {count}")

        made = carry_out(job, on_progress=moved, keeping=Keeping(order, replace))
    console = output_console()
    for text in (*(f"Note: {remark}" for remark in made.remarks), *map(str, made.paths)):
        console.print(text, markup=False, highlight=False, soft_wrap=True)
    say_left_over(output.parent, order, made.paths, tidy=tidy)
