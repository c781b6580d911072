"""The store: the only file that knows DuckDB.

Entries and set-up are appended and never changed. One process-wide connection, one cursor an
operation (a DuckDB cursor must not be shared between threads), one writer at a time.
`append` returns only after COMMIT, which DuckDB has then put on the disk.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Self, TypeVar
from uuid import UUID

import duckdb
import polars as pl

from core.entries import OUT_OF_ORDER_MINUTES, AnyEntry, AtMachine
from core.epoch import MINUTE, utc_now
from core.errors import Refused
from core.log.frames import ENTRY_SCHEMA, UUIDS, entries_from, entry_frame
from core.log.lock import Lock, Owner
from core.log.safety.still_there import StillThere
from core.log.schema import MIGRATIONS
from core.setup import TABLES, Row, Setup
from core.window import Window

E = TypeVar("E", bound=AtMachine)

_SELECT = ", ".join(f'e."{n}"::VARCHAR AS "{n}"' if n in UUIDS else f'e."{n}"' for n in ENTRY_SCHEMA)

#: Times that closing waits for reads which are under way, a twentieth of a second each.
LAST_READS = 200

#: Entries known at a moment (since they arrived, or of a shop's past since they were noted), not taken back by then.
_LIVE = """
    FROM entries e
    WHERE coalesce(e.arrived_at, e.noted_at) <= $as_of AND e.kind <> 'EntryVoided' AND e.id NOT IN (
        SELECT v.which FROM entries v
        WHERE v.kind = 'EntryVoided' AND coalesce(v.arrived_at, v.noted_at) <= $as_of AND v.which IS NOT NULL)
"""

#: Kinds that settle what a machine is doing; a look only tells it. A window is read from each machine's last
#: start before it (which settles everything earlier) to its first such entry after it, looks on the way included.
#: Two entries that may have to change places (see `OUT_OF_ORDER_MINUTES`) are read both or not at all.
_SETTLING = ("PrintStarted", "PartsOff", "WentDown", "CameBack", "SetAside", "PutBack")
_SLIP = f"INTERVAL {OUT_OF_ORDER_MINUTES} MINUTES"

#: Entries about machines: of all of them where $machines is null.
_THEIRS = "e.machine IS NOT NULL AND ($machines IS NULL OR list_contains($machines, e.machine))"

_REACH = f"""
    WITH told AS (SELECT e.machine, e.kind, e."at" {_LIVE} AND {_THEIRS}),
    starts AS (
        SELECT machine, max("at") FILTER (kind = 'PrintStarted' AND "at" <= $start AND NOT slips) AS first
        FROM (
            SELECT *, count(*) FILTER (kind = 'PartsOff') OVER (
                PARTITION BY machine ORDER BY "at"
                RANGE BETWEEN INTERVAL 1 MICROSECOND FOLLOWING AND {_SLIP} FOLLOWING) > 0 AS slips
            FROM told WHERE kind IN ('PrintStarted', 'PartsOff') AND "at" <= $start + {_SLIP})
        GROUP BY machine)
    SELECT machine, coalesce(any_value(first), min("at")) AS first,
        coalesce(min("at") FILTER (kind IN {_SETTLING} AND "at" >= $end + {_SLIP}) + {_SLIP}, max("at")) AS last
    FROM told LEFT JOIN starts USING (machine)
    GROUP BY machine
