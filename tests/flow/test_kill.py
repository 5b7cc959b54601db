"""The process is killed in the middle of uploads and signatures: what was acknowledged is there.

200 requests, 25 of them killed at a moment drawn with a fixed seed. After each start: every
receipt and every signature that was acknowledged is there and is what it was; what the kill
interrupted is there whole or not at all; every row of every stored file is accounted for. At
the end a fresh store, told the same once and without a kill, has the same lives and verdict.
"""

from __future__ import annotations

import hashlib
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from bodies import attribute_spec
from killed_service import PARQUET, KilledService
from lots_by_hand import GOOD, Rows, rows_table, run_rows
from posted import lives_of
from service_client import ServiceClient, running_service

SEED = 20_261_125
REQUESTS, KILLS = 200, 25
LOTS = [f"CC25-01{n}" for n in range(17, 21)]
UNITS = {f"{n:03}": LOTS[(n - 1) // 3] for n in range(1, 13)}
"""Lot by serial: three units in each of four lots."""
ROWS_A_RUN = 30
SIGNER = ("A. Tester", "holds.sign")
SPEC = attribute_spec(
    plan=attribute_spec()["plan"] | {"unit_count": 3},
    requirement=[{"reliability": 0.4, "confidence": 0.9, "target_cycles": 1000}],
)


def one_run(serial: str, number: int) -> Rows:
    """One run of a unit that ends without a word, which a person must explain."""
    return run_rows(
        serial,
        f"run-{serial}-{number:02}",
        [GOOD] * ROWS_A_RUN,
        hour=0.5 * number,
        station_no=int(serial),
        lot_number=UNITS[serial],
    )


@dataclass
class Told:
    """What the service acknowledged, or had stored when it was killed: receipts by digest."""

    receipts: dict[str, dict[str, Any]] = field(default_factory=dict)
    rows: list[Rows] = field(default_factory=list)
    signed: dict[str, dict[str, Any]] = field(default_factory=dict)
    questions: list[tuple[str, str, str]] = field(default_factory=list)
    runs: dict[str, int] = field(default_factory=lambda: dict.fromkeys(UNITS, 0))


class Story:
    """Two hundred requests, told to a service that dies now and then."""

    def __init__(self, service: KilledService, lots: dict[str, str]) -> None:
        self.service = service
        self.lots = lots
        self.told = Told()
        self.chance = random.Random(SEED)
        self.took_s = {"upload": 0.3, "sign": 0.3}
        self.lost, self.kept = 0, 0

    def tell(self) -> None:
        killed = set(self.chance.sample(range(10, REQUESTS), KILLS))
        for number in range(REQUESTS):
            holds = self._open_holds() if number % 3 == 2 else []
            if holds:
                self._sign(self.chance.choice(holds), kill=number in killed)
            else:
                self._upload(kill=number in killed)

    def _open_holds(self) -> list[dict[str, Any]]:
        lot_id = self.lots[self.chance.choice(LOTS)]
        evaluation = self.service.read(f"/v1/lots/{lot_id}/evaluation")
        return [hold for hold in evaluation["holds"] if hold["name"] == "UNEXPLAINED_STOP"]

    def _send(self, kind: str, kill: bool, method: str, path: str, **content: Any) -> Any:
        """The answer; None where the process died before it came."""
        timer = None
        if kill:
            timer = self.service.kill_after(self.chance.uniform(0.0, 1.2 * self.took_s[kind]))
        begun = time.monotonic()
        answer = self.service.send(method, path, **content)
        if timer is None:
            self.took_s[kind] = time.monotonic() - begun
            return answer
        timer.join()
        self.service.start()
        return answer

    def _upload(self, *, kill: bool) -> None:
        serial = self.chance.choice([*UNITS])
        number = self.told.runs[serial]
        rows = one_run(serial, number)
        body = rows_table(rows)
        headers = {"Content-Type": PARQUET}
        answer = self._send("upload", kill, "POST", "/v1/uploads", content=body, headers=headers)
        sha256 = hashlib.sha256(body).hexdigest()
        stored = (
            {each["sha256"]: each for each in self.service.read_all("/v1/uploads")} if kill else {}
        )
        if answer is not None:
            assert answer.status_code == 201, answer.text
            self.told.receipts[sha256] = answer.json()
        elif sha256 in stored:
            self.kept += 1
            self.told.receipts[sha256] = stored[sha256]
        else:
            self.lost += 1
        if sha256 in self.told.receipts:
            self.told.rows.append(rows)
            self.told.runs[serial] = number + 1
        if kill:
            self.check()

    def _sign(self, hold: dict[str, Any], *, kill: bool) -> None:
        hold_id = hold["hold_id"]
        report = self.service.send("GET", f"/v1/holds/{hold_id}", who=SIGNER)
        assert report is not None
        body = {"choice": "BEST", "meaning": "hold decided", "reason": "compared with the log"}
        if self.chance.random() < 0.05:
            body["choice"] = "WORST"
        path = f"/v1/holds/{hold_id}/dispositions"
        headers = {"If-Match": report.headers["etag"]}
        answer = self._send("sign", kill, "POST", path, json=body, headers=headers, who=SIGNER)
        if answer is not None:
            assert answer.status_code == 201, answer.text
            found = answer.json()
        else:
            there = self.service.read_all(path)
            assert len(there) <= 1
            found = there[0] if there else None
            self.lost, self.kept = self.lost + (found is None), self.kept + (found is not None)
        if found is not None:
            self.told.signed[hold_id] = found
            run_id = hold["evidence"][0]["run_id"]
            self.told.questions.append((hold["unit_serial"], run_id, body["choice"]))
        if kill:
            self.check()

    def check(self) -> None:
        """Everything that was acknowledged is there, and nothing but that."""
        stored = {each["sha256"]: each for each in self.service.read_all("/v1/uploads")}
        assert stored == self.told.receipts
        for hold_id, disposition in self.told.signed.items():
            (found,) = self.service.read_all(f"/v1/holds/{hold_id}/dispositions")
            assert found == disposition
        for life in self.lives():
            rows = ROWS_A_RUN * self.told.runs[life["unit_serial"]]
            assert life["totals"]["logged_cycles"] == rows
            assert {each["hold_id"] for each in life["decided_holds"]} <= {*self.told.signed}

    def lives(self) -> list[dict[str, Any]]:
        """The life of every unit, by serial."""
        units = [
            unit
            for lot_id in self.lots.values()
            for unit in self.service.read(f"/v1/lots/{lot_id}/evaluation")["units"]
        ]
        lives = [self.service.read(f"/v1/units/{each['unit_id']}/life") for each in units]
        return sorted(lives, key=lambda life: str(life["unit_serial"]))


@pytest.fixture
def service(tmp_path: Path) -> Iterator[KilledService]:
    started = KilledService(tmp_path / "data", tmp_path / "log.txt")
    yield started
    started.close()


def begin(service: KilledService) -> dict[str, str]:
    """Registered lots under an approved specification, by number."""

    def sent(method: str, path: str, body: Any) -> Any:
        answer = service.send(method, path, json=body)
        assert answer is not None and answer.status_code in (200, 201), answer and answer.text
        return answer.json()

    sent("POST", "/v1/specs", SPEC)
    approval = {"meaning": "approved", "reason": "reviewed"}
    sent("PUT", f"/v1/specs/{SPEC['spec_id']}/versions/1/approval", approval)
    lots = {}
    for number in LOTS:
        lot = sent("POST", "/v1/lots", {"lot_number": number, "part_number": "CC25"})
        lots[number] = str(lot["lot_id"])
        serials = [serial for serial, lot_number in UNITS.items() if lot_number == number]
        sample = {"units": [{"unit_serial": serial} for serial in serials]}
        sent("POST", f"/v1/lots/{lots[number]}/units", sample)
        assigned = {"spec_id": SPEC["spec_id"], "version": 1, "reason": "as ordered"}
        sent("POST", f"/v1/lots/{lots[number]}/assignments", assigned)
    return lots


def told_once(client: ServiceClient, told: Told) -> dict[str, str]:
    """The same facts, all rows in one file, told to a service that nobody kills."""
    client.approved_spec(SPEC)
    lots = {number: str(client.lot(number)["lot_id"]) for number in LOTS}
    for number, lot_id in lots.items():
        client.sample(lot_id, [serial for serial, lot in UNITS.items() if lot == number])
        client.assign(lot_id, SPEC["spec_id"])
    client.upload(rows_table([row for rows in told.rows for row in rows]))
    person = client.with_scopes(["lots.read", "holds.sign"], name=SIGNER[0])
    for serial, run_id, choice in told.questions:
        holds = client.evaluation(lots[UNITS[serial]])["holds"]
        (hold_id,) = [
            hold["hold_id"]
            for hold in holds
            if hold["unit_serial"] == serial and hold["evidence"][0]["run_id"] == run_id
        ]
        etag = person.get(f"/v1/holds/{hold_id}").headers["etag"]
        body = {"choice": choice, "meaning": "hold decided", "reason": "compared with the log"}
        answer = person.post(f"/v1/holds/{hold_id}/dispositions", body, **{"If-Match": etag})
        assert answer.status_code == 201, answer.text
    return lots


_NAMES_OF_A_STORE = ("unit_id", "hold_id", "disposition_id", "signed_at", "failure_id")


def without_names(value: Any) -> Any:
    """An answer without what differs from store to store: drawn names and instants."""
    if isinstance(value, dict):
        return {k: without_names(v) for k, v in value.items() if k not in _NAMES_OF_A_STORE}
    return [without_names(each) for each in value] if isinstance(value, list) else value


@pytest.mark.slow
def test_no_acknowledged_change_is_lost_and_none_half_applied(
    service: KilledService, tmp_path: Path
) -> None:
    story = Story(service, begin(service))
    story.tell()
    story.check()
    print(f"interrupted: {story.lost} not stored, {story.kept} stored, of {KILLS} kills")
    with running_service(tmp_path / "fresh") as client:
        lots = told_once(client, story.told)
        fresh = [life for lot_id in lots.values() for life in lives_of(client, lot_id)]
        fresh.sort(key=lambda life: str(life["unit_serial"]))
        assert without_names(fresh) == without_names(story.lives())
        for number, lot_id in lots.items():
            again = client.evaluation(lot_id)
            evaluation = service.read(f"/v1/lots/{story.lots[number]}/evaluation")
            for said in ("verdict", "reasons", "requirements", "under_holds", "evidence"):
                assert again[said] == evaluation[said]
