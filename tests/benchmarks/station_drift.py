"""
How soon a drifting station is found, and how often a healthy one is flagged.

Run from the top folder: ``python tests/benchmarks/station_drift.py [seed] [supplies] [scale]``.
First simulated supplies of six stations over 100,000 cycles: noise, a common wander, an offset
of each station, and a slow swing of each station alone. Then the demo's own lots: their files
are written at the scale given (0: not at all), and the hours are taken from the files.
"""

import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

import duckdb
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support")]

from drift_simulation import CYCLES_IN_HOUR, SET_MPA, means, ran, stations_of_a_supply  # noqa: E402
from reduction_builders import FIRST_START  # noqa: E402

from analysis.reduction.station_drift import station_drifts  # noqa: E402
from schemas.stretches import StretchSummary  # noqa: E402
from service.demo.bundle import write_bundle  # noqa: E402
from service.demo.lots import lot  # noqa: E402

SEED, SUPPLIES, SCALE = 9_000, 200, 1.0
HOURS = 70
OWN_WANDER_MPA = 0.02
LIMITS_MPA = (0.10, 0.15, 0.25)
DRIFTS = (0.01, 0.02, 0.04)
HEALTHY_LOTS = ("L01", "L06")
_HOURS = """
SELECT rig_id, station_no, date_diff('hour', $first::TIMESTAMPTZ, started_at) AS hour,
    count(*) AS cycles, avg(pressure_peak_mpa) AS peak_mpa, avg(pressure_low_mpa) AS low_mpa
FROM read_parquet($files)
WHERE pressure_peak_mpa BETWEEN 31.59 AND 34.91
GROUP BY ALL
ORDER BY ALL
"""


def main(seed: int, supply_count: int, scale: float) -> None:
    began = time.perf_counter()
    print(f"{supply_count} healthy supplies of six stations, {HOURS} hours, seed {seed}")
    healthy = [_supply(seed + number) for number in range(supply_count)]
    for limit in LIMITS_MPA:
        flagged = sum(bool(station_drifts(each, {}, limit)) for each in healthy)
        print(f"  limit {limit:.2f} MPa: {flagged} supplies with a false finding")
    for share in DRIFTS:
        print(f"one station drifts by {share:.0%} of {SET_MPA} MPa over 100,000 cycles")
        _report_drift(seed, supply_count // 4, share)
    if scale:
        _report_demo(scale)
    print(f"{time.perf_counter() - began:.0f} s")


def _supply(seed: int, **drift: object) -> list[StretchSummary]:
    rng = np.random.default_rng(seed)
    return stations_of_a_supply(
        rng,
        station_count=6,
        hours=HOURS,
        own_wander_mpa=OWN_WANDER_MPA,
        **drift,  # type: ignore[arg-type]
    )


def _report_drift(seed: int, supply_count: int, share: float) -> None:
    an_hour = share * SET_MPA / (100_000 / CYCLES_IN_HOUR)
    drifting = [
        _supply(seed + 100_000 + number, drift_mpa_per_hour={4: an_hour})
        for number in range(supply_count)
    ]
    for limit in LIMITS_MPA:
        found = [station_drifts(each, {}, limit) for each in drifting]
        own = [[each for each in lot if each.station_no == 4] for lot in found]
        after = [(each[0].from_at - each[0].began_at) / timedelta(hours=1) for each in own if each]
        others = sum(len(lot) - len(mine) for lot, mine in zip(found, own, strict=True))
        median = np.median(after) * CYCLES_IN_HOUR if after else float("nan")
        print(
            f"  limit {limit:.2f} MPa: found in {len(after)} of {supply_count}, after "
            f"{median:,.0f} cycles (median); {others} other stations flagged"
        )


def _report_demo(scale: float) -> None:
    for number in HEALTHY_LOTS:
        with tempfile.TemporaryDirectory() as folder:
            write_bundle(lot(number), Path(folder), scale=scale, said=lambda _: None)
            stretches = _hours_of([str(path) for path in Path(folder).glob("**/*.parquet")])
        for limit in LIMITS_MPA:
            found = station_drifts(stretches, {}, limit)
            print(f"demo lot {number}, scale {scale}, limit {limit:.2f} MPa: {len(found)} findings")


def _hours_of(files: list[str]) -> list[StretchSummary]:
    first = FIRST_START.isoformat() + "Z"
    rows = duckdb.execute(_HOURS, {"files": files, "first": first}).fetchall()
    by_station: dict[tuple[str, int], list[tuple[int, int, float, float]]] = {}
    for rig_id, station_no, *cells in rows:
        by_station.setdefault((rig_id, station_no), []).append(tuple(cells))
    return [
        ran(
            station_no,
            [
                means(hour, peak, counted_cycles=cycles, pressure_low_mpa=low)
                for hour, cycles, peak, low in cells
            ],
            rig_id=rig_id,
        )
        for (rig_id, station_no), cells in by_station.items()
    ]


if __name__ == "__main__":
    given = sys.argv[1:]
    main(
        int(given[0]) if given else SEED,
        int(given[1]) if len(given) > 1 else SUPPLIES,
        float(given[2]) if len(given) > 2 else SCALE,
    )
