"""A unit's ending and its reasons in words."""

import inspect
import re
from datetime import UTC, datetime

import page_examples as examples
import pytest
from msgspec import UNSET, structs

from analysis.reduction import cycle_doubts, swaps
from schemas.holds import Alternative, HoldEvidence
from schemas.lives import FailureSeen, Outcome
from service.pages import life_sentences as lives
from service.pages.units import NO_BREAK


def plain(text: str) -> str:
    """The text with ordinary spaces."""
    return text.replace(NO_BREAK, " ")


@pytest.mark.parametrize(
    ("ending", "words"),
    [
        ("FAILED", "failed at 1,200"),
        ("RUN_OUT", "run out at 1,200"),
        ("SUSPENDED", "suspended at 1,200"),
        ("RUNNING", "running at 1,200"),
        ("VOID", "void"),
    ],
)
def test_an_ending_reads_with_its_count(ending: str, words: str) -> None:
    assert lives.ending_text(examples.unit_line("S1", ending, 1_200)) == words


def test_a_bracket_reads_with_both_its_ends() -> None:
    line = examples.unit_line(
        "S1", "FAILED_BETWEEN", 900, cycles=UNSET, cycles_low=300, cycles_high=900
    )
    assert lives.ending_text(line) == "failed between 300 and 900"


def test_the_reasons_of_a_decay_failure_name_limit_place_and_mode() -> None:
    spec = examples.spec_version().spec
    text = [plain(t) for t in lives.life_reasons(examples.unit_life(), spec=spec, unit="mpa")]
    assert text == [
        "Its first relevant failure is known to the cycle.",
        "Seen as: pressure decay over its limit of 0.60 MPa (87 psi), "
        "for 5 counted cycles one after another.",
        "Where: RIG-A, run A-0102, cycle 48,921 of the run.",
        "Failure mode: not analysed yet, taken for the gravest that shows in this way (relevant).",
        "Credited: 163,619 of 163,619 counted cycles.",
    ]


def test_credit_that_ends_at_the_last_check_says_so() -> None:
    life = structs.replace(
        examples.unit_life(), credited_cycles=150_000, verified_cycles=150_000, failure=UNSET
    )
    text = lives.life_reasons(life, spec=None, unit="mpa")[-1]
    assert text == (
        "Credited: 150,000 of 163,619 counted cycles: credit ends where the unit was last verified."
    )


def test_a_critical_failure_found_at_an_inspection_names_it() -> None:
    failure = FailureSeen(
        seen_as="LEAK", failure_mode="rod-seal external leak", critical=True, relevant=True,
        inspection_key="I-77",
    )  # fmt: skip
    life = structs.replace(examples.unit_life(), failure=failure, after_credit=True)
    text = " ".join(lives.life_reasons(life, spec=None, unit="mpa"))
    assert "inspection I-77" in text
    assert "rod-seal external leak (relevant, critical)" in text
    assert "not counted against the plan" in text


def test_a_headline_of_a_life_has_its_count_or_its_bracket() -> None:
    life = examples.unit_life()
    assert lives.life_text(life) == "Failed at 163,619 counted cycles"
    bracket = structs.replace(
        life, ending="FAILED_BETWEEN", cycles=UNSET, cycles_low=30_000, cycles_high=60_000
    )
    assert lives.life_text(bracket) == "Failed between 30,000 and 60,000 counted cycles"
    assert lives.life_text(structs.replace(life, ending="VOID", cycles=UNSET)) == "Void"


def test_an_outcome_reads_with_its_credit() -> None:
    outcome = Outcome(
        ending="FAILED_BETWEEN", credited_cycles=5, most_cycles=9, failed=True, has_ended=True,
        cycles_low=5, cycles_high=9,
    )  # fmt: skip
    assert lives.outcome_text(outcome) == "failed between 5 and 9, 5 cycles credited"
    assert lives.outcome_text(examples.unit_life().best).endswith("163,619 cycles credited")


def test_evidence_and_alternatives_of_an_open_item_read_plainly() -> None:
    evidence = HoldEvidence(
        rig_id="RIG-B", station_no=4, from_cycle_in_run=10, to_cycle_in_run=2_000, raw_code="E7"
    )
    assert lives.evidence_text(evidence) == "rig RIG-B, station 4, cycle 10 to 2,000, code E7"
    void = Alternative(ending="VOID", credited_cycles=0, failed=False)
    assert lives.alternative_text(void) == "void"


def test_evidence_gives_the_figure_the_limit_and_the_other_unit() -> None:
    share = HoldEvidence(quantity="under_pressure_share", measured=0.0812, limit=0.05)
    assert plain(lives.evidence_text(share)) == (
        "share of cycles short of pressure 8.12 % (limit 5 %)"
    )
    peak = HoldEvidence(rig_id="RIG-A", quantity="pressure_peak_mpa", measured=36.91)
    assert plain(lives.evidence_text(peak)) == "rig RIG-A, highest peak 36.91 MPa"
    other = HoldEvidence(
        other_lot_number="CC25-0117",
        other_unit_serial="004",
        from_at=datetime(2026, 11, 20, 6, 0, tzinfo=UTC),
        to_at=datetime(2026, 11, 20, 7, 0, tzinfo=UTC),
    )
    text = lives.evidence_text(other)
    assert text.startswith("at the same time as unit 004 of lot CC25-0117, ")
    assert "06:00" in text and "07:00" in text


def test_each_quantity_that_a_rule_measures_has_words() -> None:
    source = inspect.getsource(cycle_doubts) + inspect.getsource(swaps)
    measured = set(re.findall(r'"([a-z_]+(?:_share|_mpa|_s))"', source))
    assert measured and measured <= set(lives.QUANTITIES)
