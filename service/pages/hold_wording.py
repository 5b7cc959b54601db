"""What pages say about open items, in English: a part of the catalogue."""

from __future__ import annotations

HOLDS: dict[str, tuple[str, str]] = {
    "CONFLICTING_ROWS": (
        "Conflicting rows",
        "The same cycle arrived twice with different values. Which one stands?",
    ),
    "ORDER_AMBIGUOUS": ("Order not clear", "In which order were these runs made?"),
    "IDENTITY_CONFLICT": (
        "Identity conflict",
        "Two serials on one station, or one serial on two, at one time. Whose rows are these?",
    ),
    "UNEXPLAINED_STOP": ("Unexplained stop", "The run ended without a known reason. Why?"),
    "UNIT_SUSPECT_UNCONFIRMED": (
        "Unit suspected, not confirmed",
        "The rig stopped for the unit, its rows show nothing. Did it fail?",
    ),
    "LOW_FLUID_UNINSPECTED": (
        "Low fluid, not inspected",
        "The supply ran low on fluid, which a leak can cause. Is this unit clean?",
    ),
    "CANNOT_BUILD_UNCLEAR": (
        "Pressure not reached",
        "The station no longer reached pressure and no neighbour ran. Was it unit or rig?",
    ),
    "UNDER_PRESSURE_SHARE": (
        "Too many cycles short of pressure",
        "More cycles were short of pressure than the specification allows. Does the life stand?",
    ),
    "OVER_PRESSURE": (
        "Over-pressure",
        "Pressure passed the limit at which the specification doubts a unit. Does the life stand?",
    ),
    "PEAK_CLIPPED": (
        "Peak at full scale",
        "The sensor read its full scale; the true pressure is unknown. Do these cycles count?",
    ),
    "CONDITION_NOT_RECORDED": (
        "Condition not recorded",
        "The specification sets a condition that the rows do not record. Was it met?",
    ),
    "REMOVED_ON_SUSPICION": (
        "Removed on suspicion",
        "The unit was taken off because something looked wrong. Had it failed?",
    ),
    "POSSIBLE_SWAP": (
        "Possible exchange of the unit",
        "Its readings stepped between two runs. Is it still the same unit?",
    ),
    "NOT_IN_SAMPLE": (
        "Not on the list of the sample",
        "Rows came for a serial that is not listed. Does it belong to the sample?",
    ),
    "LIFE_SOURCE_CONFLICT": (
        "Two sources for one life",
        "Both rows and a table of lives speak of this unit. Which one stands?",
    ),
    "INSPECTION_OVERDUE": (
        "Inspection overdue",
        "The unit ran past its inspection interval. What does the inspection find?",
    ),
    "UNIT_OVERDUE": (
        "Unit overdue",
        "No rows for longer than the specification allows. What became of the unit?",
    ),
    "ONSET_NOT_JUDGED": (
        "Leak onset not judged",
        "A leak's onset is a failure here, and the trend could not tell. Had a leak begun?",
    ),
    "CALIBRATION_FOUND_OUT": (
        "Sensor found out of calibration",
        "True pressures change the count. Is the record wrong, or the unit void?",
    ),
    "UNCERTAINTY_NOT_RECORDED": (
        "Sensor's uncertainty not recorded",
        "The band is to be guarded, and nobody recorded by how much. Do these cycles count?",
    ),
}
"""Hold name to (its title, the question that a person has to answer)."""