"""


class Log:
    """One shop's file, owned by this process from `open` to `close`."""

    def __init__(self, lock: Lock, connection: duckdb.DuckDBPyConnection) -> None:
        self._lock = lock
        self._connection = connection
        self._still_there = StillThere(lock.shop)
        self._writing = threading.RLock()
        self._setup: Setup | None = None
        self.closed = False
        self._seq = self._count()

    @classmethod
    def open(cls, path: Path | str) -> Self:
        """Own the file (made if it is not there) and bring its tables up to date.

        Raises `Refused`: "not_a_shop", "newer_file", or as `Lock.take` does.
        """
        lock = Lock(Path(path).resolve())
        lock.take()
        try:
            log = cls(lock, _connect(lock))
            lock.sign()  # not before: DuckDB keeps a second process out even where the lock was taken away
            return log
        except BaseException:
            lock.release()
            raise

    @property
    def path(self) -> Path:
        """Where the file lies."""
        return self._lock.shop

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Put everything into the one file and give it up; whoever still reads in a thread is turned away first.

        Where that file is gone, its write-ahead log is left as it is: it may be all that is left.
        """
        if not self.closed and not self._still_there.file_stands():
            with suppress(duckdb.FatalException):  # a database that is done with writes nothing more
                self._cursor().execute("PRAGMA disable_checkpoint_on_shutdown")
        self.closed = True
        for _ in range(LAST_READS):
            try:
                self._connection.close()
                break
            except duckdb.ResourceInUseException:
                time.sleep(0.05)
        self._lock.release()

    def announce(self, owner: Owner) -> None:
        """Tell other programs of this computer how to ask this process."""
        self._lock.announce(owner)

    def version(self) -> int:
        """The number of the last line written: it changes whenever an answer may change."""
        return self._seq

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Hold the log still from the check of an entry to its writing: one writer at a time."""
        with self._writing:
            yield

    def append(self, entries: Sequence[AnyEntry]) -> list[UUID]:
        """Write entries in one transaction, all or none; the ids that were not there before, on disk.

        Raises `Refused` ("file_gone", "log_gone") where there is no file to write to any more.
        """
        frame = entry_frame(entries)
        names = ", ".join(f'"{name}"' for name in ("seq", *frame.columns))
        with self._writing:
            numbered = frame.with_columns(seq=pl.int_range(self._seq + 1, self._seq + 1 + len(entries)))
            with self._transaction() as cursor:
                cursor.register("incoming", numbered)
                written = cursor.execute(
                    f"INSERT INTO entries ({names}) SELECT {names} FROM incoming ON CONFLICT DO NOTHING RETURNING id"
                ).fetchall()
                cursor.unregister("incoming")
            self._seq += len(entries)
            if written:
                self._still_there.must_have_taken()
        return [UUID(str(row[0])) for row in written]

    def append_setup(self, rows: Sequence[Row], noted_at: datetime | None = None) -> None:
        """Write set-up rows in one transaction, all or none; what the set-up says already is left out.

        Raises `Refused` as `append` does.
        """
        noted_at = noted_at or utc_now()
        with self._writing:
            fresh = self.setup().lacks(rows)
            lines = [(self._seq + 1 + i, noted_at, row.table, row.model_dump_json()) for i, row in enumerate(fresh)]
            if not lines:
                return
            with self._transaction() as cursor:
                cursor.executemany("INSERT INTO setup VALUES (?, ?, ?, ?)", lines)
            self._setup = None  # first, for whoever sees the new version must not find the old set-up
            self._seq += len(lines)
            self._still_there.must_have_taken()

    def call_made(self) -> None:
        """Keep in the file that all that is in it so far was made up. Raises `Refused` as `append` does."""
        with self._writing:
            with self._transaction() as cursor:
                cursor.execute("INSERT OR REPLACE INTO meta VALUES ('made up to line', ?)", [str(self._seq)])
            self._still_there.must_have_taken()

    def is_made(self) -> bool:
        """Whether all that is in the file was made up: nobody has told it anything since."""
        found = self._cursor().execute("SELECT value FROM meta WHERE name = 'made up to line'").fetchall()
        return found == [(str(self._seq),)]

    def setup(self) -> Setup:
        """The whole set-up, history included."""
        if (known := self._setup) is not None:
            return known
        with self._writing:  # or an older set-up could be kept over a newer one
            lines = self._cursor().execute("SELECT name, body FROM setup ORDER BY seq").fetchall()
            self._setup = Setup(TABLES[name].model_validate_json(body) for name, body in lines)
            return self._setup

    def machine_entries(self, window: Window, as_of: datetime, machines: Sequence[str] | None = None) -> pl.DataFrame:
        """What was known at `as_of` about machines (all, or those named) in `window`, with each one's reach around it.

        The reach goes back to the machine's last start at or before the window, which settles all
        before it, and forward to its first settling entry after it. Deliveries are told with them, since machines wait
        for spares: these are of no machine. Columns: `ENTRY_SCHEMA`.
        """
        theirs = {"as_of": as_of, "machines": list(machines) if machines is not None else None}
        reach = self._cursor().sql(_REACH, params={**theirs, "start": window.start, "end": window.end}).pl()
        rows = self._frame(
            f"SELECT {_SELECT} {_LIVE} AND (({_THEIRS}) OR e.kind = 'StockReceived') "
            'AND e."at" BETWEEN $lowest AND $highest',
            **theirs,
            lowest=reach["first"].min() or window.start,
            highest=max(reach["last"].max() or window.end, window.end + timedelta(days=1)),
        )
        # Work that ended after the window may have begun in it.
        began = pl.col("at") - pl.duration(microseconds=(pl.col("minutes") * MINUTE).cast(pl.Int64))
        upkeep = (pl.col("at") >= window.end) & (began < window.end) & (pl.col("kind") == "UpkeepDone")
        delivery = pl.col("kind") == "StockReceived"
        return (
            rows.join(reach, on="machine", how="left")
            .filter(pl.col("at").is_between("first", "last").fill_null(delivery) | upkeep.fill_null(value=False))
            .sort("machine", "at", "id")
            .drop("first", "last")
        )

    def taps(self, window: Window, as_of: datetime) -> pl.DataFrame:
        """When anything was told of any machine in `window`, as known at `as_of`: machine, at, noted_at."""
        query = f'SELECT machine, "at", noted_at {_LIVE} AND machine IS NOT NULL AND "at" BETWEEN $start AND $end'
        return self._frame(query, as_of=as_of, start=window.start, end=window.end)

    def entries_of(
        self, kinds: Sequence[str], window: Window, as_of: datetime, machine: str | None = None
    ) -> pl.DataFrame:
        """Entries of these kinds that happened in `window` and were known at `as_of`, in order of time.

        Those about other machines than `machine`, where one is named, are left out.
        """
        return self._frame(
            f"SELECT {_SELECT} {_LIVE} AND list_contains($kinds, e.kind) "
            'AND e."at" >= $start AND e."at" < $end '
            'AND ($machine IS NULL OR coalesce(e.machine = $machine, true)) ORDER BY e."at", e.id',
            as_of=as_of, kinds=list(kinds), start=window.start, end=window.end, machine=machine,
        )  # fmt: skip

    def newest(self, kind: type[E], machine: str, as_of: datetime) -> E | None:
        """The machine's last entry of that kind that happened, and was known, by `as_of`."""
        rows = self._frame(
            f"SELECT {_SELECT} {_LIVE} AND e.kind = $kind AND e.machine = $machine "
            'AND e."at" <= $as_of ORDER BY e."at" DESC, e.id DESC LIMIT 1',
            as_of=as_of, kind=kind.__name__, machine=machine,
        )  # fmt: skip
        return entries_from(rows)[0] if rows.height else None  # type: ignore[return-value]

    def last_word(self, machine: str) -> datetime | None:
        """When the newest entry about a machine that was not taken back was noted."""
        query = f"SELECT max(e.noted_at) {_LIVE} AND e.machine = $machine"
        return self._moment(query, machine=machine, as_of=datetime.max.replace(tzinfo=UTC))

    def everything(self) -> pl.DataFrame:
        """The whole log as written, voided entries and their voids included, in the order of writing."""
        return self._frame(f"SELECT {_SELECT} FROM entries e ORDER BY e.seq")

    def find(self, ids: Sequence[UUID]) -> list[AnyEntry]:
        """The entries with these ids that are in the log, voided ones included."""
        return entries_from(
            self._frame(f"SELECT {_SELECT} FROM entries e WHERE e.id IN (SELECT unnest($ids)::UUID)",
                        ids=[str(i) for i in ids])
        )  # fmt: skip

    def voided(self, ids: Sequence[UUID]) -> list[UUID]:
        """Those of these ids that an `EntryVoided` has taken back."""
        query = "SELECT which::VARCHAR FROM entries WHERE which IN (SELECT unnest(?)::UUID)"
        return [UUID(row[0]) for row in self._cursor().execute(query, [[str(i) for i in ids]]).fetchall()]

    def last_noted(self, as_of: datetime) -> datetime | None:
        """When the newest entry known at `as_of` was noted."""
        query = "SELECT max(noted_at) FROM entries WHERE coalesce(arrived_at, noted_at) <= $as_of"
        return self._moment(query, as_of=as_of)

    def known_by(self, moment: datetime, line: int) -> int:
        """How many entries were known by then, and set-up rows in all, up to a line: answers of then go by it."""
        query = (
            "SELECT (SELECT count(*) FROM entries WHERE coalesce(arrived_at, noted_at) <= $moment AND seq <= $line)"
            " + (SELECT count(*) FROM setup WHERE seq <= $line)"
        )
        return int(self._cursor().execute(query, {"moment": moment, "line": line}).fetchall()[0][0])

    def last_line_of(self, kinds: Sequence[str], line: int) -> int:
        """The number of the last line up to this one that is an entry of these kinds or takes one back; 0 of none."""
        query = """
            WITH told AS (SELECT id, seq FROM entries WHERE list_contains($kinds, kind) AND seq <= $line)
            SELECT greatest(
                (SELECT coalesce(max(seq), 0) FROM told),
                (SELECT coalesce(max(seq), 0) FROM entries WHERE seq <= $line AND which IN (SELECT id FROM told)))
        """
        return int(self._cursor().execute(query, {"kinds": list(kinds), "line": line}).fetchall()[0][0])

    def first_arrival(self) -> datetime | None:
        """When the first entry came in that the log itself stamped: what was noted before was brought along."""
        return self._moment("SELECT min(arrived_at) FROM entries")

    def span(self) -> Window | None:
        """From the first entry's time to the last one's, or None for an empty log."""
        first, last = self._cursor().execute('SELECT min("at"), max("at") FROM entries').fetchall()[0]
        return Window(first, last) if first else None

    def _frame(self, query: str, **params: object) -> pl.DataFrame:
        rows: pl.DataFrame = self._cursor().sql(query, params=params).pl()
        return rows.cast({name: ENTRY_SCHEMA[name] for name in rows.columns})

    def _moment(self, query: str, **params: object) -> datetime | None:
        """The one moment that a query asks for."""
        (found,) = self._cursor().execute(query, params).fetchall()[0]
        return found.astimezone(UTC) if found else None

    def _cursor(self) -> duckdb.DuckDBPyConnection:
        if self.closed:
            raise duckdb.ConnectionException("The shop's file was closed.")
        return self._connection.cursor()

    @contextmanager
    def _transaction(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """BEGIN .. COMMIT; every error must reach the rollback, or DuckDB's COMMIT would drop all in silence."""
        self._still_there.must_stand()
        cursor = self._cursor()
        cursor.begin()
        try:
            yield cursor
            cursor.commit()
        except BaseException:
            cursor.rollback()
            raise

    def _count(self) -> int:
        query = (
            "SELECT greatest(coalesce((SELECT max(seq) FROM entries), 0), coalesce((SELECT max(seq) FROM setup), 0))"
        )
        return int(self._cursor().execute(query).fetchall()[0][0])


def _connect(lock: Lock) -> duckdb.DuckDBPyConnection:
    shop = lock.shop
    # Extensions are never fetched: Roundsheet contacts no other computer.
    config: dict[str, str | bool | int | float | list[str]] = {
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
        "memory_limit": "2GB",
    }
    try:
        connection = duckdb.connect(str(shop), config=config)
    except duckdb.Error as error:
        if "Could not set lock on file" in str(error):
            raise lock.in_use() from None
        raise _not_a_shop(shop, str(error).splitlines()[0]) from None
    connection.execute("SET GLOBAL TimeZone = 'UTC'")
    try:
        _migrate(connection, shop)
    except BaseException:
        connection.close()
        raise
    return connection


def _not_a_shop(shop: Path, why: str) -> Refused:
    return Refused(
        "not_a_shop",
        f"{shop} cannot be opened as a shop's file ({why}): "
        "name another with --shop, or put the last backup in its place.",
    )


def _version(connection: duckdb.DuckDBPyConnection, shop: Path) -> int:
    """The version of the file's tables; 0 for a file that has none."""
    if not connection.execute("SHOW TABLES").fetchall():
        return 0
    try:
        return int(connection.execute("SELECT coalesce(max(version), 0) FROM schema_version").fetchall()[0][0])
    except duckdb.Error:
        raise _not_a_shop(shop, "it holds another program's tables") from None


def _migrate(connection: duckdb.DuckDBPyConnection, shop: Path) -> None:
    """Bring the tables from the file's version to this program's, each step whole or not at all."""
    done = _version(connection, shop)
    if done > len(MIGRATIONS):
        raise Refused(
            "newer_file",
            f"{shop} was written by a newer Roundsheet (format {done}, this one knows {len(MIGRATIONS)}): "
            "install the newer version.",
        )
    for version, script in enumerate(MIGRATIONS[done:], start=done + 1):
        connection.begin()
        connection.execute("CREATE TABLE IF NOT EXISTS schema_version (version INTEGER NOT NULL)")
        connection.execute(script)
        connection.execute("INSERT INTO schema_version VALUES (?)", [version])
        connection.commit()
