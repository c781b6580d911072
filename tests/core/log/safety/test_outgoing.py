"""What is written to a place that a person named: whole or not at all, and over nothing that is not ours."""

import os
from pathlib import Path

import pytest
from markupsafe import Markup

from core.errors import Refused
from core.log.exchange import export_folder, template
from core.log.safety.companions import COMPANIONS, companion
from core.log.safety.outgoing import new_folder, write
from core.log.store import Log
from dashboard.paper.paper import document

SHEET = document("A sheet", Markup("<p>today's</p>")).encode()


def everything_in(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir()}


def test_a_sheet_of_ours_is_replaced_by_the_next_one(tmp_path):
    sheet = tmp_path / "sheet.html"
    write(sheet, document("A" * 5000, Markup("")).encode())
    write(sheet, SHEET)
    assert everything_in(tmp_path) == {"sheet.html": SHEET}


STRANGERS = {
    "a text": b"a list of things to do",
    "nothing": b"",
    "another's page": b"<!DOCTYPE html>\n<html><head><title>Roundsheet</title></head></html>",
    "a page that tells of ours later": b"<!DOCTYPE html>\n" + b" " * 5000 + SHEET,
    "a text that names the mark": b'<meta name="generator" content="Roundsheet">',
}


@pytest.mark.parametrize("content", STRANGERS.values(), ids=STRANGERS.keys())
def test_a_file_that_we_did_not_write_stays(tmp_path, content):
    (tmp_path / "file").write_bytes(content)
    with pytest.raises(Refused, match="no sheet of ours: move it away, or name another") as refused:
        write(tmp_path / "file", SHEET)
    assert refused.value.rule == "not_ours"
    assert everything_in(tmp_path) == {"file": content}


def test_a_shops_file_stays_whatever_it_is_called_by(log, tmp_path):
    log.close()
    before = log.path.read_bytes()
    (tmp_path / "link.html").symlink_to(log.path)
    os.link(log.path, tmp_path / "hard.html")
    for name in ("shop.duckdb", "link.html", "hard.html"):
        with pytest.raises(Refused, match="no sheet of ours"):
            write(tmp_path / name, SHEET)
        assert (tmp_path / name).read_bytes() == before


@pytest.mark.parametrize("ending", COMPANIONS)
@pytest.mark.parametrize("there", [True, False], ids=["there", "not there yet"])
def test_nothing_lands_where_a_shops_file_keeps_what_belongs_to_it(log, tmp_path, ending, there):
    log.close()
    place = companion(log.path, ending)
    if there:
        place.write_bytes(SHEET)
    (tmp_path / "link.html").symlink_to(place)
    before = everything_in(tmp_path) if there else {path.name for path in tmp_path.iterdir()}
    for path in (place, tmp_path / "link.html", place.with_name(place.name.upper())):
        for attempt in (lambda at: write(at, SHEET), template, lambda at: new_folder(at).__enter__(), Log.open):
            with pytest.raises(Refused) as refused:
                attempt(path)
            assert refused.value.rule == "belongs_to_a_shop"
    assert before == (everything_in(tmp_path) if there else {path.name for path in tmp_path.iterdir()})


def test_an_export_beside_the_shops_file_does_not_take_the_place_of_its_log(log):
    with pytest.raises(Refused, match="belongs to a shop's file"):
        export_folder(log, companion(log.path, ".wal.tmp"))


def test_a_sheet_goes_where_a_link_to_one_leads(tmp_path):
    (tmp_path / "real").mkdir()
    write(tmp_path / "real" / "sheet.html", document("before", Markup("")).encode())
    (tmp_path / "sheet.html").symlink_to(tmp_path / "real" / "sheet.html")
    write(tmp_path / "sheet.html", SHEET)
    assert (tmp_path / "sheet.html").is_symlink()
    assert everything_in(tmp_path / "real") == {"sheet.html": SHEET}


def test_a_file_that_breaks_off_leaves_nothing_of_itself(tmp_path, monkeypatch):
    def break_off(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", break_off)
    with pytest.raises(KeyboardInterrupt):
        write(tmp_path / "sheet.html", SHEET)
    assert everything_in(tmp_path) == {}
