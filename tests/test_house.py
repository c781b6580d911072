"""The house rules: style, types, directions of import, sizes, documentation."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

from dashboard.cli import roundsheet

ROOT = Path(__file__).parents[1]
PACKAGES = ("core", "dashboard", "demo")
VISIBLE = {"README.md", "DEVELOPERS.md", "pyproject.toml", *PACKAGES, "tests"}
LONGEST_FUNCTION = 60

TOOLS = {
    "ruff check": ["-m", "ruff", "check", "--no-cache", "."],
    "ruff format": ["-m", "ruff", "format", "--no-cache", "--check", "."],
    "mypy": ["-m", "mypy"],
    "lint-imports": ["-c", "from importlinter.cli import lint_imports_command as run; run()", "--no-cache"],
}

#: Written so that this file does not hold what it looks for.
STRANGERS = re.compile(
    r"https?://[^ )\"']*(simpl[e]/|pyp[i]|registr[y]|mirro[r])"
    r"|\btranscrip[t]|seed documen[t]|\bpractitione[r]"
    r"|\boe[e]\b|\bando[n]\b|\bkanba[n]|\bcockpi[t]|command cent(er|re)\b",
    re.IGNORECASE,
)


def repository_files() -> list[Path]:
    """Every file that is in the repository or would be with the next commit."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    out = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    return sorted(path for name in out.split("\0") if name and (path := ROOT / name).is_file())


FILES = repository_files()


@pytest.mark.parametrize("tool", TOOLS)
def test_the_tools_find_nothing(tool):
    ran = subprocess.run([sys.executable, *TOOLS[tool]], cwd=ROOT, check=False, capture_output=True, text=True)
    assert ran.returncode == 0, f"{tool}:\n{ran.stdout}{ran.stderr}"


def test_the_top_level_holds_what_a_newcomer_looks_for_and_nothing_else():
    top = {path.relative_to(ROOT).parts[0] for path in FILES}
    assert {name for name in top if not name.startswith(".")} == VISIBLE


def functions(path: Path) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


def test_no_function_is_too_long_to_read():
    long = [
        f"{path.relative_to(ROOT)}:{node.lineno} {node.name} has {length} lines"
        for path in FILES
        if path.suffix == ".py"
        for node in functions(path)
        if (length := node.end_lineno - node.lineno + 1) > LONGEST_FUNCTION
    ]
    assert long == []


#: Whatever asks what time it is, or makes moments of numbers. How long something takes (`monotonic`) is no moment.
CLOCKS = {
    "now", "utcnow", "today", "fromtimestamp", "utcfromtimestamp", "time.time", "time.time_ns", "time.localtime",
    "time.gmtime", "time.ctime", "time.strftime",
}  # fmt: skip


def clocks_read(source: str) -> list[str]:
    """What of `CLOCKS` a program calls, and what it takes out of `time` by name."""
    tree = ast.parse(source)
    called = [ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)]
    taken = [f"time.{n.name}" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module == "time"
             for n in node.names]  # fmt: skip
    return [name for name in [*called, *taken] if {name, name.rpartition(".")[2] if "." in name else ""} & CLOCKS]


@pytest.mark.parametrize(
    "line", ["datetime.now(UTC)", "date.today()", "time.time()", "from time import time", "dt.datetime.utcnow()"]
)
def test_a_second_clock_would_be_found(line):
    assert clocks_read(line)


def test_the_clock_is_read_in_one_place():
    programs = [path for path in FILES if path.suffix == ".py" and path.relative_to(ROOT).parts[0] in PACKAGES]
    read = {path.relative_to(ROOT).as_posix(): clocks_read(path.read_text(encoding="utf-8")) for path in programs}
    assert [name for name, found in read.items() if found] == ["core/epoch.py"]


def test_nothing_names_what_does_not_belong_here():
    found = [
        f"{path.relative_to(ROOT)}:{number} {match.group()}"
        for path in FILES
        for number, line in enumerate(path.read_text(encoding="utf-8", errors="ignore").splitlines(), start=1)
        if (match := STRANGERS.search(line))
    ]
    assert found == []


#: What lets a fixed time pass, whatever has come by then.
PAUSES = ("sleep", "wait_for_timeout")
#: How long is waited at most is said once (`tests/patience.py`), and how many examples there are goes by the tier.
SAID_ONCE = {"timeout": "DEADLINE", "default_timeout": "DEADLINE", "max_examples": "tiers.examples"}


def fixed_numbers(source: str) -> list[str]:
    """Where a test waits for a fixed time, for at most a time of its own, or draws examples regardless of the tier."""
    calls = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)]
    named = [(call, getattr(call.func, "attr", getattr(call.func, "id", ""))) for call in calls]
    pauses = [f"{call.lineno}: {name} waits for a fixed time" for call, name in named if name in PAUSES]
    numbers = [
        f"{call.lineno}: {told.arg} is a number: see {SAID_ONCE[told.arg]}"
        for call in calls
        for told in call.keywords
        if told.arg in SAID_ONCE and isinstance(told.value, ast.Constant)
    ]
    return pauses + numbers


