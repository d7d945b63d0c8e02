"""A pack's file to start from: two learners, a group, and every setting with a remark."""

from __future__ import annotations

import json
import textwrap

from renderer.order.pack_file import VERB
from renderer.order.setting_row import Setting
from renderer.order.settings import known_to

_HEAD = """\
# What a class gets. Fill it in, then:  rungwise pack {name} -o FOLDER
# Lines that begin with # are remarks: take the # away from a setting that you want.

title = "{title}"

# Files, folders or exercises that ship (rungwise list). `for` gives one to some learners only, and
# settings beside it hold for that exercise.
exercises = [
  "first-gracenotes",
  {{ file = "doublings-over-a-wide-step", for = ["Jamie"], ladder = "50:80:10" }},
]

# What holds for all. The nearer it stands to a learner, the more it counts: here, then beside an
# exercise, then under a learner.
gets = ["tracks", "sheet", "plan"]   # and "page", a practice page for a browser
mix = ["full", "backing"]
ladder = "40:60:10"

# Every other setting that tracks, sheets and plans know can stand here as well:
{settings}
# A folder for each learner, called as the learner is.
[[learners]]
name = "Jamie"
pitch = "B flat"           # A, B flat, hertz as 478, or a chanter file: "jamie.toml"
minutes = 15               # a day, in the practice plan

# A group has one folder, and each of its learners a practice plan.
[[groups]]
name = "Chanters at A"
learners = ["Ailsa", "Rory"]
pitch = "A"
share = true               # small files to send
"""

_IN_THE_HEAD = {"gets", "mix", "ladder", "pitch"}

_EXAMPLES = {
    "tempo": 60,
    "climb": "50:88:2",
    "open-to-close": ["even", "1/4 beat", "120 ms", "80 ms"],
    "repeats": 2,
    "line": 1,
    "lines": "1-2",
    "bars": "1",
    "gracenote": "45 ms",
    "placement": "on the beat",
    "inner": "1/2 beat",
    "beat": "last",
    "part": "1",
    "tune": "all",
    "size": "large",
    "booklet": "First term",
    "audience": "Larkmoor juniors",
    "link": "https://example.org/tracks",
    "playings": 12,
    "max-size": "16 MB",
    "gracenote-under": "80 ms",
    "preset": "0:109",
    "drone-preset": "0:109",
    "soundfont": "pipes.sf2",
    "drone-soundfont": "drones.sf2",
    "start": "2026-12-01",
    "date": "2026-12-01",
}
"""Of settings that have no usual value of their own."""


def _value(plain: object) -> str:
    if isinstance(plain, dict):
        return f"{{ {', '.join(f'{key} = {_value(one)}' for key, one in plain.items())} }}"
    return json.dumps(plain, ensure_ascii=False)


def _line(row: Setting) -> str:
    default = row.default
    plain = row.kind.plain(default) if default not in (None, "") else _EXAMPLES.get(row.key)
    if plain is None and row.kind.choices:
        plain = row.kind.choices[0]
    remark = textwrap.indent(textwrap.fill(row.help, 96), "#   ")
    if plain is None:
        return f"# {row.key} = ...  ({row.kind.bounds})\n{remark}\n"
    return f"# {row.key} = {_value(plain)}\n{remark}\n"


def new_pack(title: str, name: str) -> str:
    """Return the text of a pack's file to start from.

    Parameters
    ----------
    title:
        Of the class.
    name:
        The file's own, for its first line.
    """
    rows = [row for row in known_to(VERB) if row.key not in _IN_THE_HEAD]
    return _HEAD.format(title=title, name=name, settings="\n".join(map(_line, rows)))
