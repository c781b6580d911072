"""The picture of the house in DEVELOPERS.md, drawn from the imports: `python -m tests.picture` draws it anew."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAPER = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- the house, drawn by python -m tests.picture -->", "<!-- so far drawn -->"
PACKAGES = ("core", "dashboard", "demo")
#: Modules at the top of `core` below the log and the formulas: what everything stands on is one room in the picture.
LEAVES = "leaves"
#: They say what the whole package is, and stand in no room.
TOPS = {ROOT / "core" / "__init__.py", ROOT / "dashboard" / "__init__.py"}

Rooms = Mapping[str, list[Path]]
Arrows = set[tuple[str, str]]


def rooms() -> Rooms:
    """The files of every room, the rooms in the order of the import contract, the lowest first."""
    found: dict[str, list[Path]] = {room: [] for room in _floors()}
    for package in PACKAGES:
        for path in sorted(set((ROOT / package).rglob("*.py")) - TOPS):
            found[_room(path.relative_to(ROOT).with_suffix("").parts)].append(path)
    return {room: files for room, files in found.items() if files}


def _floors() -> Iterator[str]:
    yield LEAVES
    for container in ("core", "dashboard"):
        layers = next(c["layers"] for c in _contracts() if c.get("containers") == [container])
        names = [f"{container}/{name.strip()}" for layer in reversed(layers) for name in layer.split("|")]
        yield from (name for name in names if not _is_leaf(name))
        if container == "core":
            yield "demo"


@cache
def _contracts() -> list[dict[str, list[str]]]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]["contracts"]


def _is_leaf(name: str) -> bool:
    layers = next(c["layers"] for c in _contracts() if c.get("containers") == ["core"])
    below = layers[next(n for n, layer in enumerate(layers) if "log" in layer.split(" | ")) + 1 :]
    return name.removeprefix("core/") in {one for layer in below for one in layer.split(" | ")} and "core/" in name


def _room(parts: tuple[str, ...]) -> str:
    if parts[0] == "demo":
        return "demo"
    name = f"{parts[0]}/{parts[1]}"
    return LEAVES if _is_leaf(name) else name


def arrows(found: Rooms) -> Arrows:
    """Which room imports from which, without those that follow from others."""
    direct = {
        (room, target)
        for room, files in found.items()
        for path in files
        for module in _imported(path)
        if (target := _room(tuple(module.split(".")))) != room
    }
    reached = _reached(direct)
    return {(a, b) for a, b in direct if not any((a, c) in direct and (c, b) in reached for c in found if c != b)}


def _imported(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] in PACKAGES:
            yield from (f"{node.module}.{name.name}" for name in node.names)


def _reached(direct: Arrows) -> Arrows:
    """Which room comes to which, in one step or more."""
    more = direct | {(a, d) for a, b in direct for c, d in direct if b == c}
    return more if more == direct else _reached(more)


def drawn() -> str:
    """The picture and, below it, what every room holds."""
    found = rooms()
    names = [f'    {_node(room)}["{room}"]' for room in reversed(found)]
    lines = [f"    {_node(room)} --> {_node(other)}" for room, other in sorted(arrows(found))]
    graph = ["```mermaid", "graph TD", *names, *lines, "```"]
    table = ["| room | what it holds | modules |", "|---|---|---|"]
    table += [f"| `{room}` | {_says(room, files)} | {_modules(files)} |" for room, files in reversed(found.items())]
    return "\n".join([BEGIN, "", *graph, "", *table, "", END])


def _node(room: str) -> str:
    return room.replace("/", "_")


def _says(room: str, files: list[Path]) -> str:
    """The first paragraph that the room, or its only module, says of itself."""
    if room == LEAVES:
        return "What everything stands on, in `core/`."
    first = next((path for path in files if path.name == "__init__.py" and len(files) > 1), files[0])
    return " ".join((ast.get_docstring(ast.parse(first.read_text(encoding="utf-8"))) or "").split("\n\n")[0].split())


def _modules(files: list[Path]) -> str:
    return ", ".join(f"`{path.stem}`" for path in files if path.stem != "__init__") if len(files) > 1 else ""


def redrawn(paper: str) -> str:
    """The text of DEVELOPERS.md with the picture as the house is now."""
    before, rest = paper.split(BEGIN)
    return before + drawn() + rest.split(END)[1]


if __name__ == "__main__":
    PAPER.write_text(redrawn(PAPER.read_text(encoding="utf-8")), encoding="utf-8")
