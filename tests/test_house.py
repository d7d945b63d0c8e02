"""How the house is built: imports go one way; the command line starts without heavy packages."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from hashlib import sha256
from pathlib import Path

import pytest

from tests.limits import HANG_S

HOUSE = Path(__file__).parent.parent / "renderer"
ORDER = [
    "errors",
    "shipped",
    "programs",
    "notation",
    "technique",
    "timing",
    "reading",
    "sound",
    "listening",
    "order",
    "delivery",
    "workbench",
    "commands",
    "cli",
    "__main__",
]
HEAVY = (
    "music21",
    "verovio",
    "scipy",
    "highspy",
    "fluidsynth",
    "numpy",
    "pydantic",
    "matplotlib",
    "soxr",
    "starlette",
    "typer",
    "rich",
)


WINGS = ("abc", "definition", "midi", "musicxml")
"""Folders of `notation/`, one a written form: inside, the same short name is the same part."""
OF_ONE_NAME = {
    "convert": "the verb, and what it asks for",
    "render": "the verb, and what it asks for",
    "sheet": "the verb, and the room that it asks",
    "page": "the verb, and the room that it asks",
    "technique": "the verbs that print what the room of this name knows, and that room",
    "order": "the room, and the value that it is about",
    "reader": "a written form's way in",
    "writer": "a written form's way out",
    "file": "how a form that is more than text is opened",
}
"""Names that stand in two places since they mean one thing, and what that is."""


def rank(package: str) -> int:
    return ORDER.index(package)


def modules() -> list[Path]:
    return sorted(path for path in HOUSE.rglob("*.py") if path != HOUSE / "__init__.py")


def imported_packages(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        found |= {name.split(".")[1] for name in names if name.startswith("renderer.")}
    return found


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(HOUSE)))
def test_a_package_imports_only_what_stands_above_it(path: Path) -> None:
    own = path.relative_to(HOUSE).parts[0].removesuffix(".py")
    for package in imported_packages(path):
        assert rank(package) <= rank(own), f"{path} imports renderer.{package}"


def places_of_names() -> dict[str, list[str]]:
    """Return the modules and packages of the house by their last name."""
    places: dict[str, list[str]] = {}
    for path in modules():
        place = path.parent if path.name == "__init__.py" else path.with_suffix("")
        name = str(place.relative_to(HOUSE)).replace("/", ".")
        if place.name != "__main__":
            places.setdefault(place.name, []).append(name)
    return places


def test_no_two_modules_of_one_name_mean_two_things() -> None:
    twice = {name: places for name, places in places_of_names().items() if len(places) > 1}
    assert set(twice) == set(OF_ONE_NAME), twice
    for name in ("reader", "writer", "file"):
        for place in twice[name]:
            assert place.split(".")[:-1] in [["notation", wing] for wing in WINGS], place
    for name in set(twice) - {"reader", "writer", "file", "order"}:
        verb, asked = sorted(twice[name])
        assert verb == f"commands.{name}", f"{asked} and {verb}"


def test_the_map_for_contributors_names_what_is_there() -> None:
    text = (HOUSE.parent / "DEVELOPERS.md").read_text("utf-8")
    known = [
        path.relative_to(HOUSE.parent).as_posix()
        for folder in (HOUSE, HOUSE.parent / "tests")
        for path in folder.rglob("*.py")
    ]
    for name in re.findall(r"`([a-z_/]+\.py)`", text):
        assert any(f"/{path}".endswith(f"/{name}") for path in known), f"there is no {name}"
    rooms = re.findall(r"^\|.*$", text.split("## The house")[1].split("\n## ")[0], re.MULTILINE)
    for package in ORDER:
        named = any(f"renderer/{package}" in row for row in rooms)
        assert named or package in {"__main__", "shipped", "programs"}, package
    for wing in WINGS:
        assert (HOUSE / "notation" / wing).is_dir()
        assert any(f"`{wing}/`" in row for row in rooms), wing


def test_help_starts_without_heavy_packages() -> None:
    code = (
        "import sys\n"
        "sys.argv = ['rungwise', '--help']\n"
        "from renderer.cli import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code\n"
        f"print('HEAVY', sorted(set({HEAVY!r}) & set(sys.modules)))\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=HANG_S
    )
    assert "HEAVY []" in run.stdout


ONLY_SOMETIMES = (
    "fluidsynth",
    "rapidfuzz",
    "PIL",
    "verovio",
    "typst",
    "xml.etree",
    "tomlkit",
    "asyncio",
    "email.parser",
    "rich.progress",
    "rich._emoji_codes",
    "renderer.sound.acoustics.fingering_tone",
    "renderer.notation.abc.reader",
    "renderer.notation.musicxml.reader",
    "renderer.notation.midi.reader",
)
"""What a short track that nobody watches does without, once its sounds and cover are kept."""


def test_a_second_short_track_imports_nothing_that_it_does_without(tmp_path: Path) -> None:
    (tmp_path / "tune.toml").write_text(
        'title = "T"\n[[lines]]\nrun = "low A, B, C, D"\nornament = "doubling"\n', "utf-8"
    )
    code = (
        "import sys\nfrom renderer.cli import main\n"
        "sys.argv = ['rungwise', 'render', 'tune.toml', '-o', sys.argv[1], '--format', 'wav', "
        "'--format', 'mp3']\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code\n"
        f"print('THERE', sorted(set({ONLY_SOMETIMES!r}) & set(sys.modules)))\n"
    )
    for once in ("first", "second"):
        run = subprocess.run(
            [sys.executable, "-c", code, once],
            capture_output=True,
            text=True,
            check=True,
            timeout=HANG_S,
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(HOUSE.parent)},
        )
    assert "THERE []" in run.stdout, run.stdout


ONLY_WHEN_ASKED = (
    "numpy",
    "soxr",
    "tomlkit",
    "verovio",
    "rich",
    "renderer.order.settings",
    "renderer.reading.exercise",
    "renderer.workbench.handing_answers",
)
"""What the workbench's page is handed out without."""


