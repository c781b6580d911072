"""Addresses of the pages."""

from urllib.parse import urlencode


class Links:
    """Where a tap leads, with the person who is here carried along."""

    def __init__(self, by: str | None) -> None:
        self.by = {"by": by} if by else {}

    def machine(self, machine: str) -> str:
        """The check-in of a machine."""
        return f"/checkin?{urlencode({'machine': machine, **self.by})}"

    def rack(self, rack: str) -> str:
        """The round of a rack."""
        return f"/round?{urlencode({'rack': rack, **self.by})}"

    def item(self, item: str) -> str:
        """An item on the shelf."""
        return f"/stores?{urlencode({'item': item, **self.by})}"

    def record(self, machine: str) -> str:
        """The record of a machine."""
        return f"/upkeep?{urlencode({'machine': machine, **self.by})}"

    def files(self, machine: str) -> str:
        """What can be taken along of a machine."""
        return f"/downloads?{urlencode({'machine': machine, **self.by})}"
