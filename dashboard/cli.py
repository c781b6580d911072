"""The command line: `roundsheet`."""

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from core.errors import Refused

Command = Callable[..., Any]
Folder = click.Path(path_type=Path, resolve_path=True)


class _Sentence(click.ClickException):
    """A refusal: one sentence on standard error, exit code 1."""

    def show(self, file: Any = None) -> None:
        click.echo(self.message, file=file or sys.stderr)


class _Roundsheet(click.Group):
    """Turns what went wrong in any command into a sentence; `--debug` shows the trace of the unexpected."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except Refused as refused:
            raise _Sentence(refused.sentence) from None
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except Exception as error:
            if ctx.params["debug"]:
                raise
            raise _Sentence(
                f"Something unexpected went wrong ({type(error).__name__}: {error}): "
                "'roundsheet --debug ...' shows where."
            ) from None


@click.group(cls=_Roundsheet)
@click.option("--debug", is_flag=True, help="Show where an unexpected error came from.")
@click.version_option(package_name="roundsheet")
def roundsheet(debug: bool) -> None:
    """What a room of stand-alone 3D printers did, reckoned from hand-made check-ins."""


def _shop(default: str) -> Callable[[Command], Command]:
    return click.option(
        "--shop", type=click.Path(path_type=Path, dir_okay=False), default=default, show_default=True,
        help="The shop's file.",
    )  # fmt: skip


def _listening(browser: bool) -> Callable[[Command], Command]:
    """The options of a command that serves."""
    options = (
        click.option("--address", default="127.0.0.1", show_default=True, help="Where to listen."),
        click.option("--port", type=click.IntRange(0, 65535), default=8551, show_default=True),
        click.option("--browser/--no-browser", default=browser, show_default=True, help="Open the pages here."),
    )

    def add(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return add


_at = click.option("--at", help="A time, ISO 8601, on the shop's clock; now if left out.")
_as_sheet = click.option(
    "--html", "sheet", type=click.Path(path_type=Path, allow_dash=True), metavar="FILE",
    help="Instead: a sheet of paper to print, one A4 page; - for standard output.",
)  # fmt: skip
_as_json = click.option("--json", "as_json", is_flag=True, help="The whole answer as JSON.")


@roundsheet.command()
@_shop("larkfield.duckdb")
@click.option("--machines", default=36, show_default=True, help="How many machines it has.")
@click.option("--weeks", default=26, show_default=True, help="How many weeks of entries.")
@click.option("--seed", default=1, show_default=True, help="Another seed, another history.")
@click.option("--make-only", is_flag=True, help="Stop after making it.")
@_listening(browser=True)
def demo(
    shop: Path,
    machines: int,
    weeks: int,
    seed: int,
    make_only: bool,
    **where: Any,
) -> None:
    """Make the invented shop, then serve and open it."""
    from dashboard.commands.invented import INVENTED, make_invented

    with _progress(f"Making {INVENTED}") as progress:
        replaced = make_invented(shop, machines, weeks, seed, progress)
    click.echo(f"{INVENTED}, an invented shop, is in {shop}{' (it replaced the older one)' if replaced else ''}.")
    if not make_only:
        _serve(shop, **where)


@roundsheet.command()
@_shop("shop.duckdb")
@_listening(browser=False)
def serve(shop: Path, **where: Any) -> None:
    """Serve the pages of a shop until Ctrl-C."""
    _serve(shop, **where)


def _serve(shop: Path, address: str, port: int, browser: bool) -> None:
    from dashboard.commands.desk import must_be_there
    from dashboard.server.server import serve as run

    must_be_there(shop)
    run(shop, address, port, browser)


@roundsheet.command()
@click.argument("folder", type=Folder)
def template(folder: Path) -> None:
    """Write blank tables to fill in, each with one worked line, and a page that explains the columns."""
    from core.log import exchange

    exchange.template(folder)
    click.echo(f"The tables to fill in are in {folder}.")


@roundsheet.command("import")
@_shop("shop.duckdb")
@click.argument("folder", type=Folder)
def import_(shop: Path, folder: Path) -> None:
    """Take the tables and entries of a folder into the shop."""
    with _progress("Importing") as progress:
        outcome = _ask(shop, "import", progress, folder=folder)
    click.echo(
        f"{outcome['entries']} entries recorded, {outcome['already']} were there already, "
        f"{outcome['setup_rows']} set-up rows."
    )
    for problem in outcome["problems"]:
        click.echo(f"{problem['file']} row {problem['row']}: {problem['sentence']}", err=True)
    if outcome["problems"]:
        raise _Sentence(f"{len(outcome['problems'])} rows were left out: correct them and import the folder again.")


@roundsheet.command()
@_shop("shop.duckdb")
@click.argument("folder", type=Folder)
def export(shop: Path, folder: Path) -> None:
    """Write the whole shop into a folder as tables."""
    outcome = _ask(shop, "export", folder=folder)
    counts = ", ".join(f"{value} {name.replace('_', ' ')}" for name, value in outcome.items() if type(value) is int)
    click.echo(f"The shop is in {folder}: {counts}.")


@roundsheet.command()
@_shop("shop.duckdb")
@click.argument("folder", type=Folder)
@_at
@click.option("--parquet", is_flag=True, help="Parquet files instead of CSV.")
def tables(shop: Path, folder: Path, at: str | None, parquet: bool) -> None:
    """Write every table of the pages into a folder."""
    with _progress("Reckoning") as progress:
        outcome = _ask(shop, "tables", progress, folder=folder, at=at, kind="parquet" if parquet else "csv")
    click.echo(f"{outcome['tables']} tables are in {folder}: {outcome['rows']} rows.")


@roundsheet.command()
@_shop("shop.duckdb")
@_at
@_as_json
@_as_sheet
@click.option("--how-sure", is_flag=True, help="Instead: how far off it is on invented shops whose truth is known.")
@click.option(
    "--rooms", type=click.IntRange(1, 500), default=20, show_default=True, help="So many rooms of each family."
)
@click.option("--family", "families", multiple=True, help="Rooms of this family alone; may be given several times.")
@click.option(
    "--missing",
    multiple=True,
    type=click.FloatRange(0, 0.9),
    default=(0.0, 0.2, 0.4),
    show_default=True,
    help="With this share of the entries missing; may be given several times.",
)
@click.option("--weeks", type=click.IntRange(1, 8), default=4, show_default=True, help="So many weeks of each room.")
def report(  # noqa: PLR0913, PLR0917 - an argument an option
    shop: Path,
    at: str | None,
    as_json: bool,
    sheet: Path | None,
    how_sure: bool,
    rooms: int,
    families: tuple[str, ...],
    missing: tuple[float, ...],
    weeks: int,
) -> None:
    """What the owner's page says."""
    if how_sure:
        _print_how_sure(rooms, families, missing, weeks)
        return
    _one_answer(sheet, as_json)
    if sheet:
        _print_sheet(shop, "morning", sheet, at=at)
        return
    answer = _ask(shop, "report", at=at)
    if as_json:
        _print_json(answer)
    else:
        from core.morning.types import Report
        from dashboard.words.plain import report_text

        click.echo(report_text(Report.model_validate(answer)))


