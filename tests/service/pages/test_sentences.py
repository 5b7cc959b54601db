"""The argument of a lot reads as a tester would argue it, with its figures on the careful side."""

import page_examples as examples
import pytest
from msgspec import UNSET, structs

from schemas.decisions import Reason, RequirementResult, WayToFinish
from schemas.specs import Spec
from service.pages import sentences
from service.pages.units import NO_BREAK, PressureUnit


def plain(text: str) -> str:
    """The text with ordinary spaces."""
    return text.replace(NO_BREAK, " ")


def spec() -> Spec:
    return examples.spec_version().spec


def argument_of(name: str, *, unit: PressureUnit = "mpa") -> str:
    evaluation = examples.every_kind()[name]
    result = evaluation.requirements[0]
    return plain(sentences.argument(evaluation, result, spec=spec(), unit=unit))


def test_an_accepted_lot_is_argued_in_the_trades_wording() -> None:
    # 12 units to twice the target, no failure: R = 0.1 ** (1 / 48) = 0.953 at shape 2,
    # 0.1 ** (1 / (12 * 2 ** 1.8)) = 0.946 at shape 1.8; closed form of the zero-failure limit.
    text = argument_of("accepted")
    assert text == (
        "Lot L01, spec CC25-Q1 v1: 12 units, 2,400,078 counted cycles (2,400,000 credited) at "
        "33.25 MPa (4,823 psi), 0 relevant failures. Reliability at 100,000 cycles is at least "
        "0.953 with 90 % confidence, assuming Weibull shape β = 2.0 (source: earlier lots) and "
        "one population. The worst shape of the range 2.0 to 2.6 decides: it is also 2.0, with "
        "at least 0.953. For comparison only: 0.946 at β = 1.8. Verdict under CC25-Q1 v1: accept. "
        "The verdict applies to this lot and these conditions only."
    )


def test_a_worst_shape_beside_the_assumed_one_has_its_own_figure() -> None:
    evaluation = examples.accepted()
    result = evaluation.requirements[0]
    assert result.variables is not UNSET
    view = structs.replace(
        result.variables, worst_shape=2.31, reliability_lower_worst=0.94999, target_lives_worst=44.0
    )
    changed = structs.replace(result, variables=view)
    text = plain(sentences.argument(evaluation, changed, spec=spec(), unit="mpa"))
    assert "at least 0.953 with 90 % confidence" in text
    assert "decides: it is 2.31, with at least 0.949." in text


def test_the_upper_limit_tells_both_refusals_apart() -> None:
    assert "is not below the required 0.95." in argument_of("not-demonstrated")
    assert "is below the required 0.95." in argument_of("shown-below")
    assert "not accepted, not demonstrated." in argument_of("not-demonstrated")
    assert "not accepted, shown below the requirement." in argument_of("shown-below")


def test_an_unfinished_plan_claims_no_confidence() -> None:
    text = argument_of("unfinished")
    assert "The lower limit of reliability at 100,000 cycles stands at 0.845" in text
    assert "nothing is demonstrated yet" in text
    assert "is at least" not in text
    assert "nothing is demonstrated yet" not in argument_of("accepted")


def test_an_attribute_plan_assumes_no_life_distribution() -> None:
    # 45 units to the target, no failure: R = 0.1 ** (1 / 45) = 0.950.
    text = argument_of("by-attributes")
    assert (
        "Of 45 units decided at 100,000 cycles, none failed. Reliability at 100,000 cycles is at "
        "least 0.950 with 90 % confidence, whatever the life distribution." in text
    )
    assert "β" not in text


@pytest.mark.parametrize("unit", ["mpa", "bar", "psi"])
def test_the_argument_has_mpa_and_psi_in_any_unit(unit: PressureUnit) -> None:
    text = argument_of("accepted", unit=unit)
    assert "33.25 MPa" in text and "4,823 psi" in text


def test_a_specification_without_set_pressure_is_quoted_by_its_band() -> None:
    band = examples.spec_version(pressure_set_mpa=None).spec
    assert plain(sentences.test_pressure(band, "bar")) == (
        "315.9 bar (31.59 MPa, 4,582 psi) to 349.1 bar (34.91 MPa, 5,063 psi)"
    )


def test_a_headline_names_the_kind_of_refusal_and_the_specification() -> None:
    heads = {name: sentences.headline(each) for name, each in examples.every_kind().items()}
    assert heads == {
        "accepted": "Accept under CC25-Q1 v1",
        "by-attributes": "Accept under CC25-Q1 v1",
        "held": "Hold: an open question decides",
        "not-demonstrated": "Not accepted: not demonstrated",
        "shown-below": "Not accepted: shown below the requirement",
        "unfinished": "Continue: the plan is not finished",
        "without-spec": "Hold: no specification is assigned",
    }


