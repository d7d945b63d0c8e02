"""The workbench's own modules: words in both languages, all of them there and used; only ours."""

from __future__ import annotations

import re

from renderer.workbench.application import PAGES, PLAYER, static_files

MODULES = {
    path.name: path.read_text("utf-8")
    for path in PAGES.glob("*.js")
    if path.name != "codemirror.js"
}


def rows(text: str) -> dict[str, tuple[str, str]]:
    table = text.split("const TABLE = {")[1].split("\n};", maxsplit=1)[0]
    found = re.findall(
        r'^  "?([\w-]+)"?: \[\s*"((?:[^"\\]|\\.)*)",\s*"((?:[^"\\]|\\.)*)",?\s*\]',
        table,
        re.MULTILINE,
    )
    assert len(found) == len(re.findall(r'^  "?[\w-]+"?: \[', table, re.MULTILINE))
    return {key: (english, german) for key, english, german in found}


OWN = rows(MODULES["words.js"])
PLAYERS = rows((PLAYER / "words.js").read_text("utf-8"))


def test_every_word_that_is_said_is_in_a_table() -> None:
    for name, text in MODULES.items():
        for key in re.findall(r'\b(?:say|labelled)\("(\w+)"', text):
            assert key in OWN or key in PLAYERS, (name, key)
        for stem in re.findall(r"say\(`(\w+)_\$\{", text):
            assert any(key.startswith(f"{stem}_") for key in OWN | PLAYERS), (name, stem)


def test_every_word_of_the_table_is_used() -> None:
    text = "".join(one for name, one in MODULES.items() if name != "words.js")
    stems = set(re.findall(r"say\(`(\w+)_\$\{", text))
    variable = {*re.findall(r'"(\w+)"', text)}
    from_choices = {"second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth"}
    from_choices |= {"rising", "falling", "both", "turning"}
    for key in OWN:
        is_of_stem = any(key.startswith(f"{stem}_") for stem in stems)
        assert key in variable or is_of_stem or key in from_choices, key


def test_places_are_filled_alike_in_both_languages() -> None:
    for key, (english, german) in OWN.items():
        places = [sorted(re.findall(r"\{(\w+)\}", text)) for text in (english, german)]
        assert places[0] == places[1], key


def test_modules_import_what_is_handed_out() -> None:
    addresses = static_files()
    for name, text in MODULES.items():
        for found in re.findall(r'from "([^"]+)"', text):
            path = (PAGES / found).resolve()
            assert any(path == one.resolve() for one, _ in addresses.values()), (name, found)
    assert "/" in addresses and not any(one.endswith(".py") for one in addresses)


def test_the_page_has_no_script_or_style_inside() -> None:
    page = (PAGES / "index.html").read_text("utf-8")
    assert re.findall(r"<script[^>]*>", page) == [
        '<script type="module" src="/workbench/pages/main.js">'
    ]
    assert "<style" not in page and not re.search(r"\son\w+=|\sstyle=", page)
