"""Pages as SVG that other programs keep whole: every drawing on them is made of paths of its own.

Typst puts drawings on a page as images inside images, and letters as references to symbols; drawing
programs and web pages lose the one or the other. Here both become plain groups and paths, with the
classes and the notes' names that the drawings have.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping
from dataclasses import dataclass
from xml.etree import ElementTree

Element = ElementTree.Element

_SVG = "{http://www.w3.org/2000/svg}"
_HREF = "{http://www.w3.org/1999/xlink}href"
_DATA = "data:image/svg+xml;base64,"

_BARE_AMPERSAND = re.compile(rb"&(?!(?:#\d+|#x[0-9A-Fa-f]+|amp|lt|gt|quot|apos);)")


@dataclass(frozen=True, slots=True)
class Frame:
    """A part of a page: its left and upper edge, its width and height, in points."""

    x: float
    y: float
    width: float
    height: float


def _numbers(text: str) -> list[float]:
    return [float(number) for number in text.replace(",", " ").split()]


def _named(root: Element) -> dict[str, Element]:
    return {one.get("id", ""): one for one in root.iter() if one.get("id")}


def _path_of(use: Element, known: Mapping[str, Element]) -> Element:
    """Return what a reference stands for as a group of its own paths."""
    group = ElementTree.Element(f"{_SVG}g")
    shift = f"translate({use.get('x', '0')} {use.get('y', '0')})"
    moves = [use.get("transform", ""), "" if shift == "translate(0 0)" else shift]
    if any(moves):
        group.set("transform", " ".join(filter(None, moves)))
    for name in ("fill", "fill-rule", "stroke"):
        if use.get(name):
            group.set(name, use.get(name, ""))
    found = known[use.get(_HREF, use.get("href", ""))[1:]]
    paths = list(found) if found.tag == f"{_SVG}symbol" else [found]
    for path in paths:
        attributes = {name: value for name, value in path.attrib.items() if name != "id"}
        group.append(ElementTree.Element(path.tag, attributes))
    return group


def _drawing_of(image: Element) -> Element:
    """Return the drawing that an image holds as a group in its place."""
    held = base64.b64decode(image.get(_HREF, "")[len(_DATA) :])
    root = ElementTree.fromstring(held)
    left, top, width, height = _numbers(root.get("viewBox", ""))
    across, down = float(image.get("width", "0")) / width, float(image.get("height", "0")) / height
    group = ElementTree.Element(f"{_SVG}g", {"class": "drawing"})
    moves = [image.get("transform", ""), f"scale({across:.6g} {down:.6g})"]
    moves.append(f"translate({-left:.6g} {-top:.6g})")
    group.set("transform", " ".join(filter(None, moves)))
    for name in ("fill", "stroke"):
        if root.get(name):
            group.set(name, root.get(name, ""))
    group.extend(list(root))
    _without_references(group)
    return group


def _without_references(root: Element) -> None:
    known = _named(root)
    for parent in list(root.iter()):
        for index, child in enumerate(list(parent)):
            if child.tag == f"{_SVG}use":
                parent[index] = _path_of(child, known)
            elif child.tag == f"{_SVG}image" and child.get(_HREF, "").startswith(_DATA):
                parent[index] = _drawing_of(child)
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in (f"{_SVG}defs", f"{_SVG}symbol"):
                parent.remove(child)


def _name_once(root: Element) -> None:
    """Let no two elements have one name: what comes again, as on a second staff, gets a number."""
    seen: dict[str, int] = {}
    for element in root.iter():
        name = element.get("id")
        if name:
            seen[name] = seen.get(name, 0) + 1
            if seen[name] > 1:
                element.set("id", f"{name}-{seen[name]}")


def inlined(page: bytes, frame: Frame | None = None) -> bytes:
    """Return a page of Typst's as SVG without images and references.

    Parameters
    ----------
    page:
        The page as Typst writes it.
    frame:
        The part of it that is wanted, without a white ground; the whole page if left out.
    """
    # Typst writes the addresses of links as they are, where & would begin an entity.
    root = ElementTree.fromstring(_BARE_AMPERSAND.sub(b"&amp;", page))
    _without_references(root)
    _name_once(root)
    if frame is not None:
        root.remove(root[0])
        root.set("viewBox", f"{frame.x:.3f} {frame.y:.3f} {frame.width:.3f} {frame.height:.3f}")
        root.set("width", f"{frame.width:.3f}pt")
        root.set("height", f"{frame.height:.3f}pt")
    ElementTree.register_namespace("", _SVG[1:-1])
    ElementTree.register_namespace("xlink", "http://www.w3.org/1999/xlink")
    text: bytes = ElementTree.tostring(root, encoding="utf-8")
    return text
