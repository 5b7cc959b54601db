"""The catalogue's second part: what pages say about fits, curves and comparisons, in English."""

from __future__ import annotations

NOT_ESTIMABLE: dict[str, str] = {
    "NO_FAILURES": "not estimated, as no unit failed",
    "BRACKETED_LIVES": "not estimated, as a life is known only between two counts",
    "FAILURES_ONLY_AT_LONGEST_LIFE": "not estimated, as no failure lies below the longest life",
    "FAILURE_AT_ZERO_CYCLES": "not estimated, as a unit had failed before its first cycle",
    "ONE_COUNT_FITS_ALL": "not estimated, as one count lies within all failures' brackets",
    "SPREAD_WITHOUT_END": "not estimated, as later looks did not find more failures",
    "NONE_SEEN_WHOLE": "not estimated, as no unit was seen unbroken after its start",
    "NO_INTERIOR_MAXIMUM": "not estimated, as no threshold above 0 cycles fits better than none",
    "SCALE_NOT_REPRESENTABLE": "not estimated, as the scale is too large for a number",
    "NO_FINITE_LIMIT": "no finite limit",
    "SHAPE_NOT_FITTED": "given by the distribution",
    "FEWER_THAN_TWO_FAILURE_LIVES": "not estimated, as one failure gives no line",
    "FEWER_THAN_TWO_GROUPS": "not compared, as fewer than two groups can be fitted",
    "TOO_FEW_FAILURES": "not looked at, as there are too few failures",
    "MODE_NOT_ESTIMABLE": "not estimated, as no failure mode can be fitted",
    "SHAPES_DIFFER": "not compared, as the shapes differ",
    "ALL_FAILED_AT_ONCE": "not compared, as all units failed at one count",
    "TOO_MANY_LIVES": "not computed, as there are too many lives",
    "TOOK_TOO_LONG": "not waited for, as it took too long",
    "DID_NOT_CONVERGE": "not estimated, as the search did not settle",
}

DISTRIBUTIONS: dict[str, str] = {
    "WEIBULL": "Weibull",
    "LOGNORMAL": "lognormal",
    "EXPONENTIAL": "exponential (Weibull of shape 1)",
    "NORMAL": "normal",
    "GAMMA": "gamma",
    "LOGLOGISTIC": "loglogistic",
}

METHODS: dict[str, str] = {
    "LIKELIHOOD_RATIO": "likelihood ratio",
    "FISHER_LOG": "normal approximation on the log scale",
}

FIT_WARNINGS: dict[str, str] = {
    "FEW_FAILURES": (
        "Few failures: every figure below is rough, and limits from the normal approximation "
        "claim too much."
    ),
    "MIXTURE_SUSPECTED": (
        "The lives look like a weak part among sound units. Look at the suspects, at what broke "
        "and at their component batches before you use any figure of a single distribution."
    ),
    "OPEN_HOLDS": "Items are open; their units are taken as they stand, and deciding them can "
    "change every figure.",
    "SECOND_OPINION_DIFFERS": (
        "The library's fit and ours are not the same; the table of the second opinion shows which "
        "has the higher log-likelihood."
    ),
}

ADVICE = (
    "Take the limits by {method}: with {failures} they hold less often than they say, but more "
    "often than the others. In simulated lots of about this many failures, limits meant to hold "
    "in {nominal} of lots held in {ratio} by likelihood ratio and in {fisher} by the normal "
    "approximation."
)

ESTIMATE_ONLY = (
    "An estimate beside the verdict: nothing on this page decides about the lot. A unit that did "
    "not fail counts as unbroken at its credited cycles."
)

CHOOSE = (
    "No specification gives a confidence and a target for this lot: choose both to see the fits."
)

FROM_SPEC = "Confidence and count are those of the specification until you choose others."

MIXTURE_NOT_FLAGGED = (
    "No weak part among sound units shows in these lives. That is no evidence of one population: "
    "a small weak part is often missed."
)

MIXTURE_FLAGGED = (
    "Two Weibulls of one shape describe the lives much better than one: {share} of the units "
    "around {weak} cycles, the rest around {main}. A single population raises this flag in "
    "{false_alarm} of lots."
)

COMPARED_BY: dict[str, str] = {
    "STATION": "Stations",
    "RIG": "Rigs",
    "COMPONENT_BATCH": "Component batches",
    "LOT": "Lots",
}

NOTES_ON_DIFFERENCE: dict[str, str] = {
    "LOW_POWER": "With so few failures the p-value is only a guide.",
    "GROUPS_LEFT_OUT": "Groups without a fit of their own are left out.",
}
NOTES_ON_NO_DIFFERENCE: dict[str, str] = {
    "LOW_POWER": "With so few failures that shows little.",
    "GROUPS_LEFT_OUT": "Groups without a fit of their own are left out.",
}

DIFFERENCE_SEEN = "{what}: they differ ({which}, p {p_value}). Do not read the lot as one."
NO_DIFFERENCE_SEEN = "{what}: no difference seen ({which}, p {p_value})."
NOT_COMPARED = "{what}: {reason}."

OPINIONS: dict[str, str] = {
    "AGREES": "agrees",
    "OURS_HIGHER": "stopped short: our log-likelihood is higher",
    "DISAGREES": "disagrees: its log-likelihood is higher than ours; please report this",
    "NOT_FITTED": "no fit",
    "NOT_COMPARED": "not one of ours",
}

NOT_FITTED: dict[str, str] = {
    "BRACKETED_LIVES": "a life is known only between two counts",
    "TOO_MANY_UNITS": "too many units to be handed over",
    "TOO_FEW_DISTINCT_FAILURES": "it asks for more failures at different counts",
    "REFUSED_BY_LIBRARY": "it refused these lives",
    "NO_FINITE_NUMBER": "it gave no number",
}

PLOT_DESCRIPTION = (
    "Cycles run to the right on a logarithmic scale, the fraction failed upwards on a scale on "
    "which a Weibull is a straight line. Crosses are failures at their plotting positions; the "
    "line is the fit, the shaded band its limits by likelihood ratio, each one-sided at "
    "{confidence}. The tables hold the same numbers."
)
