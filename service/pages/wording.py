"""Every sentence that a page says for a code, in English: the one catalogue of this language.

An answer carries codes and figures; what they mean to a person stands here, so that
wording is reviewed in one place. Names in braces are figures that the page fills in.
"""

from __future__ import annotations

from service.pages.fit_wording import NOT_ESTIMABLE as NOT_ESTIMABLE
from service.pages.hold_wording import HOLDS as HOLDS

LANGUAGE = "en"

VERDICTS: dict[str, str] = {
    "ACCEPT": "Accept",
    "REJECT": "Not accepted",
    "CONTINUE": "Continue: the plan is not finished",
    "HOLD": "Hold",
}
"""Verdict to the words of its headline; a refusal says its kind instead."""

HOLDS_BY_REASON: dict[str, str] = {
    "OPEN_HOLDS": "Hold: an open question decides",
    "NO_SPEC": "Hold: no specification is assigned",
    "SPEC_AFTER_DATA": "Hold: the specification came after the first cycles",
}
"""Headline of a hold by its first reason."""

REFUSALS: dict[str, str] = {
    "NOT_DEMONSTRATED": "Not accepted: not demonstrated",
    "SHOWN_BELOW_REQUIREMENT": "Not accepted: shown below the requirement",
}

MEANINGS: dict[str, str] = {
    "ACCEPT": (
        "The plan of the specification is fulfilled: the requirement is shown with the "
        "confidence that it asks for."
    ),
    "CONTINUE": (
        "What has been seen so far neither fulfils the plan nor ends it. No conclusion about "
        "the lot can be drawn from an unfinished plan."
    ),
    "HOLD": (
        "At least one item needs a person's decision first, and the verdict depends on it. "
        "The open items and the verdict at both ends stand below."
    ),
    "NOT_DEMONSTRATED": (
        "This test did not show the requirement. That says nothing about the goods: what was "
        "seen agrees with a lot that meets the requirement as well as with one that does not."
    ),
    "SHOWN_BELOW_REQUIREMENT": (
        "This test showed that the lot is below the requirement: the upper limit of its "
        "reliability is lower than what is required, with the same one-sided confidence. "
        "This is a finding about the goods."
    ),
}
"""What a verdict, or a kind of refusal, tells a person who has to act."""

VIEW_RESULTS: dict[str, str] = {
    "ACCEPT": "shown",
    "CONTINUE": "not finished",
    "NOT_DEMONSTRATED": "not demonstrated",
    "SHOWN_BELOW_REQUIREMENT": "shown below the requirement",
}

REASONS: dict[str, tuple[str, ...]] = {
    "ALLOWED_FAILURES_EXCEEDED": (
        "Relevant failures: {failure_count}; acceptance number of the plan: {allowed_failures}.",
        "There are more relevant failures than the plan allows.",
    ),
    "TARGET_LIVES_SHORT": (
        "Every unit of the plan has ended with {target_lives} target lives in sum; "
        "{target_lives_required} are needed.",
        "Every unit of the plan has ended: {unit_count} decided, {failure_count} failed, "
        "acceptance number {allowed_failures}; too few passed.",
        "Every unit of the plan has ended short of what the plan needs.",
    ),
    "CRITICAL_FAILURE": (
        "Failed in a critical mode: {unit_serials}. One such failure bars acceptance.",
        "A unit failed in a critical mode; one such failure bars acceptance.",
    ),
    "UPPER_LIMIT_BELOW_REQUIREMENT": (
        "The upper limit of reliability is {reliability_upper}, below the required "
        "{reliability_required}.",
        "The upper limit of reliability is below the requirement.",
    ),
    "REFUSAL_LINE_REACHED": (
        "A line of the plan that refuses was met: {failure_count} relevant failures by "
        "{target_lives} target lives.",
        "A line of the plan that refuses was met: {failure_count} relevant failures among "
        "the first units.",
        "A line of the plan that refuses was met.",
    ),
    "PLAN_NOT_FINISHED": (
        "The plan is not finished: {target_lives} target lives so far, "
        "{target_lives_required} are needed.",
        "The plan is not finished: {unit_count} units decided so far, {failure_count} failed, "
        "acceptance number {allowed_failures}.",
        "The plan is not finished.",
    ),
    "END_CHECK_DUE": (
        "Reached their planned cycles and wait for the check at the end: {unit_serials}.",
        "Units reached their planned cycles and wait for the check at the end.",
    ),
    "NO_DATA": ("No cycles have been received for this lot.",),
    "NO_SPEC": ("No approved specification is assigned to this lot, so nothing can be decided.",),
    "OPEN_HOLDS": (
        "Open items need a decision first; the verdict depends on them. Units: {unit_serials}.",
        "Open items need a decision first; the verdict depends on them.",
    ),
    "SPEC_AFTER_DATA": (
        "The specification asks to be assigned before the first cycle, and it was not.",
    ),
}
"""Reason code to its sentences: said is the first one whose figures the reason carries."""

