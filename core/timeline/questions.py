"""What the entries contradict or leave open, as questions one tap answers.

Each kind of contradiction has a rule by which the reckoning goes on meanwhile (see `reckon`); the
question asks for the fact itself. An answer is one or more entries that fill the gap, after which the
question is gone by itself; "nobody knows" closes it and leaves the reckoning as it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from core.epoch import FAR
from core.habits.silences import Silences
from core.timeline.counts import contradicted, uncounted
from core.timeline.gaps import DECLARED
from core.timeline.reckon import Reckoned

NOBODY_KNOWS = "nobody knows"
#: So many files are offered for a print whose start was not noted.
FILES_OFFERED = 3
#: A silent machine is asked about when it is likelier down than so.
SUSPECTED = 0.5


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry an answer would make: its kind, when it happened (microseconds), its own fields."""

    kind: str
    at: int
    fields: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PossibleAnswer:
    """One way to answer. Without drafts it closes the question and changes nothing."""

    name: str
    drafts: tuple[Draft, ...] = ()


@dataclass(frozen=True, slots=True)
class OpenQuestion:
    """Something to ask about one machine.

    `rule` is one of "parts not counted", "more scrap than parts", "start not noted", "return not noted",
    "fault not noted", "passed over"; `about` the moment it concerns and `seen` the moment of the entry that shows it
    (microseconds). `file`, `revision`, `parts` tell of the print where it is known, `scrap` of what came off it. `id`
    stays the same while the entries do.
    """

    id: str
    rule: str
    machine: str
    about: int
    seen: int
    found: str
    file: str | None = None
    revision: int | None = None
    parts: int | None = None
    scrap: int | None = None
    answers: tuple[PossibleAnswer, ...] = ()


def questions(
    reckoned: Reckoned, since: int, closed: Sequence[str], causes: Sequence[str], silences: Silences, now: int
) -> list[OpenQuestion]:
    """The open questions that came up since a moment (microseconds), newest first, as asked `now` (microseconds).

    `closed` are ids somebody closed; `causes` the shop's causes for a machine that went down.
    """
    gaps = reckoned.gaps.filter(pl.col("next_id").is_not_null() & (pl.col("until") >= since))
    asked = [
        *_not_counted(reckoned.gaps, since),
        *_more_scrap(reckoned.gaps, since),
        *_start_not_noted(gaps),
        *_return_not_noted(gaps),
        *_fault_not_noted(gaps, causes),
        *_passed_over(reckoned.gaps, silences, causes, now),
    ]
    return sorted((q for q in asked if q.id not in closed), key=lambda q: (-q.seen, q.id))


def _not_counted(gaps: pl.DataFrame, since: int) -> Iterator[OpenQuestion]:
    shown_at = gaps.select(next_id="id", seen="t")
    rows = uncounted(gaps).join(shown_at, on="next_id", how="inner", maintain_order="left")
    for row in rows.filter(pl.col("seen") >= since).iter_rows(named=True):
        off = {"machine": row["machine"], "on_platform": row["parts"]}
        all_scrap = {**off, "scrap": row["parts"], "scrap_cause": "dont-know", "ended": "stopped"}
        yield OpenQuestion(
            id=f"parts not counted:{row['print']}", rule="parts not counted", machine=row["machine"],
            about=row["began"], seen=row["seen"], found="parts gone",
            file=row["file"], revision=row["revision"], parts=row["parts"],
            answers=(
                PossibleAnswer("all good", (Draft("PartsOff", row["gone"], off),)),
                PossibleAnswer("all scrap", (Draft("PartsOff", row["gone"], all_scrap),)),
                PossibleAnswer(NOBODY_KNOWS),
            ),
        )  # fmt: skip


def _more_scrap(gaps: pl.DataFrame, since: int) -> Iterator[OpenQuestion]:
    """What was printed, where more was scrap than the print that was started has parts."""
    begun = gaps.filter(pl.col("kind") == "PrintStarted")
    rows = contradicted(gaps).join(begun.select("takes", print="id"), on="print", how="left", maintain_order="left")
    for row in rows.filter(pl.col("t") >= since).iter_rows(named=True):
        yield OpenQuestion(
            id=f"more scrap than parts:{row['id']}", rule="more scrap than parts", machine=row["machine"],
            about=row["began"], seen=row["t"], found="parts gone", file=row["file"], revision=row["revision"],
            parts=row["parts"], scrap=row["scrap"], answers=(*_after_it(row, begun), PossibleAnswer(NOBODY_KNOWS)),
        )  # fmt: skip


