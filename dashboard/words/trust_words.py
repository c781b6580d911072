"""Whether the owner's page can be trusted: who was heard from, and how right it has been."""

from __future__ import annotations

from core.morning.types import Report
from core.reading.types import Trust
from dashboard.words import written
from dashboard.words.owner_words import clock_of
from dashboard.words.written import Clock


def trust_sentences(report: Report) -> list[str]:
    """Whether the page can be trusted now: the time, who was heard from, how word came in."""
    trust, clock = report.trust, clock_of(report)
    no_word, late = written.percent(trust.no_word), written.percent(trust.from_memory)
    return [
        f"{clock.full(report.at)}, {_newest(trust, clock)}.",
        _heard(trust, clock),
        f"Last seven days: {no_word} of machine time is no word, {late} of entries are from memory.",
    ]


def trust_line(report: Report) -> str:
    """The same on paper, where the time stands in the title."""
    newest = _newest(report.trust, clock_of(report))
    return " ".join([f"{newest[0].upper()}{newest[1:]}.", *trust_sentences(report)[1:]])


def proof_sentences(trust: Trust) -> list[str]:
    """How right it has been: how long prints truly take, what went unnoted, what open questions found."""
    return [_takes(trust), *_noted(trust), *_right(trust)]


def _newest(trust: Trust, clock: Clock) -> str:
    return f"newest entry {clock.when(trust.newest)}" if trust.newest else "no entry yet"


def _heard(trust: Trust, clock: Clock) -> str:
    heard = f"{trust.heard} of {trust.machines} machines heard from since {clock.when(trust.since)}."
    return f"{heard} No word: {written.codes(trust.silent)}." if trust.silent else heard


def _takes(trust: Trust) -> str:
    if not trust.seen:
        return "No print has been seen through yet: prints are taken to last what their files say."
    times = "once" if trust.seen == 1 else f"{written.count(trust.seen)} times"
    return f"Prints take {written.factor(trust.takes)} times what their files say (seen {times})."


def _noted(trust: Trust) -> list[str]:
    if not trust.starts.share or not trust.removals.share:
        return []
    starts, removals = (written.share(tally.share) for tally in (trust.starts, trust.removals))
    return [f"Last four weeks: {starts} of starts and {removals} of removals went unnoted."]


def _right(trust: Trust) -> list[str]:
    right = trust.right
    if not right.share:
        return []
    return [f"Asked openly, the reckoning was right in {right.hits} of {right.of} looks, {written.share(right.share)}."]
