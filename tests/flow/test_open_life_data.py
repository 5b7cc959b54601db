"""Life data that nobody here made, posted as lives tables, give the estimates of their books."""

import io
import json
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from product_source import ROOT
from service_client import ServiceClient, running_service

_CASES = json.loads((ROOT / "service" / "validation" / "cases.json").read_text("utf-8"))
_BY_ID = {case["id"]: case for case in _CASES}

OPEN_DATA = {
    # Lieblein and Zelen 1956: 23 deep-groove ball bearings, millions of revolutions with two
    # decimals, all failed. Posted in ten-thousands of revolutions, since a count is whole.
    "ball bearings": ("P-e_life_fit-001", 100),
    # O'Connor 1985 in Meeker and Escobar: 38 automotive shock absorbers, kilometres, 11 failed.
    "shock absorbers": ("P-e_life_fit-005", 1),
    # Nelson, Applied Life Data Analysis: 70 diesel generator fans, hours, 58 of them censored.
    "generator fans": ("P-e_life_fit-007", 1),
}


def _lives_table(lot_number: str, case: dict[str, Any], factor: int) -> bytes:
    data = case["inputs"]["data"]
    cycles = [round(time * factor) for time in data["time"]]
    table = pa.table(
        {
            "lot_number": [lot_number] * len(cycles),
            "unit_serial": [f"U{number:03d}" for number in range(1, len(cycles) + 1)],
            "ending": ["FAILED" if failed else "SUSPENDED" for failed in data["status"]],
            "cycles": pa.array(cycles, pa.int64()),
        }
    )
    sink = io.BytesIO()
    pq.write_table(table, sink)
    return sink.getvalue()


def _post(client: ServiceClient, name: str) -> dict[str, Any]:
    case_id, factor = OPEN_DATA[name]
    receipt = client.upload(_lives_table(name, _BY_ID[case_id], factor))
    assert receipt["table"] == "LIVES"
    return dict(client.evaluation(receipt["lots"][0]["lot_id"]))


@pytest.mark.parametrize("name", OPEN_DATA)
def test_open_life_data_give_the_published_weibull_estimates(name: str, tmp_path: Path) -> None:
    case_id, factor = OPEN_DATA[name]
    expected = _BY_ID[case_id]["expected"]
    with running_service(tmp_path) as client:
        evaluation = _post(client, name)
    fit = evaluation["estimates"]["weibull_fit"]
    assert fit["scale_cycles"] == pytest.approx(expected["eta"] * factor, rel=1e-9)
    assert fit["shape"] == pytest.approx(expected["beta"], rel=1e-9)
    failures = sum(_BY_ID[case_id]["inputs"]["data"]["status"])
    assert fit["failure_count"] == evaluation["evidence"]["failure_count"] == failures


def test_a_lot_that_nobody_registered_is_held_and_never_accepted(tmp_path: Path) -> None:
    with running_service(tmp_path) as client:
        evaluation = _post(client, "shock absorbers")
    assert evaluation["verdict"] == "HOLD"
    assert [reason["code"] for reason in evaluation["reasons"]] == ["NO_SPEC"]
    assert "UNREGISTERED" in evaluation["marks"]