def test_the_workbench_hands_out_its_page_before_its_rooms_are_there(tmp_path: Path) -> None:
    code = (
        "import sys\nfrom renderer.workbench import application\n"
        "def serve(app, taking, bench):\n"
        "    import uvicorn\n"
        "    assert application.static_files()['/'][0].read_bytes()\n"
        f"    print('THERE', sorted(set({ONLY_WHEN_ASKED!r}) & set(sys.modules)))\n"
        "    bench.rooms()\n"
        f"    print('MISSING', sorted(set({ONLY_WHEN_ASKED[-3:]!r}) - set(sys.modules)))\n"
        "application.serve = serve\n"
        "sys.argv = ['rungwise', 'open', sys.argv[1], '--no-browser', '--port', '0']\n"
        "from renderer.cli import main\nmain()\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
        timeout=HANG_S,
        env={**os.environ, "PYTHONPATH": str(HOUSE.parent)},
    )
    assert "THERE []" in run.stdout, run.stdout
    assert "MISSING []" in run.stdout, run.stdout


def test_only_tools_of_contributors_need_what_is_installed_for_tests() -> None:
    needs = {
        path.name
        for path in modules()
        if re.search(r"^\s*(from|import) scipy", path.read_text(), re.M)
    }
    assert needs == {"fit_holes.py", "plots.py"}


CLOCKS = re.compile(r"\b(monotonic|perf_counter)(_ns)?\(|\btime\.time\(|\bdeadline=(?!None)")
TIMEOUT = re.compile(r"\btimeout=([\d.]+)")


def test_no_test_depends_on_how_busy_the_machine_is() -> None:
    tests = Path(__file__).parent
    for path in tests.rglob("*.py"):
        if "benchmarks" in path.relative_to(tests).parts:
            continue
        text = path.read_text("utf-8")
        assert not CLOCKS.search(text), f"{path} reads the clock: count, or use tests/limits.py"
        for seconds in TIMEOUT.findall(text):
            assert float(seconds) >= 600, f"{path} waits {seconds} s only: use limits.HANG_S"


OUTSIDE = re.compile(
    r"\bthe (issue|project)'s (bound|facts|list)\b|\bthe design('s| has| says)\b", re.IGNORECASE
)
"""Words that point to what a reader of the repository does not have."""

EDITORS = {
    "02cf160481fa4407",
    "56469d6119aa0054",
    "63623912df4d7671",
    "9be40d885111454d",
    "c18f21f7292417a5",
    "dce424dfca737a49",
}
"""Digests of the names of notation editors: nothing of ours is to name one, this list included."""


def written_by_us() -> list[Path]:
    """Every text that belongs to the program, its tests and its pages."""
    root = HOUSE.parent
    found = [path for folder in ("renderer", "tests") for path in (root / folder).rglob("*")]
    return [
        *(path for path in found if path.suffix in (".py", ".toml", ".typ", ".md", ".js")),
        root / "README.md",
        root / "DEVELOPERS.md",
    ]


def test_words_refer_to_nothing_outside_the_repository_and_name_no_notation_editor() -> None:
    for path in written_by_us():
        text = path.read_text("utf-8")
        if path.name != Path(__file__).name:
            assert not OUTSIDE.search(text), f"{path}: say what is meant"
        words = {word.casefold() for word in re.findall(r"[A-Za-z]{5,12}", text)}
        digests = {sha256(word.encode()).hexdigest()[:16]: word for word in words}
        assert not EDITORS & digests.keys(), f"{path}: names an editor"


def test_cause_and_remedy_are_never_parted_at_a_semicolon() -> None:
    for path in modules():
        text = path.read_text("utf-8")
        assert 'partition("; ")' not in text, f"{path}: raise errors.WrongValueError(cause, remedy)"
        assert not re.search(r'raise ValueError\(\s*f?"[^"]*; ', text), path


FORMS = ["", "abc", "musicxml", "definition", "midi"]
"""The folders of `notation/`, the modules that stand in none of them first."""

KNOWN_AGAINST_IT = {"kept_settings.py": "definition"}
"""What scores keep as text is read as a definition's fields are."""


@pytest.mark.parametrize(
    "path",
    sorted((HOUSE / "notation").rglob("*.py")),
    ids=lambda path: str(path.relative_to(HOUSE / "notation")),
)
def test_a_written_form_imports_only_forms_that_stand_above_it(path: Path) -> None:
    *folders, name = path.relative_to(HOUSE / "notation").parts
    own = FORMS.index(folders[0] if folders else "")
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if not isinstance(node, ast.ImportFrom) or not node.module:
            continue
        room, _, rest = node.module.removeprefix("renderer.").partition(".")
        form = rest.partition(".")[0]
        if room != "notation" or form not in FORMS or KNOWN_AGAINST_IT.get(name) == form:
            continue
        assert FORMS.index(form) <= own, f"{path} imports renderer.notation.{form}"