MARKS: dict[str, str] = {
    "PLANNED_NOT_COUNTED": "the rig says done, the counted cycles do not; may resume",
    "BEYOND_PLAN": "more units than the plan takes: earns nothing, a failure counts",
    "END_CHECK_DUE": "check at the end is due",
    "OVERDUE": "overdue: no rows for longer than the specification allows",
    "ROWS_MISSING": "rows are missing",
    "COUNTER_RESET": "the counter was reset during a run",
    "COUNTER_WRAP": "the counter wrapped round, no cycle is missing",
    "CYCLED_AFTER_FAILURE": "cycled on after its failure; those cycles add nothing",
    "NOT_STARTED": "not started",
    "NOT_IN_SAMPLE": "not on the list of the sample",
    "FROM_LIVES_TABLE": "taken from a table of lives, not from rows",
    "FAILED_BY_ONSET": "its failure is the onset of a leak, by the trend of its pressure decay",
    "NARROWED_BY_ONSET": "its bracket begins where the trend of its pressure decay began to grow",
    "RESTART_WEEP": "moisture seen just after a start, below the failing class: no failure",
    "FAILED_BEFORE_START": "found failed before its first cycle",
    "ODOMETER_DISAGREES": "the station's odometer counted otherwise than the rows",
    "STATION_DRIFT": "was on a station whose readings moved away from its neighbours'",
}

LOT_MARKS: dict[str, str] = {
    "SPEC_AFTER_DATA": "The specification was assigned after the first cycle had run.",
    "UNREGISTERED": "Nobody registered this lot; its sample is every serial that was seen.",
    "STATION_DRIFT": "A station's readings moved away from its neighbours'; see below.",
}

ENDINGS: dict[str, str] = {
    "FAILED": "failed",
    "FAILED_BETWEEN": "failed between",
    "RUN_OUT": "run out",
    "SUSPENDED": "suspended",
    "RUNNING": "running",
    "VOID": "void",
}

ENDINGS_EXPLAINED: dict[str, str] = {
    "FAILED": "Its first relevant failure is known to the cycle.",
    "FAILED_BETWEEN": "Found failed at a check; it failed at some cycle after the last clean one.",
    "RUN_OUT": "Reached its planned cycles without a relevant failure.",
    "SUSPENDED": "Stopped without a failure before its planned cycles; it may resume.",
    "RUNNING": "Has neither failed nor reached its planned cycles.",
    "VOID": "Credits no cycles; it keeps its place in the sample.",
}

NOT_COUNTED: dict[str, str] = {
    "NO_READING": "no reading",
    "MODE": "station not in test mode",
    "CALIBRATION_FOUND_OUT": "sensor found out of calibration",
    "OVER_PRESSURE": "above the pressure band",
    "UNDER_PRESSURE": "short of the pressure band",
    "TROUGH_HIGH": "low pressure too high",
    "RISE_SLOW": "rise outside its limits",
    "DWELL_SHORT": "dwell too short",
    "TEMPERATURE": "temperature outside its band",
    "CONDITION_NOT_RECORDED": "a condition was not recorded",
    "OTHER": "other",
    "EDGE_DOUBT": "within the sensor's uncertainty of an edge of the band",
}

STOPS: dict[str, str] = {
    "TARGET_REACHED": "target reached",
    "RIG_STOP": "rig stop",
    "LOW_FLUID": "low fluid",
    "OPERATOR_STOP": "operator stop",
    "UNIT_SUSPECT": "unit suspect",
    "UNKNOWN": "reason not known",
    "RUNNING": "still going",
    "COUNTER_RESET": "counter reset, went on",
    "COUNTER_WRAP": "counter wrapped round, went on",
}

SEEN_AS: dict[str, str] = {
    "DECAY": "pressure decay over its limit",
    "BURST": "burst",
    "CANNOT_BUILD": "pressure not reached any more",
    "LEAK": "leak at an inspection",
    "FUNCTION": "function check failed",
    "NOT_RECORDED": "how it showed was not recorded",
}

FAILURE_MODES: dict[str, str] = {
    "UNANALYSED": "not analysed yet, taken for the gravest that shows in this way"
}
"""The one mode that no specification names; all others are quoted as the author wrote them."""

PLANS: dict[str, str] = {
    "ATTRIBUTE": "by attributes: units pass or fail at a fixed count",
    "WEIBAYES": "by variables: target lives are added up with an assumed Weibull shape",
    "TWO_STAGE": "two stages: after too many failures a second one, paid for beforehand",
    "SEQUENTIAL": "sequential: lines that accept and refuse as results come in, with a certain end",
    "ANYTIME": "any-time: valid at every look, however often",
}

CREDITS: dict[str, str] = {
    "TO_PLANNED": "a unit is credited its cycles up to the planned ones; one population is assumed",
    "ONCE_AT_TARGET": "a unit is credited once, at the target, and nothing beyond",
}