def test_no_test_waits_for_a_fixed_time_or_has_a_deadline_of_its_own():
    mine = [path for path in FILES if path.suffix == ".py" and path.is_relative_to(ROOT / "tests")]
    tests = [path for path in mine if path.parent.name != "benchmarks" and path.name != "tiers.py"]
    assert len(tests) > 50
    found = {str(path.relative_to(ROOT)): fixed_numbers(path.read_text(encoding="utf-8")) for path in tests}
    assert {name: lines for name, lines in found.items() if lines} == {}


@pytest.mark.parametrize(
    "planted",
    [
        "time.sleep(0.2)", "sleep(1)", "hand.page.wait_for_timeout(500)", "expect(it).to_be_visible(timeout=5_000)",
        "AppTest.from_file(path, default_timeout=60)", "settings(max_examples=15)",
    ],
)  # fmt: skip
def test_what_is_planted_is_found(planted):
    assert len(fixed_numbers(f"def test_it():\n    {planted}")) == 1


@pytest.mark.parametrize(
    "command",
    [
        "python3 -m venv .venv && .venv/bin/pip install -e . && .venv/bin/roundsheet demo",
        'python3 -m venv .venv && .venv/bin/pip install -e ".[test]" && .venv/bin/python -m pytest',
        ".venv/bin/python -m pytest --full",
    ],
)
def test_the_readme_has_its_commands_on_lines_of_their_own(command):
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    assert command in [line.strip() for line in lines]


def documentation() -> str:
    return "".join((ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md"))


@pytest.mark.parametrize("name", roundsheet.commands)
def test_every_command_and_option_is_documented(name):
    text = documentation()
    options = [
        option
        for parameter in roundsheet.commands[name].params
        if isinstance(parameter, click.Option) and not parameter.hidden
        for option in (*parameter.opts, *parameter.secondary_opts)
    ]
    missing = [word for word in (f"roundsheet {name}", *options) if not re.search(rf"{word}(?![\w-])", text)]
    assert missing == []


def test_the_options_before_a_command_are_documented():
    text = documentation()
    assert [o for p in roundsheet.params for o in p.opts if o not in text] == []


#: The beginning of a tag, also of one whose name is put in.
TAG = re.compile(r"</?([A-Za-z!]|$)")


def markup_in(source: str) -> list[str]:
    """Where a module makes HTML itself: strings with tags (docstrings may name some), escaping, HTML called safe."""
    nodes = list(ast.walk(ast.parse(source)))
    told = {id(node.value) for node in nodes if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)}
    return [f"{node.lineno} {ast.unparse(node)}" for node in nodes if id(node) not in told and makes(node)]


def makes(node: ast.AST) -> bool:
    match node:
        case ast.Constant(value=str(text)):
            return bool(TAG.search(text))
        case ast.Call(func=ast.Name(id=name) | ast.Attribute(attr=name)):
            return name in {"Markup", "escape", "html_escape"}
        case ast.Import(names=[ast.alias(name=name)]) | ast.ImportFrom(module=name):
            return name == "html"
    return False


@pytest.mark.parametrize(
    "source",
    [
        'f"<b>{name}</b>"', 'f"<{tag}>{words}</{tag}>"', '"<p>" + words', '["<br>"]', "html.escape(name)",
        "from html import escape", "import html", "Markup(name)", "markupsafe.Markup(name)", "f(a, '</td>')",
        'def f():\n    """It makes <b>."""\n    return "<b>"',
    ],
)  # fmt: skip
def test_html_made_by_hand_is_found(source):
    assert len(markup_in(source)) >= 1


def test_a_docstring_a_comparison_and_an_arrow_are_no_html():
    assert markup_in('"""`GET /tables/<name>.csv`"""\nassert a < b\nc = "a < b, b <- c"\n') == []


DASHBOARD = {
    path: path.read_text(encoding="utf-8")
    for path in FILES
    if path.suffix == ".py" and path.is_relative_to(ROOT / "dashboard")
}


def test_templates_make_all_html():
    assert len(DASHBOARD) > 20
    assert {path.name: made for path, source in DASHBOARD.items() if (made := markup_in(source))} == {}


def test_html_comes_onto_a_page_by_one_door():
    """It takes `Markup` only, which templates alone make: from there on mypy says where HTML is not theirs."""
    assert [path.name for path, source in DASHBOARD.items() if "st.html" in source] == ["blocks.py"]
    assert [path.name for path, source in DASHBOARD.items() if "unsafe_allow_html" in source] == []
