"""What Pydantic found wrong with an entry or a set-up row, said so that a person can mend it."""

from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from core.entries import KINDS

LONGEST_VALUE = 40

#: What a value must be, by the type of Pydantic's error; `{..}` is filled from the error's context.
MUST_BE = {
    "bool_parsing": "yes or no",
    "date_from_datetime_parsing": "a date such as 2026-05-03",
    "datetime_from_date_parsing": "a time such as 2026-05-03T14:30:00+02:00",
    "datetime_parsing": "a time such as 2026-05-03T14:30:00+02:00",
    "datetime_type": "a time such as 2026-05-03T14:30:00+02:00",
    "finite_number": "a number",
    "float_parsing": "a number such as 12.5",
    "float_type": "a number such as 12.5",
    "greater_than": "more than {gt:g}",
    "greater_than_equal": "{ge:g} or more",
    "int_from_float": "a whole number",
    "int_parsing": "a whole number",
    "int_type": "a whole number",
    "less_than": "less than {lt:g}",
    "less_than_equal": "{le:g} or less",
    "literal_error": "{expected}",
    "string_too_long": "{max_length} characters or fewer",
    "string_type": "text",
    "time_parsing": "a clock time such as 07:30",
    "timezone_aware": "a time with its offset, such as 2026-05-03T14:30:00+02:00",
    "union_tag_invalid": "one of " + ", ".join(KINDS),
    "uuid_parsing": "an id such as 6f2c1a52-3f0e-4d55-9a57-0c8f5b1d2e11",
    "uuid_type": "an id such as 6f2c1a52-3f0e-4d55-9a57-0c8f5b1d2e11",
}

_NOTHING = ("missing", "union_tag_not_found", "string_too_short")


def sentence_of(error: ValidationError, then: str = "correct it and send it again") -> str:
    """One sentence for everything Pydantic found: what, the value, what it must be; `then` says what to do.

    >>> # "grams is '-20': it must be 0 or more; correct row 14 and import again."
    """
    faults = dict.fromkeys(_fault(detail) for detail in error.errors(include_url=False))
    return "; ".join([*faults, then]) + "."


def rule_of(error: ValidationError) -> str:
    """The rule the first fault breaks, named after its field: "bad_grams", "missing_at", "unknown_colour"."""
    detail = error.errors(include_url=False)[0]
    if _is_empty(detail):
        return f"missing_{_field(detail)}"
    if detail["type"] == "extra_forbidden":
        return f"unknown_{_field(detail)}"
    return f"bad_{_field(detail)}"


def _fault(detail: ErrorDetails) -> str:
    field = _field(detail)
    if _is_empty(detail):
        return f"{field} is empty: fill it in"
    if detail["type"] == "value_error":
        return str(detail["ctx"]["error"])
    value = shown(detail["ctx"]["tag"] if field == "kind" and "ctx" in detail else detail["input"])
    if detail["type"] == "extra_forbidden":
        return f"{field} is {value}: {_about(detail)} has no {field}, so leave it empty"
    if detail["type"] in MUST_BE:
        return f"{field} is {value}: it must be {MUST_BE[detail['type']].format(**detail.get('ctx', {}))}"
    return f"{field} is {value}: {detail['msg'][0].lower()}{detail['msg'][1:]}"


def shown(value: Any) -> str:
    """A value in quotes, cut where it is too long to read."""
    text = str(value)
    return f"'{text if len(text) <= LONGEST_VALUE else text[:LONGEST_VALUE] + '...'}'"


def _is_empty(detail: ErrorDetails) -> bool:
    return detail["type"] in _NOTHING or detail["input"] == ""


def _field(detail: ErrorDetails) -> str:
    """The field at fault: the last name in the error's place that is not the kind of the entry."""
    if detail["type"].startswith("union_tag"):
        return "kind"
    names = [str(step) for step in detail["loc"] if isinstance(step, str) and step not in KINDS]
    return names[-1] if names else "row"


def _about(detail: ErrorDetails) -> str:
    kind = next((str(step) for step in detail["loc"] if step in KINDS), "this")
    return f"a {kind}" if kind in KINDS else "this table"
