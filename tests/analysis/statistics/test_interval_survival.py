"""References: a general optimiser over every stretch between counts, and a long plain EM."""

import itertools
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from analysis.errors import OutsideDomainError
from analysis.statistics.interval_survival import interval_survival
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.survival_curve import kaplan_meier
from schemas.estimates import NotEstimable
from schemas.survival import IntervalSurvival, SurvivalCurve

WHOLE = math.inf
Ends = tuple[float, float]


def life(low: int, width: int, kind: str) -> Ends:
    if kind == "EXACT":
        return (float(low + 1), float(low + 1))
    return (float(low), WHOLE if kind == "WHOLE" else float(low + width))


LIVES = st.lists(
    st.builds(
        life,
        st.integers(0, 8),
        st.integers(1, 5),
        st.sampled_from(["EXACT", "WHOLE", "BRACKET", "BRACKET"]),
    ),
    min_size=1,
    max_size=15,
).map(lambda lives: [ends for ends in lives if ends != (0.0, WHOLE)])  # those say nothing
LIVES = LIVES.filter(bool)


def records_of(lives: list[Ends]) -> LifeRecords:
    return life_records([low for low, _ in lives], [high for _, high in lives])


def pieces_of(lives: list[Ends]) -> list[Ends]:
    """Every count that is an end, and every open stretch between two neighbours."""
    counts = sorted({end for ends in lives for end in ends} | {0.0, WHOLE})
    gaps = list(itertools.pairwise(counts))
    return [(at, at) for at in counts if 0 < at < WHOLE] + gaps


def may_hold(ends: Ends, piece: Ends) -> bool:
    """Whether a failure somewhere in the piece is one the life allows."""
    (low, high), (left, right) = ends, piece
    if low == high:
        return left == right == low
    if left == right:
        return low < left <= high
    return low <= left and right <= high


def table_of(lives: list[Ends]) -> Any:
    pieces = pieces_of(lives)
    return np.array([[may_hold(ends, piece) for piece in pieces] for ends in lives], dtype=float)


def greatest(lives: list[Ends]) -> float:
    """Greatest log-likelihood by many steps of plain EM, then a general optimiser on top."""
    table = table_of(lives)
    masses = np.full(table.shape[1], 1 / table.shape[1])
    for _ in range(3_000):
        masses = masses * (table.T @ (1 / (table @ masses))) / len(lives)
    value = float(np.log(table @ masses).sum())
    polished = minimize(
        lambda p: -np.log(np.maximum(table @ p, 1e-300)).sum(),
        masses,
        jac=lambda p: -table.T @ (1 / np.maximum(table @ p, 1e-300)),
        bounds=[(0, 1)] * masses.size,
        constraints={"type": "eq", "fun": lambda p: p.sum() - 1, "jac": np.ones_like},
        method="SLSQP",
        options={"ftol": 1e-14, "maxiter": 200},
    )
    if polished.success and abs(polished.x.sum() - 1) < 1e-12 and polished.x.min() >= 0:
        value = max(value, -float(polished.fun))
    return value


def value_at(found: IntervalSurvival, lives: list[Ends]) -> float:
    """Log-likelihood of the answer, each life's probability added up from its intervals."""
    total = 0.0
    for low, high in lives:
        inside = [
            each.mass
            for each in found.intervals
            if (low == high == each.low_cycles == each.high_cycles)
            or (
                low < high
                and (low < each.low_cycles or (low == each.low_cycles != each.high_cycles))
                and (each.high_cycles if each.high_cycles is not None else WHOLE) <= high
            )
        ]
        total += math.log(math.fsum(inside))
    return total


@given(LIVES)
@settings(max_examples=40, deadline=None)
def test_no_optimiser_finds_likelier_masses(lives: list[Ends]) -> None:
    found = interval_survival(records_of(lives))
    assert found.log_likelihood == pytest.approx(value_at(found, lives), abs=1e-9)
    assert found.log_likelihood >= greatest(lives) - 1e-9
    assert math.fsum(each.mass for each in found.intervals) == pytest.approx(1, abs=1e-12)


@given(LIVES)
@settings(max_examples=40, deadline=None)
def test_the_answer_meets_the_condition_of_a_maximum(lives: list[Ends]) -> None:
    found, n = interval_survival(records_of(lives)), len(lives)
    assert 0 <= found.excess <= 1e-11 * n
    # Moving mass to any piece, held by the answer or not, must not pay.
    table, pieces = table_of(lives), pieces_of(lives)
    held = np.zeros(len(pieces))
    for each in found.intervals:
        ends = (each.low_cycles, WHOLE if each.high_cycles is None else each.high_cycles)
        within = [
            place
            for place, piece in enumerate(pieces)
            if may_hold(ends, piece) and (ends[0] == ends[1] or piece[0] != piece[1])
        ]
        held[within[0]] += each.mass
    gains = table.T @ (1 / (table @ held))
    assert gains.max() <= n * (1 + 1e-9)
    assert gains[held > 1e-6] == pytest.approx(n, rel=1e-6)


