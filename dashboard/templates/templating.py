"""HTML is made in `templates/` and nowhere else: whatever a template is given is escaped there.

A template is laid out like the HTML it makes, for who reads it: line breaks at its tags, with what indents the next
line, are not sent, and one within words is a space. It holds macros, each a piece of a page, and is given its words.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from jinja2.ext import Extension
from jinja2.lexer import Token, TokenStream

TEMPLATES = Path(__file__).parent

#: A line break at a tag, of HTML or of Jinja; and any other one, within words or a tag.
_AT_A_TAG = re.compile(r"^\s*\n\s*|\s*\n\s*$|(?<=>)\s*\n\s*|\s*\n\s*(?=<)")
_BREAK = re.compile(r"\s*\n\s*")


class _Joined(Extension):
    """Takes the line breaks, and what indents the lines, out of what a template sends."""

    def filter_stream(self, stream: TokenStream) -> Iterator[Token]:
        """The tokens of a template, those of text without breaks."""
        for token in stream:
            yield token._replace(value=_joined(token.value)) if token.type == "data" else token


def _joined(text: str) -> str:
    return _BREAK.sub(" ", _AT_A_TAG.sub("", text))


#: What is not there is an error, never nothing. A template is read once: it is a part of the program.
ENVIRONMENT = Environment(
    loader=FileSystemLoader(TEMPLATES),
    autoescape=True,
    undefined=StrictUndefined,
    extensions=[_Joined],
    auto_reload=False,
)


def macros(template: str, **given: object) -> Any:
    """The macros of a template, each a function that makes a piece of HTML (`Markup`) of values.

    `given` are the words modules and functions that all of them may use, by their names in the template.
    """
    return ENVIRONMENT.get_template(template, globals=given).module
