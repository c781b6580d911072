"""The pages wired together: what the menu leads to, and what a page remembers between its runs."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from uuid import UUID

import pytest
from streamlit.testing.v1 import AppTest

from core.entries import PartsOff, PrintStarted, SpoolFitted
from core.epoch import utc_now
from core.log.record import record
from core.log.store import Log
from core.setup import Person, Shop
from dashboard.kit import parts, shop
from dashboard.words import upkeep_words
from demo.shop import shop_rows
from tests.patience import DEADLINE

APP = Path(__file__).parents[3] / "dashboard" / "app.py"


@pytest.fixture
def log(tmp_path) -> Iterator[Log]:
    """A shop of six machines; P01 has been empty for an hour."""
    now = utc_now()
    with Log.open(tmp_path / "shop.duckdb") as log:
        log.append_setup(shop_rows(6, now - timedelta(days=10)))
        began = {"at": now - timedelta(hours=5), "noted_at": now - timedelta(hours=5), "by": "ro", "machine": "P01"}
        ended = began | {"at": now - timedelta(hours=1), "noted_at": now - timedelta(hours=1)}
        record(log, [PrintStarted(**began, file="F-001", revision=1), PartsOff(**ended)])
        shop.hold(log)
        yield log
        shop.hold(None)


def opened(page: str, **query: str) -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=DEADLINE)
    app.query_params.update(query)
    app.switch_page(page)
    return app.run()


def names(app: AppTest) -> list[str]:
    assert not app.exception
    return [button.key for button in app.button]


def texts(app: AppTest) -> str:
    return " ".join(element.proto.body for element in app.get("html"))


def test_a_check_in_offers_only_what_is_possible(log):
    assert names(opened("views/checkin.py", machine="P01", by="ro"))[:6] == [
        "undo", "main-started_same", "main-started_other", "main-spool", "main-upkeep", "main-upkeep_begun",
    ]  # fmt: skip


def test_a_tap_records_and_the_page_says_so(log):
    app = opened("views/checkin.py", machine="P01", by="ro")
    app.button(key="main-started_same").click().run()
    assert "F-001 started" in texts(app)
    assert "main-off_next" in names(app)
    newest = log.everything().row(-1, named=True)
    assert (newest["kind"], newest["machine"], newest["by"]) == ("PrintStarted", "P01", "ro")


def test_a_surprise_is_told_with_the_receipt(log):
    app = opened("views/checkin.py", machine="P02", by="ro")
    app.button(key="main-off").click().run()
    app.button(key="main-uncounted").click().run()
    assert "No start was noted for the parts taken off P02" in texts(app)


def test_initials_are_asked_before_anything_else(log):
    app = opened("views/checkin.py", machine="P01")
    assert names(app) == ["tile-who-ha", "tile-who-ro", "tile-who-mi"]
    app.button(key="tile-who-mi").click().run()
    assert "main-started_same" in names(app)
    assert app.query_params["by"] in ("mi", ["mi"])


def test_somebody_who_is_not_of_the_shop_is_asked_who_they_are(log):
    assert "tile-who-ro" in names(opened("views/checkin.py", machine="P01", by="zz"))


def test_spools_of_another_weight_are_two_taps_and_one_more(log):
    app = opened("views/checkin.py", machine="P01", by="ro")
    app.button(key="main-spool").click().run()
    app.button(key="quiet-grams-3000").click().run()
    app.button(key="main-petg-grey").click().run()
    newest = log.everything().row(-1, named=True)
    assert (newest["kind"], newest["material"], newest["grams"]) == ("SpoolFitted", "petg-grey", 3000.0)


def test_scrap_is_counted_between_one_and_the_most_that_any_file_holds(log):
    app = opened("views/checkin.py", machine="P01", by="ro")
    app.button(key="main-started_same").click().run()
    app.button(key="main-off_scrap").click().run()
    app.button(key="step-scrap-less").click().run()
    assert "1 of 5 scrap" in texts(app)
    for _ in range(4):
        app.button(key="step-scrap-more").click().run()
    assert "5 of 5 scrap" in texts(app)
    app.button(key="tile-scrap-warped").click().run()
    newest = log.everything().row(-1, named=True)
    assert (newest["kind"], newest["scrap"], newest["scrap_cause"]) == ("PartsOff", 5, "warped")


def test_more_scrap_than_was_started_is_taken_and_asked_about(log):
    app = opened("views/checkin.py", machine="P01", by="ro")
    app.button(key="main-started_same").click().run()
    app.button(key="main-off_scrap").click().run()
    for _ in range(7):
        app.button(key="step-scrap-more").click().run()
    assert "8 scrap, 5 were started" in texts(app)
    app.button(key="tile-scrap-warped").click().run()
    newest = log.everything().row(-1, named=True)
    assert (newest["kind"], newest["scrap"], newest["on_platform"]) == ("PartsOff", 8, None)
    assert "F-001, the last print noted on P01, has 5 parts: all 8 scrap count" in texts(app)
    assert "where 5 parts of F-001 were started" in texts(app)


def test_parts_of_a_forgotten_start_come_off_a_machine_that_is_taken_as_empty(log):
    app = opened("views/checkin.py", machine="P01", by="ro")
    app.button(key="main-off").click().run()
    app.button(key="main-count").click().run()
    newest = log.everything().row(-1, named=True)
    assert (newest["kind"], newest["machine"], newest["on_platform"]) == ("PartsOff", "P01", 5)
    assert "No start was noted for the parts taken off P01" in texts(app)


def test_more_may_be_left_of_a_spool_than_the_one_that_was_noted_held(log):
    then = utc_now() - timedelta(minutes=50)
    record(log, [SpoolFitted(at=then, noted_at=then, by="ro", machine="P01", material="petg-grey", grams=1000)])
    app = opened("views/checkin.py", machine="P01", by="ro")
    app.button(key="main-spool").click().run()
    app.button(key="quiet-weighed").click().run()
    app.number_input[0].set_value(1500.0).run()
    app.button(key="main-petg-grey").click().run()
    newest = log.everything().row(-1, named=True)
    assert (newest["kind"], newest["left_grams"]) == ("SpoolFitted", 1500.0)
    assert "the 1500 g are taken as left on another" in texts(app)


def test_parts_nobody_knows_of_are_counted_by_who_takes_them_off(log):
    app = opened("views/checkin.py", machine="P02", by="ro")
    app.button(key="main-off").click().run()
    app.button(key="step-held-more").click().run()
    app.button(key="main-count").click().run()
    newest = log.everything().row(-1, named=True)
    assert (newest["kind"], newest["on_platform"], newest["scrap"]) == ("PartsOff", 6, 0)


def test_back_asks_nothing_more(log):
    app = opened("views/checkin.py", machine="P01", by="ro")
    before = names(app)
    app.button(key="apart-down").click().run()
    assert "tile-down-fan" in names(app)
    app.button(key="quiet-back").click().run()
    assert names(app) == before


def test_a_round_shows_its_rack(log, monkeypatch):
    monkeypatch.setattr(parts, "uuid4", lambda: UUID(int=1))  # chance picks the second machine
    app = opened("views/round.py", rack="A", by="ro")
    assert names(app) == ["place-P01", "unknown-P02", "main-expected", "quiet-who"]


def test_a_round_asks_about_one_machine_without_a_hint_and_records_what_was_held(log, monkeypatch):
    monkeypatch.setattr(parts, "uuid4", lambda: UUID(int=4))  # chance picks the first machine, which is empty
    app = opened("views/round.py", rack="A", by="ro")
    assert [name for name in names(app) if "P0" in name] == ["unknown-P01", "unknown-P02"]
    assert "main-expected" not in names(app)
    app.button(key="tile-done").click().run()
    newest = log.everything().row(-1, named=True)
    assert (newest["kind"], newest["machine"], newest["saw"], newest["reckoned"]) == ("Looked", "P01", "done", "empty")
    app.button(key="tile-printing").click().run()
    newest = log.everything().row(-1, named=True)
    assert (newest["machine"], newest["saw"], newest["reckoned"]) == ("P02", "printing", None)


@pytest.mark.parametrize("page", ["views/checkin.py", "views/round.py"])
def test_a_file_without_a_shop_says_so_on_every_page(page, tmp_path):
    with Log.open(tmp_path / "empty.duckdb") as log:
        shop.hold(log)
        app = opened(page)
        shop.hold(None)
    assert names(app) == []
    assert "This file has no shop in it yet" in texts(app)


@pytest.mark.parametrize("page", ["views/checkin.py", "views/round.py"])
def test_a_shop_half_set_up_says_what_it_lacks(page, tmp_path):
    with Log.open(tmp_path / "half.duckdb") as log:
        shop.hold(log)
        log.append_setup([Shop(name="Larkfield Hive Fittings", zone="Europe/Dublin")])
        assert "Nobody is in the set-up yet" in texts(opened(page))
        log.append_setup([Person(person="ro", name="Rory")])
        assert "No machine is in the set-up yet" in texts(opened(page, by="ro"))
        shop.hold(None)


def test_a_shop_in_which_nothing_ever_failed_has_an_upkeep_page_and_records(log):
    page, record_of_one = opened("views/upkeep.py", by="ro"), opened("views/upkeep.py", machine="P01", by="ro")
    assert not page.exception
    assert not record_of_one.exception
    assert upkeep_words.NOTHING_WAITS in texts(page)
    assert upkeep_words.NO_FAULTS in texts(record_of_one)


def test_an_unknown_rack_leads_to_the_racks(log):
    app = opened("views/round.py", rack="Z", by="ro")
    assert "There is no rack Z" in texts(app)
    assert names(app) == ["main-rack-A", "main-rack-B", "main-rack-C"]
