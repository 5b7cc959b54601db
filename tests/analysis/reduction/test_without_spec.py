"""What a lot without a specification is read under."""

from reduction_builders import evidence, failing

from analysis.reduction.endings import end_of_life
from analysis.reduction.rules import stage_one_parameters, streak_text_name
from analysis.reduction.without_spec import permissive_spec


def test_no_unit_is_finished_and_no_failure_is_looked_for() -> None:
    spec = permissive_spec()
    rows = [failing(2_000_000, 900_000, ends_in_burst=True)]
    end = end_of_life(evidence(*rows), rows, spec)
    assert (end.ending, end.at_counted, end.has_ended) == ("SUSPENDED", 2_000_000, False)


def test_nobody_is_overdue_and_no_condition_is_needed() -> None:
    spec = permissive_spec()
    given = stage_one_parameters(spec, None)
    assert not any(value for name, value in given.items() if name.startswith("needs_"))
    assert streak_text_name(spec) is None
    assert spec.plan.overdue_hours > 24 * 365 * 100


def test_units_without_rows_have_not_started() -> None:
    assert end_of_life(evidence(), [], permissive_spec()).marks == ("NOT_STARTED",)