def test_a_critical_failure_is_told_as_a_hazard_and_not_as_no_finding() -> None:
    reason = Reason(code="CRITICAL_FAILURE", unit_serials=["L02-012"])
    evaluation = structs.replace(examples.not_demonstrated(), reasons=[reason])
    said = " ".join(sentences.meanings(evaluation))
    assert "hazard" in said and "says nothing about the goods" not in said
    worse = structs.replace(evaluation, kind="SHOWN_BELOW_REQUIREMENT")
    assert "finding about the goods" in " ".join(sentences.meanings(worse))
    assert "L02-012" in sentences.reason_sentence(reason)


def test_a_plan_by_counting_reads_by_units_and_not_by_target_lives() -> None:
    reason = Reason(code="PLAN_NOT_FINISHED", unit_count=40, failure_count=1, allowed_failures=1)
    assert sentences.reason_sentence(reason) == (
        "The plan is not finished: 40 units decided so far, 1 failed, acceptance number 1."
    )


def test_a_hold_says_what_it_waits_for() -> None:
    late = structs.replace(
        examples.accepted(), verdict="HOLD", reasons=[Reason(code="SPEC_AFTER_DATA")]
    )
    assert sentences.headline(late) == "Hold: the specification came after the first cycles"
    assert sentences.meanings(late) == []


def test_a_unit_credited_once_needs_no_shape() -> None:
    evaluation = examples.accepted()
    base = evaluation.requirements[0]
    once = structs.replace(base, plan=structs.replace(base.plan, credit="ONCE_AT_TARGET"))
    text = sentences.argument(evaluation, once, spec=spec(), unit="mpa")
    assert "credited once, at the target" in text and "β" not in text


def test_a_reason_without_its_figures_has_its_plain_sentence() -> None:
    assert sentences.reason_sentence(Reason(code="TARGET_LIVES_SHORT")).startswith("Every unit")
    full = Reason(
        code="TARGET_LIVES_SHORT", target_lives=44.8899, target_lives_required=44.89056748
    )
    assert "44.88 target lives in sum; 44.89 are needed" in sentences.reason_sentence(full)


def test_an_upper_limit_just_below_the_requirement_does_not_read_as_equal() -> None:
    reason = Reason(
        code="UPPER_LIMIT_BELOW_REQUIREMENT", reliability_upper=0.94996, reliability_required=0.95
    )
    assert "0.94996, below the required 0.95" in sentences.reason_sentence(reason)


def test_the_risk_is_of_lots_at_the_requirement_and_not_of_accepted_lots() -> None:
    text = plain(sentences.risk_sentence(0.9))
    assert text.startswith("1 − C = 10 % is the largest share of lots exactly at the requirement")
    assert "not the share of accepted lots that are bad" in text


def test_a_requirement_at_other_cycles_is_what_the_attribute_limits_are_held_against() -> None:
    view = structs.replace(
        examples.attribute_view(examples.run_outs("L09", 12), at_cycles=200_000),
        reliability_required=0.95**4,
    )
    base: RequirementResult = examples.by_attributes().requirements[0]
    result = structs.replace(base, attribute_at_planned=view)
    assert plain(sentences.against(result)).endswith("required: 0.8146 at 200,000 cycles.")


def test_a_way_to_finish_says_only_what_it_states() -> None:
    assert sentences.way_figures(WayToFinish(kind="CHECK_AT_END")) == ""
    way = WayToFinish(kind="RUN_ON", unit_count=1, cycles_each=223_335, allowed_failures=0)
    assert sentences.way_figures(way) == "1 unit to 223,335 cycles each; acceptance number 0"
    finish = WayToFinish(
        kind="FINISH_DECLARED_UNITS", unit_count=4, cycles_each=80_000, cycles_in_all=300_000
    )
    assert sentences.way_figures(finish) == (
        "4 units, up to 80,000 more cycles each; 300,000 cycles in all"
    )
    many = WayToFinish(kind="CHECK_AT_END", unit_serials=[f"S{number}" for number in range(15)])
    assert sentences.way_figures(many).endswith("S11 and 3 more")


def test_the_short_figure_of_a_lot_without_decided_units_claims_nothing() -> None:
    empty = structs.replace(
        examples.by_attributes().requirements[0],
        attribute_at_planned=examples.attribute_view([]),
    )
    assert sentences.short_figure(empty) == "nothing decided yet"
    shown = sentences.short_figure(examples.accepted().requirements[0])
    assert plain(shown) == "0.953 at 100,000 cycles (90 %)"
