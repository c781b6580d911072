"""What people tap of what truly happened: nearly all of it, mostly at once, with human slips."""

import math
import random
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from uuid import UUID

from core.entries import OUT_OF_ORDER_MINUTES, AnyEntry, EntryVoided, PartsOff, PrintStarted, entry_adapter
from core.setup import Machine, PrintFile, Setup
from demo.happening import Happening, Span

#: What somebody sees of a true state. A machine set aside is not looked at.
SIGHTS = {
    "printing": "printing", "proving": "printing", "done": "done", "stopped": "stopped",
    "empty": "empty", "upkeep": "upkeep", "down": "down", "waiting": "down",
}  # fmt: skip
#: What leaves nothing on the platform besides a removal.
CLEARING = ("CameBack", "SetAside", "PutBack")
#: Minutes between two looks on one round.
LOOK_EVERY = 0.25
#: How often the tool is imagined to be wrong when it is put to the test.
HELD_WRONG = 0.05
#: "It happened earlier": the steps a person can tap, minutes; whole hours beyond.
STEPS = (10, 30, *range(60, 24 * 60, 60))
#: What is done at one machine within so many minutes is one visit.
SAME_VISIT = 5.0
#: How full a spool is, is told in quarters (grams).
QUARTER = 250
#: Desk work that other entries refer to is done with the customer's letter in hand.
NEVER_FORGOTTEN = ("OrderTaken",)


@dataclass(frozen=True)
class Slips:
    """How people err. Shares are per entry; minutes are true delays between happening and tap.

    `missing`: never tapped. `late`: tapped `late_minutes` (shortest, longest) after it happened and put
    back by the nearest step. `skipped_look`: a machine left out of a round. `wrong`: a start or a removal
    first tapped wrong, taken back and restated. `tap_minutes`: usual delay of a prompt tap.
    """

    missing: float = 0.05
    late: float = 0.08
    late_minutes: tuple[float, float] = (10.0, 240.0)
    skipped_look: float = 0.05
    wrong: float = 0.004
    tap_minutes: float = 0.5


USUAL = Slips()
NO_SLIPS = Slips(missing=0.0, late=0.0, skipped_look=0.0, wrong=0.0, tap_minutes=0.0)
ONE_IN_FIVE = replace(USUAL, missing=0.2, skipped_look=0.0)


@dataclass(frozen=True, slots=True)
class Tap:
    """A happening as somebody will tap it: `at` is what the entry says, `noted` when it is tapped."""

    happening: Happening
    at: float
    noted: float