def _after_it(row: dict[str, Any], begun: pl.DataFrame) -> Iterator[PossibleAnswer]:
    """The files last started here that have as many parts, and for which there was time after the noted print."""
    latest = row["t"] - pl.col("takes")
    fits = begun.filter(pl.col("model") == row["model"], pl.col("parts") >= row["scrap"], latest > row["began"])
    newest = fits.sort("t", "id", descending=True).unique("file", keep="first", maintain_order=True)
    earliest = pl.min_horizontal(row["began"] + row["takes"], latest)
    for file, revision, at in newest.head(FILES_OFFERED).select("file", "revision", (earliest + latest) // 2).rows():
        told = {"machine": row["machine"], "file": file, "revision": revision}
        yield PossibleAnswer(file, (Draft("PrintStarted", at, told),))


def _start_not_noted(gaps: pl.DataFrame) -> Iterator[OpenQuestion]:
    usual = gaps.filter(pl.col("kind") == "PrintStarted").select("machine", "t", "file", "revision")
    usual = usual.sort("t", maintain_order=True)
    rows = gaps.filter(
        pl.col("shape").is_in(["unseen start", "unseen print", "unseen failure", "another"])
    ).with_columns(begun=pl.when(pl.col("shape") == "another").then("swap").otherwise("next_begin"))
    rows = rows.drop("file", "revision").sort("t", maintain_order=True).join_asof(
        usual, on="t", by="machine", strategy="backward", check_sortedness=False
    )  # fmt: skip
    for row in rows.iter_rows(named=True):
        guess: tuple[PossibleAnswer, ...] = ()
        if row["file"]:
            told = {"machine": row["machine"], "file": row["file"], "revision": row["revision"]}
            guess = (PossibleAnswer("the same file again", (Draft("PrintStarted", row["begun"], told),)),)
        yield OpenQuestion(
            id=f"start not noted:{row['next_id']}", rule="start not noted", machine=row["machine"],
            about=row["begun"], seen=row["until"], found=row["next_found"],
            file=row["file"], revision=row["revision"], answers=(*guess, PossibleAnswer(NOBODY_KNOWS)),
        )  # fmt: skip


def _return_not_noted(gaps: pl.DataFrame) -> Iterator[OpenQuestion]:
    went_on = pl.col("next_found").is_in(["clear", "printing", "done", "stopped", "empty"])
    when = pl.when(pl.col("next_found") == "clear").then("until").when(pl.col("next_found") == "empty").then("mid")
    rows = gaps.filter(pl.col("leaves").is_in(DECLARED) & went_on).with_columns(back=when.otherwise("next_begin"))
    for row in rows.iter_rows(named=True):
        kind = "PutBack" if row["leaves"] == "aside" else "CameBack"
        yield OpenQuestion(
            id=f"return not noted:{row['next_id']}", rule="return not noted", machine=row["machine"],
            about=row["back"], seen=row["until"], found=row["next_found"],
            answers=(
                PossibleAnswer("it was back then", (Draft(kind, row["back"], {"machine": row["machine"]}),)),
                PossibleAnswer(NOBODY_KNOWS),
            ),
        )  # fmt: skip


def _fault_not_noted(gaps: pl.DataFrame, causes: Sequence[str]) -> Iterator[OpenQuestion]:
    rows = gaps.filter((pl.col("next_found") == "down") & ~pl.col("leaves").is_in(DECLARED))
    for row in rows.iter_rows(named=True):
        yield OpenQuestion(
            id=f"fault not noted:{row['next_id']}", rule="fault not noted", machine=row["machine"],
            about=row["mid"], seen=row["until"], found="down",
            answers=_went_down(row["machine"], row["mid"], causes) or (PossibleAnswer(NOBODY_KNOWS),),
        )  # fmt: skip


def _passed_over(gaps: pl.DataFrame, silences: Silences, causes: Sequence[str], now: int) -> Iterator[OpenQuestion]:
    """Machines that are silent until now, and likelier down than not."""
    stands = (pl.col("until") == FAR) & ~pl.col("leaves").is_in(DECLARED)
    rows = gaps.filter(stands).select("machine", "id", "t", "leaves")
    likely = silences.found.filter(pl.col("down") > SUSPECTED).join(rows, on="machine")
    for row in likely.filter((pl.col("t") <= pl.col("start")) & (pl.col("start") < now)).iter_rows(named=True):
        saw = "done" if row["leaves"] == "printing" else row["leaves"]
        idle = Draft("Looked", now, {"machine": row["machine"], "saw": saw})
        yield OpenQuestion(
            id=f"passed over:{row['id']}", rule="passed over", machine=row["machine"], about=row["start"], seen=now,
            found=saw,
            answers=(*_went_down(row["machine"], row["start"], causes), PossibleAnswer("it had no work", (idle,)),
                     PossibleAnswer(NOBODY_KNOWS)),
        )  # fmt: skip


def _went_down(machine: str, at: int, causes: Sequence[str]) -> tuple[PossibleAnswer, ...]:
    """An answer a cause."""
    told = [{"machine": machine, "cause": cause} for cause in causes]
    return tuple(PossibleAnswer(fields["cause"], (Draft("WentDown", at, fields),)) for fields in told)
