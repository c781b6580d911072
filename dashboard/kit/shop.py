"""The open log of this process.

One process owns one shop's file, so there is one log and every page, in whatever thread it runs,
uses the same. Streamlit runs page scripts again and again but imports this module once.
"""

from core.log.store import Log

_log: Log | None = None


def hold(log: Log | None) -> None:
    """Make `log` the one every page uses; None when it is closed."""
    global _log  # noqa: PLW0603
    _log = log


def is_open(log: Log) -> bool:
    """Whether pages still use this log."""
    return _log is log and not log.closed


def current_log() -> Log:
    """The log of the shop this process serves."""
    if _log is None:
        raise RuntimeError("No shop is open in this process: start the pages with 'roundsheet serve'.")
    return _log
