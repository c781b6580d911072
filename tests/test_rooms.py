"""The rooms of the house: who may import whom, how large a room is, and that one name means one thing."""

import ast
import shutil
import subprocess
import sys
from collections import Counter, defaultdict
from functools import cache
from pathlib import Path

import pytest

from tests.picture import PACKAGES, PAPER, ROOT, redrawn

LINES, MODULES = 400, 16
#: Lines of a function without its docstring: half of all, nine in ten, and the longest have at most so many.
HALF, NINE_IN_TEN, LONGEST = 5, 14, 40
CHECK = "import sys; sys.path.insert(0, '.'); from importlinter.cli import lint_imports_command as run; run()"

SOURCES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))


@cache
def trees() -> dict[Path, ast.Module]:
    """What every file of the program says."""
    return {path: ast.parse(path.read_text(encoding="utf-8")) for path in SOURCES}


#: What nobody may add: a module that stands in no layer, or an import that points up.
PLANTED = {
    "core/stray.py": "",
    "core/log/stray.py": "",
    "core/log/safety/stray.py": "",
    "dashboard/stray.py": "",
    "core/statistics/planted.py": "from core.log import store\n",
    "core/timeline/planted.py": "from core.hours import replays\n",
    "core/plan/planted.py": "from core.log import store\n",
    "dashboard/words/planted.py": "from dashboard.charts import charts\n",
    "dashboard/views/planted.py": "from core.hours import account\n",
    "demo/planted.py": "from core.timeline import reckon\n",
}


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("house")
    shutil.copy(ROOT / "pyproject.toml", folder)
    for package in PACKAGES:
        shutil.copytree(ROOT / package, folder / package, ignore=shutil.ignore_patterns("__pycache__"))
    return folder


def contract_of(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", CHECK, "--no-cache"]
    return subprocess.run(command, cwd=folder, check=False, capture_output=True, text=True)


@pytest.mark.parametrize("name", PLANTED)
def test_a_module_in_no_layer_or_an_import_that_points_up_breaks_the_contract(copied, name):
    planted = copied / name
    planted.write_text(PLANTED[name], encoding="utf-8")
    try:
        ran = contract_of(copied)
    finally:
        planted.unlink()
    assert ran.returncode == 1, ran.stdout + ran.stderr
    assert planted.stem in ran.stdout


def test_no_file_is_too_long_to_read():
    paths = [*SOURCES, *(ROOT / "tests").rglob("*.py")]
    sizes = {path.relative_to(ROOT): len(path.read_text(encoding="utf-8").splitlines()) for path in paths}
    assert {str(path): size for path, size in sizes.items() if size > LINES} == {}


def test_no_room_holds_too_many_modules():
    rooms = Counter(path.parent.relative_to(ROOT) for path in SOURCES if path.name != "__init__.py")
    assert {str(room): modules for room, modules in rooms.items() if modules > MODULES} == {}


def test_every_room_says_what_it_holds():
    rooms = {path.parent for path in SOURCES}
    silent = [room for room in rooms if not ast.get_docstring(trees().get(room / "__init__.py", ast.Module([], [])))]
    assert silent == []


def length(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    first = node.body[0] if ast.get_docstring(node) else None
    return node.end_lineno - node.lineno + 1 - (first.end_lineno - first.lineno + 1 if first else 0)


def test_functions_are_short():
    functions = [n for tree in trees().values() for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]
    lengths = sorted(map(length, functions))
    assert lengths[len(lengths) // 2] <= HALF
    assert lengths[len(lengths) * 9 // 10] <= NINE_IN_TEN
    assert lengths[-1] <= LONGEST


def test_the_name_of_a_public_class_stands_for_one_thing():
    # The families of invented rooms are strangers to each other and to the house: nobody imports from two of them.
    homes = defaultdict(list)
    for path, tree in trees().items():
        for node in tree.body if ROOT / "demo" / "rooms" not in path.parents else ():
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                homes[node.name].append(str(path.relative_to(ROOT)))
    assert {name: files for name, files in homes.items() if len(files) > 1} == {}


def test_the_picture_in_the_paper_is_of_the_house_as_it_is():
    paper = PAPER.read_text(encoding="utf-8")
    assert redrawn(paper) == paper, "draw it anew: python -m tests.picture"
