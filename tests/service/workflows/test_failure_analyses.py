"""What a unit's failure records tell its reduction, with places in the rows as counts."""

from typing import Any

import msgspec
import pytest
from lots_by_hand import LOT
from reduction_builders import stretch
from stores import FIRST_INSTANT

from schemas.failure_records import FailureRecord, NewFailureRecord
from schemas.unit_evidence import SignedFor
from service.storage.failure_records import StoredFailureRecord
from service.workflows.failure_analyses import analyses_of, clean_places


def stored(number: int, hidden: dict[str, Any] | None = None) -> StoredFailureRecord:
    content = {
        "record_key": f"FA-{number}",
        "unit": {"lot_number": LOT, "unit_serial": "001"},
        "failure_mode": "SEAL_DECAY",
        "cause": "lip worn",
        "evidence": "seen",
        "examined_at": FIRST_INSTANT.isoformat(),
        "hidden_before": hidden,
    }
    record = FailureRecord(
        record_id=f"rec_{number}",
        lot_id="lot_1",
        unit_id="unit_1",
        record=msgspec.convert(content, NewFailureRecord),
        recorded_at=FIRST_INSTANT,
        recorded_by="Test bench",
    )
    signatures = [SignedFor(failure_id="fail_a", signed_by="A. Tester")]
    return StoredFailureRecord(unit_key=1, record=record, signatures=signatures)


@pytest.mark.parametrize(
    ("hidden", "located", "clean"),
    [
        (None, {}, None),
        ({}, {}, 0),
        ({"clean_at_cycles": 90}, {}, 90),
        ({"clean_after": {"rig_id": "RIG-A", "run_id": "r", "cycle_in_run": 7}}, {0: 70}, 70),
        ({"clean_after": {"rig_id": "RIG-A", "run_id": "r", "cycle_in_run": 7}}, {}, 0),
    ],
)
def test_hidden_damage_is_as_old_as_its_record_leaves_it(
    hidden: dict[str, Any] | None, located: dict[int, int], clean: int | None
) -> None:
    [found] = analyses_of([stored(1, hidden)], located)
    assert (found.record_id, found.record_key) == ("rec_1", "FA-1")
    assert (found.failure_mode, found.clean_cycles) == ("SEAL_DECAY", clean)
    assert [each.signed_by for each in found.signatures] == ["A. Tester"]


def test_only_cycles_that_are_among_the_rows_are_located() -> None:
    row = stretch(500)
    here = {"rig_id": row.rig_id, "run_id": row.run_id, "cycle_in_run": 100}
    records = [
        stored(1),
        stored(2, {"clean_after": here}),
        stored(3, {"clean_after": here | {"run_id": "elsewhere"}}),
        stored(4, {"clean_at_cycles": 5}),
    ]
    found = clean_places(records, [row])
    assert [(number, place.last_cycle_in_run) for number, place in found.items()] == [(1, 100)]