@given(st.lists(st.tuples(st.integers(1, 12), st.booleans()), min_size=1, max_size=30))
@settings(max_examples=40, deadline=None)
def test_without_brackets_it_is_the_curve_by_steps(lot: list[tuple[int, bool]]) -> None:
    lives, failed = [float(at) for at, _ in lot], np.array([did for _, did in lot], dtype=bool)
    records = lives_with_run_outs(lives, failed)
    found, curve = interval_survival(records), kaplan_meier(records, confidence=0.9)
    assert isinstance(curve, SurvivalCurve)
    for at in range(14):
        expected, here = curve.survival_at(at), found.survival_at(at)
        if isinstance(expected, NotEstimable):
            assert here == expected
        else:
            assert here == pytest.approx(expected, abs=1e-9)


@given(LIVES, st.sampled_from([1e-3, 1e4, 1e9]))
@settings(max_examples=40, deadline=None)
def test_cycles_in_another_unit_change_no_mass(lives: list[Ends], factor: float) -> None:
    here = interval_survival(records_of(lives))
    there = interval_survival(records_of([(low * factor, high * factor) for low, high in lives]))
    assert there.log_likelihood == pytest.approx(here.log_likelihood, abs=1e-10)
    assert [each.mass for each in there.intervals] == pytest.approx(
        [each.mass for each in here.intervals], abs=1e-9
    )


def test_a_published_estimate_from_visits() -> None:
    # Cosmetic deterioration after radiotherapy, months, 46 patients, D. M. Finkelstein and
    # R. A. Wolfe 1985; masses as commonly printed for this group (data and masses from memory;
    # that eight masses agree to four digits confirms both).
    brackets = """6,10 0,7 7,16 7,14 37,44 0,8 4,11 11,15 25,37 26,40 27,34 36,44 36,48 17,25
        11,18 5,12 0,5 5,11 19,35 17,25 19,26"""
    whole = "45 46 46 17 15 22 46 46 46 46 46 37 40 46 38 37 18 24 36 24 32 33 37 34 36"
    ends = [(float(a), float(b)) for a, b in (each.split(",") for each in brackets.split())]
    found = interval_survival(records_of([*ends, *((float(at), WHOLE) for at in whole.split())]))
    shown = [(i.low_cycles, i.high_cycles, round(i.mass, 4)) for i in found.intervals]
    assert found.unit_count == 46
    assert shown == [
        (4, 5, 0.0463),
        (6, 7, 0.0334),
        (7, 8, 0.0887),
        (11, 12, 0.0708),
        (24, 25, 0.0926),
        (33, 34, 0.0818),
        (38, 40, 0.1209),
        (46, 48, 0.4656),
    ]


def test_no_failure_is_an_answer_with_all_mass_after_the_longest_life() -> None:
    found = interval_survival(life_records([5.0, 9.0], [WHOLE, WHOLE]))
    (only,) = found.intervals
    assert (only.low_cycles, only.high_cycles, only.mass) == (9.0, None, 1.0)
    assert found.survival_at(9) == 1.0 and found.log_likelihood == 0.0
    assert found.survival_at(9.5) == NotEstimable(reason="BEYOND_LONGEST_LIFE")


def test_no_unit_is_an_answer_that_knows_nothing() -> None:
    found = interval_survival(life_records([], []))
    assert found.survival_at(0) == 1.0
    assert found.survival_at(1) == NotEstimable(reason="BEYOND_LONGEST_LIFE")


def test_a_unit_stopped_where_another_was_seen_whole_lies_outside_its_bracket() -> None:
    # Failed in (5, 8]; one stopped at 8 is still whole there.
    found = interval_survival(life_records([5.0, 8.0], [8.0, WHOLE]))
    assert [(i.low_cycles, i.high_cycles) for i in found.intervals] == [(5.0, 8.0), (8.0, None)]
    assert found.survival_at(8) == pytest.approx(0.5, abs=1e-12)


def test_overlapping_brackets_share_the_mass_where_most_of_them_meet() -> None:
    # P = (p, 1, 1 - p) with p the mass of (2, 4]: greatest at one half.
    found = interval_survival(records_of([(0.0, 4.0), (2.0, 6.0), (4.0, 8.0)]))
    assert [(i.low_cycles, i.high_cycles) for i in found.intervals] == [(2.0, 4.0), (4.0, 6.0)]
    assert [i.mass for i in found.intervals] == pytest.approx([0.5, 0.5], abs=1e-9)


def test_too_many_stretches_are_refused() -> None:
    at = np.arange(1.0, 3_002.0)
    with pytest.raises(OutsideDomainError, match="intervals"):
        interval_survival(lives_with_run_outs(at, np.ones(at.size, dtype=bool)))
