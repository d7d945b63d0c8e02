"""What the page asks of technique: how fast each line fits, how hard it is, what to watch in it."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from renderer.workbench.asked import MOST_TEXT, Answering, text_of

if TYPE_CHECKING:
    from renderer.workbench.application import Bench


def answers(bench: Bench) -> dict[str, Answering]:
    """Return the answers about technique by their names."""

    def know(asked: Mapping[str, Any]) -> dict[str, Any]:
        """A text (or the file of that name): of each line what `rungwise check` says of it.

        `fastest`, `even`: beats a minute as text, None for any tempo; `difficulty`: points a beat;
        `played` and `advice` in English and German.
        """
        from renderer.notation.limits import FASTEST_TEMPO
        from renderer.notation.source_file import Source
        from renderer.order.settings import read_settings
        from renderer.reading.exercise import read_exercise
        from renderer.technique.report import assess
        from renderer.timing.fit import fastest_and_even_tempos, spoken_limit

        name, inner = text_of(asked, "name"), text_of(asked, "inner")
        if "text" in asked:
            data = text_of(asked, "text", MOST_TEXT).encode("utf-8", errors="replace")
        else:
            data = bench.folder.read(name).data
        settings = read_settings({"inner": inner} if inner else {})
        exercise = settings.applied_to(read_exercise(Source(name, data)))
        limits = fastest_and_even_tempos(exercise)

        def spoken(limit: Fraction | None) -> str | None:
            # Faster than anybody can ask for is every tempo.
            return None if limit is None or limit >= FASTEST_TEMPO else spoken_limit(limit)

        return {
            "lines": [
                {
                    "fastest": spoken(fastest),
                    "even": spoken(even),
                    "difficulty": round(report.difficulty, 1),
                    "played": {"en": report.played, "de": report.played_in_german},
                    "advice": [
                        {"bar": one.bar_number or str(one.bar), "en": one.text, "de": one.german}
                        for one in sorted(report.advice, key=lambda one: (one.bar, one.beat))
                    ],
                }
                for report, (fastest, even) in zip(assess(exercise), limits, strict=True)
            ]
        }

    return {"know": know}
