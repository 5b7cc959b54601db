"""References: the scenario's planning table (common practice, no published source), powers."""

from typing import Any

from lives import spec

from analysis.decision.options import options_needing_new_spec
from analysis.decision.terms import Terms, terms_of


def terms(
    *requirements: tuple[float, float, int], planned: int, shape: Any = (2.0, 2.0, 2.6)
) -> list[Terms]:
    each = spec(
        "WEIBAYES" if shape else "ATTRIBUTE",
        *requirements,
        shape=shape,
        plan={"unit_count": 12, "allowed_failures": 0, "planned_cycles": planned}
        | ({"credit": "TO_PLANNED"} if shape else {}),
    )
    return [terms_of(each, requirement, after_data=False) for requirement in each.requirement]


def figures(plan: list[Terms]) -> list[tuple[Any, ...]]:
    return [
        (way.kind, way.allowed_failures, way.unit_count, way.cycles_each, way.cycles_in_all)
        for way in options_needing_new_spec(plan)
    ]


def test_fresh_tests_for_95_percent_with_90_percent_confidence() -> None:
    assert figures(terms((0.95, 0.9, 100_000), planned=200_000)) == [
        ("NEW_ATTRIBUTE_TEST", 0, 45, 100_000, 4_500_000),
        ("NEW_ATTRIBUTE_TEST", 1, 77, 100_000, 7_700_000),
        ("NEW_WEIBAYES_TEST", 0, 12, 200_000, 2_400_000),
        ("NEW_WEIBAYES_TEST", 1, 20, 200_000, 4_000_000),
    ]


def test_without_a_shape_or_a_run_beyond_the_target_only_counting_is_offered() -> None:
    for plan in (
        terms((0.95, 0.9, 100_000), planned=100_000, shape=None),
        terms((0.95, 0.9, 100_000), planned=100_000),
    ):
        assert [way[:3] for way in figures(plan)] == [
            ("NEW_ATTRIBUTE_TEST", 0, 45),
            ("NEW_ATTRIBUTE_TEST", 1, 77),
        ]


def test_a_fresh_test_shows_every_requirement() -> None:
    # 0.9**22 <= 0.1 needs 22 units at 100 000; 0.99**230 <= 0.1 needs 230 at 50 000.
    ways = figures(terms((0.9, 0.9, 100_000), (0.99, 0.9, 50_000), planned=200_000))
    assert ways[0] == ("NEW_ATTRIBUTE_TEST", 0, 230, 100_000, 23_000_000)
    # ln 0.1 / ln 0.99 = 229.1 target lives of 50 000, of which a unit to 200 000 gives 16.
    assert ways[2] == ("NEW_WEIBAYES_TEST", 0, 15, 200_000, 3_000_000)
