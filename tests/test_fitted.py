"""Every constant that no source gives is in the table of such constants, with its value as the program has it."""

from pathlib import Path

from tests.fitted import FITTED, PLAIN, ROOT, TABLE, constants, table

#: Modules whose constants are rules for what is typed in, told beside each.
TYPED_IN = {"log", "entries.py", "setup.py", "comparing.py"}


def modules() -> list[Path]:
    return [path for path in sorted((ROOT / "core").rglob("*.py")) if not TYPED_IN & set(path.parts)]


def named(module: Path) -> set[str]:
    return {name for one in FITTED if Path(str(one.module.__file__)) == module for name in one.names.split()}


def test_every_constant_is_fitted_or_plain() -> None:
    untold = [
        f"{path.relative_to(ROOT)}: {name}"
        for path in modules()
        for constant in constants(path)
        for name in constant.names
        if name not in named(path) | PLAIN
    ]
    assert untold == []


def test_every_constant_in_the_table_is_there_and_says_what_it_means() -> None:
    assert len(FITTED) > 40
    for one in FITTED:
        found = {name: constant for constant in constants(Path(str(one.module.__file__))) for name in constant.names}
        for name in one.names.split():
            assert name in found, f"{one.module.__name__} has no {name}"
            assert found[name].meaning, f"{one.module.__name__}.{name} does not say what it means"


def test_nothing_plain_is_gone() -> None:
    assert {name for path in modules() for constant in constants(path) for name in constant.names} >= PLAIN


def test_the_table_is_as_written() -> None:
    assert TABLE.read_text(encoding="utf-8") == table()