@roundsheet.command()
@_shop("shop.duckdb")
@click.option("--at", help="A time, ISO 8601: the week up to the midnight before it; now if left out.")
@_as_json
@_as_sheet
def review(shop: Path, at: str | None, as_json: bool, sheet: Path | None) -> None:
    """What the weekly review says."""
    _one_answer(sheet, as_json)
    if sheet:
        _print_sheet(shop, "week", sheet, at=at)
        return
    answer = _ask(shop, "review", at=at)
    if as_json:
        _print_json(answer)
    else:
        from core.review.types import Review
        from dashboard.words.plain import review_text

        click.echo(review_text(Review.model_validate(answer)))


@roundsheet.command()
@_shop("shop.duckdb")
@click.option("--from", "start", required=True, help="A time, ISO 8601, on the shop's clock.")
@click.option("--to", "end", required=True, help="A time, not in the window itself.")
@click.option("--by", type=click.Choice(["machine", "model", "rack", "day", "week"]), help="A line for each.")
@click.option("--at", help="As known at a time, ISO 8601; now if left out.")
@_as_json
def hours(shop: Path, start: str, end: str, by: str | None, at: str | None, as_json: bool) -> None:
    """Hours per state of any window, with the figures derived from them."""
    answer = _ask(shop, "hours", start=start, end=end, by=by, at=at)
    if as_json:
        _print_json(answer)
    else:
        from core.reading.types import Hours
        from dashboard.words.plain import hours_text

        click.echo(hours_text(Hours.model_validate(answer)))


def _ask(shop: Path, name: str, progress: Callable[[float], None] | None = None, **arguments: Any) -> Any:
    from dashboard.commands.desk import ask

    return ask(shop, name, progress, **arguments)


def _print_how_sure(rooms: int, families: Sequence[str], missing: Sequence[float], weeks: int) -> None:
    from dashboard.commands.how_sure import how_sure
    from demo.rooms.families import FAMILIES

    for family in families:
        if family not in FAMILIES:
            raise Refused("family", f"There is no family of rooms '{family}': name one of {', '.join(FAMILIES)}.")
    with _progress("Reckoning invented rooms") as progress:
        told = how_sure(rooms, families, missing, weeks, progress)
    click.echo(told)


def _print_sheet(shop: Path, name: str, file: Path, **arguments: Any) -> None:
    """Write a sheet of paper, whole or not at all."""
    from core.log.safety.outgoing import must_be_writable, write

    if file == Path("-"):
        click.echo(_ask(shop, name, **arguments), nl=False)
        return
    must_be_writable(file)
    write(file, _ask(shop, name, **arguments).encode())
    click.echo(f"The sheet is in {file}: print it from a browser, on A4.")


def _one_answer(sheet: Path | None, as_json: bool) -> None:
    if sheet and as_json:
        raise click.UsageError("Choose --html or --json: one answer at a time.")


def _print_json(answer: Any) -> None:
    click.echo(json.dumps(answer, indent=2, ensure_ascii=False))


@contextmanager
def _progress(label: str) -> Iterator[Callable[[float], None]]:
    """A bar on standard error, where a person sees it; it is told the share done."""
    with click.progressbar(length=1000, label=label, file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        yield lambda share: bar.update(round(share * 1000) - bar.pos)


def main() -> None:
    """The console script."""
    roundsheet()
