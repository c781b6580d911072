"""What can be downloaded: the files behind the page, and their names."""

import csv
import io

import polars as pl
import pytest

from core.answer_tables import TABLES
from dashboard.charts.drawn import DRAWINGS
from dashboard.words import download_words as said
from tests.dashboard.serving import Serving


def test_tables_are_told_apart_by_their_words_and_only_charts_have_a_key() -> None:
    assert set(said.KEYS) <= set(DRAWINGS)
    assert len(set(said.TABLES.values())) + 4 >= len(TABLES)  # single figures have the same words on every page


def test_a_table_comes_as_csv_and_as_parquet_named_by_the_shops_day(serving: Serving) -> None:
    status, headers, body = serving.download("/tables/owner-machines.csv")
    assert status == 200
    assert headers["content-type"] == "text/csv; charset=utf-8"
    assert headers["content-disposition"].startswith("attachment; filename*=UTF-8''owner-machines-20")
    header, row = csv.reader(io.StringIO(body.decode()))
    status, headers, body = serving.download("/tables/owner-machines.parquet")
    assert status == 200
    assert headers["content-disposition"].endswith(".parquet")
    found = pl.read_parquet(io.BytesIO(body))
    assert found.columns == header
    assert row[:3] == ["A1", "B220", "A"] == list(found.row(0)[:3])


@pytest.mark.parametrize("name", TABLES)
def test_a_shop_that_has_told_nothing_yet_has_every_table(serving: Serving, name: str) -> None:
    status, _, body = serving.download(f"/tables/{name}.csv?machine=A1")
    assert status == 200
    assert b"," in body.splitlines()[0]


def test_the_files_of_a_machine_carry_its_code(serving: Serving) -> None:
    _, headers, body = serving.download("/charts/machine-time.svg?machine=A1&by=ro")
    assert "machine-time-A1-20" in headers["content-disposition"]
    assert headers["content-type"] == "image/svg+xml"
    assert b"A1, Larkfield Hive Fittings" in body


@pytest.mark.parametrize(
    ("path", "sentence"),
    [
        ("/tables/owner-nonsense.csv", "There is nothing called 'owner-nonsense.csv'"),
        ("/tables/owner-needs.xlsx", "There is nothing called 'owner-needs.xlsx'"),
        ("/tables/owner-losses.svg", "There is nothing called 'owner-losses.svg'"),
        ("/charts/owner-losses.csv", "There is nothing called 'owner-losses.csv'"),
        ("/charts/owner-losses.png", "There is nothing to draw here yet"),
        ("/tables/machine-weeks.csv?machine=Z9", "There is no machine Z9"),
        ("/tables/machine-weeks.csv", "Which machine? "),
        ("/charts/stores-use.png?item=nothing", "There is nothing to draw here yet"),
    ],
)
def test_what_is_not_there_is_one_sentence(serving: Serving, path: str, sentence: str) -> None:
    status, headers, body = serving.download(path)
    assert (status, headers["content-type"]) == (404, "text/plain; charset=utf-8")
    assert body.decode().startswith(sentence)


def test_a_page_elsewhere_gets_nothing(serving: Serving) -> None:
    assert serving.send("GET", "/tables/owner-needs.csv", headers={"Host": "rebound.example"})[0] == 403
    assert serving.send("GET", "/tables/owner-needs.csv", headers={"Origin": "http://elsewhere.example"})[0] == 403
