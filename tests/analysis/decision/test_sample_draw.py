"""A draw can be repeated elsewhere from its description, and favours nobody."""

from __future__ import annotations

import shutil
import subprocess
from collections import Counter

import pytest

from analysis.decision.sample_draw import (
    draw_stratum,
    place_in_draw,
    population_sha256,
    serials_of,
)
from analysis.errors import OutsideDomainError
from schemas.sample_draws import SerialRange

POPULATION = serials_of(SerialRange(prefix="A-", first=1, last=40, digits=3))


def drawn(seed: str, unit_count: int = 6, spare_count: int = 2, batch: str | None = None) -> tuple:
    stratum = draw_stratum(
        POPULATION, seed=seed, stratum=batch, unit_count=unit_count, spare_count=spare_count
    )
    return stratum.drawn, stratum.spares


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="needs coreutils")
@pytest.mark.parametrize("batch", [None, "B-2"])
def test_the_draw_is_repeated_with_a_checksum_program_and_a_sort(batch: str | None) -> None:
    """Reference: sha256sum of coreutils, as the docstring describes the draw."""
    digests = {}
    for serial in POPULATION:
        text = f"2026-11-25 17\n{batch or ''}\n{serial}"
        told = subprocess.run(
            ["sha256sum"], input=text.encode(), capture_output=True, check=True
        ).stdout
        digests[told.split()[0].decode()] = serial
    order = [digests[digest] for digest in sorted(digests)]
    assert drawn("2026-11-25 17", batch=batch) == (order[:6], order[6:8])


def test_the_order_in_which_the_population_is_told_changes_nothing() -> None:
    backwards = draw_stratum(POPULATION[::-1], seed="s", stratum=None, unit_count=6, spare_count=2)
    assert (backwards.drawn, backwards.spares) == drawn("s")
    lots = [("", POPULATION[:9]), ("B-1", POPULATION[9:])]
    assert population_sha256(lots) == population_sha256([(n, s[::-1]) for n, s in lots[::-1]])
    assert population_sha256(lots) != population_sha256([("", POPULATION)])


def test_spares_follow_the_sample_and_a_larger_sample_takes_them_first() -> None:
    units, spares = drawn("s", 6, 4)
    assert drawn("s", 10, 0)[0] == units + spares
    assert not {*units} & {*spares}


def test_every_unit_is_drawn_about_as_often_as_any_other() -> None:
    """40 units, 10 drawn, 2,000 seeds: each 500 times, standard error 19.4 (binomial)."""
    counts = Counter(serial for seed in range(2_000) for serial in drawn(str(seed), 10, 0)[0])
    assert sum(counts.values()) == 20_000
    assert all(abs(counts[serial] - 500) < 5 * 19.4 for serial in POPULATION)


def test_seed_stratum_and_serial_cannot_be_taken_for_each_other() -> None:
    places = {
        place_in_draw("s", "a", "b"),
        place_in_draw("sa", "", "b"),
        place_in_draw("s", "", "ab"),
    }
    assert len(places) == 3


def test_more_than_there_is_cannot_be_drawn() -> None:
    with pytest.raises(OutsideDomainError):
        drawn("s", 39, 2)
    assert sorted(drawn("s", 38, 2)[0] + drawn("s", 38, 2)[1]) == POPULATION
    with pytest.raises(OutsideDomainError):
        serials_of(SerialRange(first=2, last=1))
    assert serials_of(SerialRange(prefix="C", first=998, last=1001)) == [
        "C998",
        "C999",
        "C1000",
        "C1001",
    ]