class People:
    """The crew's and the owner's entries; `turns` are the true (time, state) steps of every machine."""

    def __init__(
        self,
        span: Span,
        setup: Setup,
        turns: Mapping[str, Sequence[tuple[float, str]]],
        slips: Slips,
        rng: random.Random,
    ) -> None:
        self.span, self.setup, self.turns, self.slips, self.rng = span, setup, turns, slips, rng
        self._rows = {(row.file, row.revision): row for row in setup.history(PrintFile)}
        self._models = {row.machine: row.model for row in setup.all(Machine, span.end)}
        self._racks = {
            rack: [row.machine for row in setup.machines(span.end) if row.rack == rack]
            for rack in {row.rack for row in setup.machines(span.end)}
        }

    def entries(self, happenings: Sequence[Happening]) -> list[AnyEntry]:
        """The entries, in the order in which they were tapped; none after the end of the span."""
        seen = [h for happening in happenings for h in self._looks(happening) if h.at < self.span.minutes]
        taps = self._taps(sorted(seen, key=lambda h: (h.at, h.machine or "")))
        made = [entry for tap in self._counted(self._answered(taps)) for entry in self._tapped(tap)]
        return sorted((entry for entry in made if entry.noted_at <= self.span.end), key=lambda e: (e.noted_at, e.id))

    def _looks(self, happening: Happening) -> Iterator[Happening]:
        """A walk past a rack as the look at each machine; anything else as it is."""
        if happening.kind != "Walked":
            yield happening
            return
        walk = self._id()
        machines = self._racks[happening.facts["rack"]]
        for place, machine in enumerate(machines):
            at = happening.at + place * LOOK_EVERY
            saw = self._sight(machine, at)
            if saw and self.rng.random() >= self.slips.skipped_look:
                held = {"reckoned": _held(saw, walk)} if place == walk.int % len(machines) else {}
                yield Happening(at, happening.by, "Looked", machine, {"saw": saw, "round": walk} | held)

    def _sight(self, machine: str, t: float) -> str | None:
        """What is to be seen of the machine, or None when it is set aside."""
        turns = self.turns[machine]
        _, state = turns[bisect_right(turns, t, key=lambda turn: turn[0]) - 1]
        return SIGHTS.get(state)

    def _taps(self, happenings: Sequence[Happening]) -> list[Tap]:
        """Which happenings are tapped, and when; the prompt taps on one machine keep their order."""
        last: dict[str | None, float] = {}
        late_walks: dict[object, float] = {}
        taps = []
        forgotten = self._forgotten(happenings)
        for place, happening in enumerate(happenings):
            if place in forgotten:
                continue
            delay = self._delay(happening, late_walks)
            if delay:
                noted = happening.at + delay
                step = min(STEPS, key=lambda step: abs(step - delay))
                taps.append(Tap(happening, max(0.0, noted - step), noted))
            else:
                at = max(happening.at + self._prompt(), last.get(happening.machine, 0.0))
                last[happening.machine] = at
                taps.append(Tap(happening, at, at + self._prompt() / 10))
        return taps

    def _forgotten(self, happenings: Sequence[Happening]) -> set[int]:
        """The places of those never tapped.

        A new spool is forgotten with the start it was fitted for: whoever taps a start that the spool in the book
        cannot feed is asked about it.
        """
        chances = [self.rng.random() for _ in happenings]
        forgotten = {
            place for place, (happening, chance) in enumerate(zip(happenings, chances, strict=True))
            if happening.kind not in NEVER_FORGOTTEN and chance < self.slips.missing
        }  # fmt: skip
        starts: dict[str | None, tuple[int, float]] = {}
        for place, happening in reversed(list(enumerate(happenings))):
            if happening.kind == "PrintStarted":
                starts[happening.machine] = place, happening.at
            elif happening.kind == "SpoolFitted" and happening.machine in starts:
                start, at = starts[happening.machine]
                if at - happening.at < SAME_VISIT and start not in forgotten:
                    forgotten.discard(place)
        return forgotten

    def _delay(self, happening: Happening, walks: dict[object, float]) -> float:
        """Minutes by which this is tapped late, 0 for at once; a round is tapped late as a whole."""
        walk = happening.facts.get("round")
        if walk in walks:
            return walks[walk]
        late = happening.kind not in NEVER_FORGOTTEN and self.rng.random() < self.slips.late
        low, high = self.slips.late_minutes
        delay = math.exp(self.rng.uniform(math.log(low), math.log(high))) if late else 0.0
        if walk:
            walks[walk] = delay
        return delay

    def _prompt(self) -> float:
        return min(2.0, self.rng.expovariate(1 / self.slips.tap_minutes)) if self.slips.tap_minutes else 0.0

    def _answered(self, taps: Sequence[Tap]) -> Iterator[Tap]:
        """The taps, with the answers to what is asked at a start that the spool in the book cannot feed.

        Whoever stands before a fuller spool says how full it is, to a quarter.
        """
        book: dict[str | None, float] = {}
        for tap in sorted(taps, key=lambda tap: tap.at):
            happening, facts = tap.happening, dict(tap.happening.facts)
            if happening.kind == "SpoolFitted":
                book[happening.machine] = facts["grams"]
            elif happening.kind == "PrintStarted":
                need, there = self._file(facts["file"], facts["revision"]).grams, facts.pop("on_spool")
                if book.get(happening.machine, math.inf) < need <= there:
                    quarters = QUARTER * max(1, round(there / QUARTER))
                    told = {"material": self._file(facts["file"], facts["revision"]).material, "grams": quarters}
                    yield replace(tap, happening=replace(happening, kind="SpoolFitted", facts=told))
                    book[happening.machine] = quarters
                book[happening.machine] = book.get(happening.machine, math.inf) - need
            yield replace(tap, happening=replace(happening, facts=facts))

    def _counted(self, taps: Iterable[Tap]) -> Iterator[Tap]:
        """The taps, with the parts counted out where the tool knows of no print they can be of: it asks for them there.

        It holds to the start it was told of last, but for a removal that comes too soon to be of that print. Where
        that was another print than it thinks, the scrap is told all the same, be it more than that one has parts.
        """
        told: dict[str | None, float] = {}
        for tap in sorted(taps, key=lambda tap: tap.at):
            happening, facts = tap.happening, tap.happening.facts
            if happening.kind == "PartsOff":
                started, parts = told.pop(happening.machine, math.inf), facts["parts"]
                asked = tap.at - started < OUT_OF_ORDER_MINUTES
                facts = {name: fact for name, fact in facts.items() if name != "parts"}
                facts["on_platform"] = parts if asked else None
            elif happening.kind == "PrintStarted":
                told[happening.machine] = tap.at
            elif happening.kind in CLEARING or facts.get("saw") == "empty":
                told.pop(happening.machine, None)
            yield replace(tap, happening=replace(happening, facts=facts))

    def _file(self, file: str, revision: int) -> PrintFile:
        return self._rows[file, revision]

    def _tapped(self, tap: Tap) -> list[AnyEntry]:
        """The entry, or a wrong one, its taking back and the right one."""
        right = self._entry(tap)
        wrong = self._wrong(right) if self.rng.random() < self.slips.wrong else None
        if wrong is None:
            return [right]
        found = right.noted_at + timedelta(minutes=self.rng.uniform(1, 15))
        void = EntryVoided(
            id=self._id(), at=found, noted_at=found, by=right.by, which=wrong.id, why="Tapped the wrong one"
        )
        return [wrong, void, right.model_copy(update={"noted_at": found + timedelta(seconds=20)})]

    def _entry(self, tap: Tap) -> AnyEntry:
        happening = tap.happening
        told = {"kind": happening.kind, "id": self._id(), "by": happening.by}
        times = {"at": self.span.moment(tap.at), "noted_at": self.span.moment(tap.noted)}
        where = {"machine": happening.machine} if happening.machine else {}
        return entry_adapter.validate_python(told | times | where | happening.facts)

    def _wrong(self, right: AnyEntry) -> AnyEntry | None:
        """A slip of the finger that the tool takes: another file, one scrap less; None if there is none."""
        slip: dict[str, object] = {}
        if isinstance(right, PrintStarted) and (others := self._other_files(right)):
            slip = {"file": self.rng.choice(others), "revision": 1}
        elif isinstance(right, PartsOff) and right.scrap > 1:
            slip = {"scrap": right.scrap - 1}
        return right.model_copy(update=slip | {"id": self._id()}) if slip else None

    def _other_files(self, right: PrintStarted) -> list[str]:
        """Files that could have been meant."""
        model = self._models[right.machine]
        files = [f for f in self.setup.newest_files(right.at) if f.revision == 1 and model in f.models]
        return [f.file for f in files if f.file != right.file]

    def _id(self) -> UUID:
        return UUID(int=self.rng.getrandbits(128), version=4)


def _held(saw: str, walk: UUID) -> str:
    """What the tool is imagined to have held at an open question: nearly always what was seen. Chance is the walk's."""
    wrong = [sight for sight in ("printing", "done", "empty") if sight != saw]
    chance = random.Random(f"held {walk}")
    return chance.choice(wrong) if chance.random() < HELD_WRONG else saw
