"""What can be asked of a shop from outside its pages: one job a question.

A job runs here when the file is free, and in the process that serves it otherwise: the same
function, plain JSON in and plain JSON out, so the answer cannot differ.
"""

import json
from collections.abc import Callable
from datetime import datetime
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import urlsplit

from pydantic import ConfigDict, Field, ValidationError, validate_call
from pydantic_core import to_json

from core import answers
from core.answer_tables import TABLES, Kind, write_tables
from core.entries import AnyEntry
from core.epoch import utc_now
from core.errors import Refused
from core.log import exchange
from core.log.lock import Owner, read_owner
from core.log.record import record
from core.log.store import Log
from core.window import Window, parse_time
from dashboard.paper.morning_paper import morning
from dashboard.paper.paper import document
from dashboard.paper.week_paper import week
from dashboard.words.names import Names
from dashboard.words.written import Clock

Progress = Callable[[float], None]
_WITH_LOG = ConfigDict(arbitrary_types_allowed=True)


@validate_call(config=_WITH_LOG)
def _report(log: Log, at: str | None = None) -> object:
    return answers.report(log, parse_time(at, log.setup().zone) if at else utc_now())


@validate_call(config=_WITH_LOG)
def _morning(log: Log, at: str | None = None) -> object:
    """The morning sheet of paper, as an HTML document."""
    when = parse_time(at, log.setup().zone) if at else utc_now()
    learned, shelf, names = answers.learned_at(log, when), answers.stores(log, when), Names.of(log.setup(), when)
    report = answers.report(log, when, learned, shelf)
    plan = answers.plan(answers.Outlook(log, when, learned))
    room = answers.reliability(answers.Watch(log, when, learned), shelf)
    return document(report.shop, morning(report, plan, room, names))


def _quarter(log: Log, at: str | None) -> tuple[answers.Past, datetime]:
    when = parse_time(at, log.setup().zone) if at else utc_now()
    return answers.last_quarter(log, when), when


@validate_call(config=_WITH_LOG)
def _review(log: Log, at: str | None = None) -> object:
    return answers.review(_quarter(log, at)[0])


@validate_call(config=_WITH_LOG)
def _week(log: Log, at: str | None = None) -> object:
    """The weekly sheet of paper, as an HTML document."""
    quarter, when = _quarter(log, at)
    review = answers.review(quarter)
    tried = answers.actions(log, review.charts, when)
    sheet = week(review, tried, Names.of(log.setup(), when), Clock(quarter.zone, review.end))
    return document(review.shop, sheet)


@validate_call(config=_WITH_LOG)
def _hours(log: Log, start: str, end: str, by: answers.By | None = None, at: str | None = None) -> object:
    zone = log.setup().zone
    window = Window(parse_time(start, zone), parse_time(end, zone))
    return answers.hours(log, window, by, parse_time(at, zone) if at else utc_now())


@validate_call(config=_WITH_LOG)
def _export(log: Log, folder: Path) -> object:
    return exchange.export_folder(log, _absolute(folder))


@validate_call(config=_WITH_LOG)
def _tables(
    log: Log, folder: Path, at: str | None = None, kind: Kind = "csv", progress: Progress | None = None
) -> object:
    moment = parse_time(at, log.setup().zone) if at else utc_now()
    told = {table.answer for table in TABLES.values()}
    return write_tables(answers.all_answers(log, moment, progress, told), _absolute(folder), kind)


@validate_call(config=_WITH_LOG)
def _import(log: Log, folder: Path, progress: Progress | None = None) -> object:
    return exchange.import_folder(log, _absolute(folder), progress)


@validate_call(config=_WITH_LOG)
def _entries(log: Log, entries: list[Annotated[AnyEntry, Field(discriminator="kind")]]) -> object:
    return record(log, entries)


#: A job checks its arguments, which may come from outside, by its own annotations.
JOBS: dict[str, Callable[..., object]] = {
    "report": _report, "morning": _morning, "review": _review, "week": _week, "hours": _hours, "export": _export,
    "tables": _tables, "import": _import, "entries": _entries,
}  # fmt: skip


def perform(log: Log, name: str, arguments: dict[str, Any]) -> Any:
    """Run a job on an open log; its answer as plain JSON. Raises `Refused`."""
    job = JOBS.get(name)
    if job is None:
        raise Refused("no_such_job", f"There is nothing called '{name}' to ask: ask for {', '.join(JOBS)}.")
    try:
        answer = job(log, **arguments)
    except ValidationError as error:
        if error.title != job.__name__:  # not the arguments: something broke inside the job
            raise
        raise Refused("bad_arguments", f"'{name}' was asked wrongly: {_first_fault(error)}.") from None
    return json.loads(to_json(answer, inf_nan_mode="null"))


def ask(shop: Path, name: str, progress: Progress | None = None, **arguments: Any) -> Any:
    """The answer of a job for the shop in a file, whoever owns the file; plain JSON.

    `progress` is called with the share done (0 to 1) when the job runs here and tells.
    Raises `Refused`, also where the process that serves the shop refused.
    """
    if name != "import":
        must_be_there(shop)
    try:
        log = Log.open(shop)
    except Refused as refusal:
        owner = read_owner(shop.resolve())
        if refusal.rule == "shop_in_use" and owner and owner.url:
            return _post(owner, name, arguments)
        raise
    with log:
        return perform(log, name, arguments | ({"progress": progress} if progress else {}))


def must_be_there(shop: Path) -> None:
    """Refuse a file that is not there, rather than make an empty shop of a slip of the pen."""
    if not shop.exists():
        raise Refused(
            "no_file",
            f"There is no file {shop}: name another with --shop, "
            "or make it with 'roundsheet import FOLDER' or 'roundsheet demo'.",
        )


def _post(owner: Owner, name: str, arguments: dict[str, Any]) -> Any:
    address = urlsplit(owner.url)
    # Not urllib: a proxy set for this computer must not see the question or the token.
    connection = HTTPConnection(address.hostname or "", address.port)
    headers = {"Authorization": f"Bearer {owner.token}", "Content-Type": "application/json"}
    try:
        connection.request("POST", f"/local/{name}", json.dumps(arguments, default=str), headers)
        response = connection.getresponse()
        answer = json.loads(response.read())
    except (OSError, HTTPException, ValueError):
        raise Refused(
            "no_answer",
            f"Process {owner.pid} has the shop's file but does not answer at {owner.url}: stop it.",
        ) from None
    finally:
        connection.close()
    if response.status != 200:
        raise Refused(answer["rule"], answer["sentence"])
    return answer


def _absolute(folder: Path) -> Path:
    if not folder.is_absolute():
        raise Refused("path_not_absolute", f"'{folder}' is not a full path: give it from the root of the disk on.")
    return folder


def _first_fault(error: ValidationError) -> str:
    fault = error.errors()[0]
    return f"{'.'.join(str(part) for part in fault['loc'])}: {fault['msg']}"
