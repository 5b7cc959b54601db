"""Which unit a written row belongs to, rule by rule."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import msgspec
import pytest

from schemas.corrections import NewCorrection
from service.storage.written_units import (
    EARLIEST,
    LATEST,
    Redirection,
    reaches_lives,
    redirections_of,
    unit_of_life,
)

LOT = "CC25-0117"
STRETCH = ("RIG-A", "run-1", 2, LOT, "O01")


def correction(written: str | None, belongs_to: str | None, **scope: Any) -> NewCorrection:
    body = {
        "correction_key": "c1",
        "written": {"lot_number": LOT, "unit_serial": written},
        "belongs_to": {"lot_number": scope.pop("to_lot", LOT), "unit_serial": belongs_to},
        "meaning": "corrected",
        "reason": "label read again",
        "scope": scope,
    }
    return msgspec.convert(body, NewCorrection)


def serials(*corrections: NewCorrection, upload_id: str = "up_1") -> list[str]:
    return [each.unit_serial for each in redirections_of(corrections, STRETCH, upload_id)]


@pytest.mark.parametrize(
    "scope",
    [
        {},
        {"rig_id": "RIG-A"},
        {"run_id": "run-1", "station_no": 2},
        {"upload_id": "up_1"},
    ],
)
def test_a_scope_that_holds_the_stretch_redirects_all_of_it(scope: dict[str, Any]) -> None:
    assert serials(correction("O01", "001", **scope)) == ["001"]


@pytest.mark.parametrize(
    "scope",
    [{"rig_id": "RIG-B"}, {"run_id": "run-2"}, {"station_no": 3}, {"upload_id": "up_2"}],
)
def test_another_scope_leaves_the_stretch_alone(scope: dict[str, Any]) -> None:
    assert serials(correction("O01", "001", **scope)) == []
    assert serials(correction("002", "001")) == []


def test_the_newest_that_holds_for_all_rows_overrides_those_before_it() -> None:
    part = correction("O01", "003", first_cycle_in_run=5)
    assert serials(correction("O01", "001"), correction("O01", "002")) == ["002"]
    assert serials(part, correction("O01", "002")) == ["002"]
    assert serials(correction("O01", "002"), part) == ["002", "003"]
    # A part of the stretch: the rest stays with the unit that the file names.
    assert serials(part) == ["O01", "003"]


def test_instants_are_compared_in_utc_and_counters_include_both_ends() -> None:
    noon = datetime(2026, 11, 20, 12, 0, tzinfo=timezone(timedelta(hours=1)))
    [_, found] = redirections_of(
        [correction("O01", "001", started_from=noon, last_cycle_in_run=9)], STRETCH, "up_1"
    )
    assert found.started_from == datetime(2026, 11, 20, 11, 0)
    assert (found.started_before, found.first_cycle, found.last_cycle) == (LATEST, 0, 9)
    assert not found.is_whole
    assert Redirection(lot_number=LOT, unit_serial="001").started_from == EARLIEST
    assert noon.astimezone(UTC).hour == 11


def test_without_serials_a_unit_keeps_its_own_in_the_other_lot() -> None:
    [found] = redirections_of([correction(None, None, to_lot="CC25-0118")], STRETCH, "up_1")
    assert (found.lot_number, found.unit_serial) == ("CC25-0118", "O01")


def test_a_life_is_reached_only_without_place_and_time() -> None:
    whole, by_rig = correction("O01", "001"), correction("O01", "002", rig_id="RIG-A")
    assert unit_of_life([whole, by_rig], LOT, "O01", "up_1") == (LOT, "001")
    of_upload = correction("O01", "003", upload_id="up_2")
    assert unit_of_life([whole, of_upload], LOT, "O01", "up_1") == (LOT, "001")
    assert unit_of_life([whole, of_upload], LOT, "O01", "up_2") == (LOT, "003")
    assert unit_of_life([whole], LOT, "009", "up_1") == (LOT, "009")
    assert (reaches_lives(whole.scope), reaches_lives(by_rig.scope)) == (True, False)
    assert reaches_lives(of_upload.scope)
