"""What the owner tries in the invented shop: two actions, one of them done. Nobody forgets to tap these."""

import random
from collections.abc import Iterator
from datetime import timedelta
from uuid import UUID

from core.entries import ActionAgreed, ActionEnded, AnyEntry
from demo.hands import Hands
from demo.happening import Span
from demo.shop import CREW, OWNER

#: What is tried, the figure that should move and of what, the share of the span after which it is agreed on and done.
TRIED = (
    ("Wipe the platforms before every start", "stops", None, 0.7, 0.85),
    ("Long prints on last, before closing", "utilisation", None, 0.9, None),
)


def agreed(span: Span, hands: Hands, rng: random.Random) -> Iterator[AnyEntry]:
    """The entries about them, in order of time."""
    found: list[AnyEntry] = []
    for place, (note, figure, of, begun, done) in enumerate(TRIED):
        t = hands.staffed_from(begun * span.minutes).start + 15
        at, who = span.moment(t), list(CREW)[place]
        told = {"at": at, "noted_at": at, "by": OWNER, "id": UUID(int=rng.getrandbits(128), version=4)}
        due = at + timedelta(weeks=4)
        tried = ActionAgreed.model_validate(told | {"note": note, "who": who, "due": due, "figure": figure, "of": of})
        if t < span.minutes:
            found.append(tried)
        if done and (over := hands.staffed_from(done * span.minutes).start + 20) < span.minutes:
            told |= {"at": span.moment(over), "noted_at": span.moment(over)}
            told |= {"id": UUID(int=rng.getrandbits(128), version=4)}
            found.append(ActionEnded.model_validate(told | {"which": tried.id, "answer": "done"}))
    yield from sorted(found, key=lambda entry: entry.at)