WAYS: dict[str, str] = {
    "FINISH_DECLARED_UNITS": "Finish the declared units",
    "RUN_ON": "Run units on",
    "ADD_UNITS": "Add units within the plan",
    "CHECK_AT_END": "Make the check at the end",
    "DECIDE_HOLDS": "Decide the open items",
    "NEW_ATTRIBUTE_TEST": "New test by attributes",
    "NEW_WEIBAYES_TEST": "New test by variables",
}

LOT_STATES: dict[str, str] = {"REGISTERED": "registered", "UNREGISTERED": "not registered"}

SPEC_STATES: dict[str, str] = {
    "DRAFT": "draft",
    "APPROVED": "approved",
    "SUPERSEDED": "superseded by a later version",
}

ACTORS: dict[str, str] = {"SYSTEM": "system", "PERSON": "person"}

CRITICAL = (
    "A unit failed in a mode that the specification calls critical, or that must be taken for one "
    "until the failure is analysed. That alone bars acceptance, whatever the limits are. It is a "
    "hazard as well: follow it up at once."
)

PROGRESS_ONLY = "The plan is not finished: this is progress, and nothing is demonstrated yet."

OPEN_ITEMS = "The figures below take the open items as they stand; deciding them can change both."

CREDIT_ONCE = (
    "A unit is credited one target life when it completes the target and nothing beyond; this "
    "holds for any life distribution."
)

ONE_POPULATION = (
    "One population is assumed: crediting a survivor with more than one target life presumes that "
    "the lot holds no weak minority. A few units that fail early can hide behind strong ones; the "
    "view by attributes, which presumes nothing of the kind, stands beside it."
)

REQUIREMENT_RISK = (
    "1 − C = {risk} is the largest share of lots exactly at the requirement that this plan would "
    "accept. It is not the share of accepted lots that are bad; that share depends on what lots "
    "are made, and no test of one lot can give it."
)

JOINT_RISK = (
    "This specification has {count} requirements, and a lot passes when all of them pass. Each "
    "holds its own risk; a lot at several limits at once is accepted no more often than the "
    "strictest of them allows."
)

AFTER_CREDIT = "It failed after its last credited cycle: shown, not counted against the plan."

APPLIES = "The verdict applies to this lot and these conditions only."

SAFETY: tuple[tuple[str, str], ...] = (
    (
        "High-pressure fluid",
        "A pinhole jet can pierce skin at about 0.7 MPa (7 bar, 100 psi). The wound may look "
        "harmless and may not hurt. Treat it as a surgical emergency, tell the hospital which "
        "fluid it was, and do not wait.",
    ),
    (
        "Looking for leaks",
        "Never search for a leak by hand. Judge leakage from outside the guard (window, mirror, "
        "camera, paper), or depressurise first.",
    ),
    (
        "Trapped pressure",
        "An isolated dwell traps full pressure behind a closed valve at an emergency stop or a "
        "power loss. The supply gauge at zero proves nothing: verify zero at each unit. Discharge "
        "accumulators, check for trapped pressure, and lock out before touching a unit.",
    ),
    (
        "Trapped air",
        "Bleed air: trapped gas makes a burst far more violent, and a mix of air and oil can "
        "ignite under compression.",
    ),
    (
        "After a low-fluid stop",
        "Inspect every unit on that supply from a protected place before topping up and resuming.",
    ),
    (
        "Taking units down",
        "Expect a preloaded spring, hot oil, and pinch points at the function check. Do not work "
        "alone at night on an alarm.",
    ),
    (
        "Sensors that read low",
        "A sensor that reads low is the dangerous direction: the true pressure is higher than the "
        "one shown. Follow up a calibration that was found low at once.",
    ),
    (
        "Running longer",
        "Running survivors longer goes deeper into fatigue above rated pressure: inspect first, "
        "and stop at the declared maximum.",
    ),
    (
        "Tested units",
        "Tested units are used up, survivors of an accepted lot too. Mark them, keep or destroy "
        "them, never ship or refit them.",
    ),
    (
        "What a verdict is not",
        "A verdict here is a statistical statement. It is not a permission to pressurise or to "
        "ship, and no disposition of goods. Never wire it to a start, an interlock or a shipment. "
        "Rating, guarding and release follow local pressure-equipment law and a qualified or "
        "licensed person. This service never commands a rig.",
    ),
)
"""Heading and text of each paragraph of the safety text, complete and in this order."""


def say(catalogue: dict[str, str], code: str) -> str:
    """
    Words of a code; one that is not catalogued is shown as it is, in words, never dropped.

    Examples
    --------
    >>> say(ENDINGS, "RUN_OUT")
    'run out'
    >>> say(ENDINGS, "NOT_YET_KNOWN")
    'not yet known'
    """
    return catalogue.get(code) or code.replace("_", " ").lower()
