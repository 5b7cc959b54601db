"""What pages say about the edges of the pressure band and about stations, in English."""

from __future__ import annotations

EDGE_RULES: dict[str, str] = {
    "PLAIN": "plain: the reading decides",
    "GUARDED": "guarded: the band is narrowed at both ends by the sensor's expanded uncertainty",
}

UNCERTAINTY_UNKNOWN = (
    "No calibration record states the uncertainty of every sensor that read these cycles, so it "
    "cannot be said whether the verdict depends on the edges of the band."
)

DEPENDS: dict[bool, str] = {
    True: (
        "The verdict depends on the rule at the edges of the band. The rule of the approved "
        "specification decides; the other verdict is shown so that nobody overlooks it."
    ),
    False: "The verdict is the same under both rules.",
}

DRIFT = (
    "What these stations read changed against their neighbours on the same supply since their own "
    "beginning, by more than the specification lets pass. Have the sensors checked. It is a "
    "finding and decides nothing. A sensor that reads low is the dangerous direction: the true "
    "pressure is higher than the one shown."
)

DRIFT_BLIND = (
    "Not every drift shows here: a station whose loop regulates on the drifting sensor itself "
    "reads on target. This watch does not replace a calibration."
)

DRIFTING: dict[str, str] = {
    "pressure_peak_mpa": "peak pressure",
    "pressure_low_mpa": "low pressure",
}
