"""
The table of proven risks, anew: exact chances, 20,000 simulated lots per cell, stress rows.

Run from the top folder: ``python tests/benchmarks/proven_risks.py [lots per cell] [--write]``;
some ten minutes on one core. ``--write`` puts the table into the page's data and README.
First the rules apart and the product are asked about the same looks at the same lots.
"""

import sys
import time
from pathlib import Path

import msgspec
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support")]

from risk_agreement import compare  # noqa: E402
from risk_plans import PLANNED, ProvenPlan, proven_plans  # noqa: E402
from risk_readme import with_table  # noqa: E402
from risk_rules import TARGET  # noqa: E402
from risk_simulation import (  # noqa: E402
    NEVER,
    Lots,
    Truth,
    accepted_by_counting,
    accepted_by_lives,
    made_lots,
    standard_error,
    weak_share,
    weibull_lives,
)

from analysis.decision.plan_risks import plan_risks  # noqa: E402
from service.pages.proven_risks import ProvenRisk, ProvenRisks  # noqa: E402

LOTS, SEED, COMPARED_LOTS = 20_000, 2_025, 50
DATA = ROOT / "service" / "pages" / "proven_risks.json"
README = ROOT / "README.md"
_SAME = weibull_lives(2.0)
TRUTHS = {
    "AS_ASSUMED": Truth(lives=_SAME),
    "SHAPE_LOWER": Truth(lives=weibull_lives(1.8)),
    "SHAPE_HIGHER": Truth(lives=weibull_lives(2.2)),
    "WEAK_UNITS": Truth(lives=weak_share(0.05)),
    "LATE_24": Truth(lives=_SAME, late_hours=24),
    "LATE_24_RULE": Truth(lives=_SAME, late_hours=24, overdue_hours=1),
    "LATE_100": Truth(lives=_SAME, late_hours=100),
    "LATE_100_RULE": Truth(lives=_SAME, late_hours=100, overdue_hours=1),
    "LATE_300": Truth(lives=_SAME, late_hours=300),
    "LATE_300_RULE": Truth(lives=_SAME, late_hours=300, overdue_hours=1),
    "DOUBTFUL": Truth(lives=_SAME, late_hours=NEVER, late_share=0.25),
    "DOUBTFUL_RULE": Truth(lives=_SAME, late_hours=NEVER, late_share=0.25, overdue_hours=0),
}


def main(lot_count: int, *, write: bool) -> None:
    plans, began = proven_plans(), time.perf_counter()
    _compare(plans)
    accepted: dict[str, dict[str, int]] = {plan.name: {} for plan in plans}
    for number, (name, truth) in enumerate(TRUTHS.items()):
        found = _accepted(plans, truth, np.random.default_rng([SEED, number]), lot_count)
        for plan_name, count in found.items():
            accepted[plan_name][name] = count
        print(f"{name} after {time.perf_counter() - began:.0f} s", flush=True)
    risks = ProvenRisks(
        lots=lot_count,
        seed=SEED,
        plans=[
            ProvenRisk(
                name=plan.name,
                plan=plan.plan,
                exact=None if plan.terms is None else plan_risks(plan.terms).at_requirement,
                accepted=accepted[plan.name],
            )
            for plan in plans
        ],
    )
    _report(risks)
    if write:
        DATA.write_bytes(msgspec.json.format(msgspec.json.encode(risks), indent=1) + b"\n")
        README.write_text(with_table(README.read_text("utf-8"), risks), "utf-8")


def _compare(plans: list[ProvenPlan]) -> None:
    rng = np.random.default_rng(SEED)
    truth = Truth(lives=weibull_lives(2.6), late_hours=20, late_share=0.5, overdue_hours=2)
    for plan in plans:
        if plan.terms is None:
            continue
        planned = plan.terms.last_credited_cycles
        lots = made_lots(truth, rng, (COMPARED_LOTS, plan.places), planned=planned)
        looks = [
            (row, int(rng.integers(1, int(lots.end[row].max()) + 3)))
            for row in range(COMPARED_LOTS)
            for _ in range(4)
        ]
        found = compare(plan, lots, looks)
        print(
            f"{plan.name:24} {found.looks} looks: {found.accepted} accepted, {found.refused} "
            f"refused, {len(found.differing)} differ",
            flush=True,
        )
        for each in found.differing:
            print(f"  {each}")


def _accepted(
    plans: list[ProvenPlan], truth: Truth, rng: np.random.Generator, lot_count: int
) -> dict[str, int]:
    """Lots of one truth that each plan accepts; plans on one clock see the same lots."""
    counted = [plan for plan in plans if plan.clock == "UNITS"]
    lots = made_lots(truth, rng, (lot_count, max(p.places for p in counted)), planned=TARGET)
    found = accepted_by_counting(lots, {p.name: (p.places, p.rule) for p in counted})
    added = [plan for plan in plans if plan.clock == "LIVES"]
    lots = made_lots(truth, rng, (lot_count, max(p.places for p in added)), planned=PLANNED)
    groups = {(plan.places, _has_lines(plan)) for plan in added}
    for places, has_lines in sorted(groups):
        chosen = [p for p in added if (p.places, _has_lines(p)) == (places, has_lines)]
        found |= _group(lots.places(places), chosen, has_lines=has_lines)
    return found


def _group(lots: Lots, plans: list[ProvenPlan], *, has_lines: bool) -> dict[str, int]:
    rules = {plan.name: plan.rule for plan in plans}
    return accepted_by_lives(lots, rules, has_lines=has_lines)


def _has_lines(plan: ProvenPlan) -> bool:
    return plan.plan is not None and plan.plan["kind"] == "SEQUENTIAL"


def _report(risks: ProvenRisks) -> None:
    for risk in risks.plans:
        count = risk.accepted["AS_ASSUMED"]
        error = 100 * standard_error(count, risks.lots)
        exact = "      -" if risk.exact is None else f"{100 * risk.exact:7.3f}"
        share = 100 * count / risks.lots
        print(f"\n{risk.name:24} exact {exact} %, simulated {share:.2f} ({error:.2f})")
        shares = {name: 100 * each / risks.lots for name, each in risk.accepted.items()}
        print("  " + ", ".join(f"{name} {share:.1f}" for name, share in shares.items()))


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if word != "--write"]
    main(int(words[0]) if words else LOTS, write="--write" in sys.argv)
