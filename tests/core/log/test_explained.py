"""The page that explains the columns."""

import re

from core.entries import KINDS
from core.log.explained import columns_page
from core.log.sheets import SHEETS


def test_no_column_is_left_unexplained():
    sections = dict(re.findall(r"^## (\w+)\.csv\n(.*?)(?=^## )", columns_page(), re.MULTILINE | re.DOTALL))
    for sheet in SHEETS:
        explained = re.findall(r"^\| (\w+) \| [^|]+ \| [^|]{10,} \|$", sections[sheet.name], re.MULTILINE)
        assert [name for name in explained if name != "column"] == list(sheet.types)


def test_every_kind_of_entry_is_explained():
    assert [kind for kind in KINDS if f"**{kind}**" not in columns_page()] == []
