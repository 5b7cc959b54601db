"""What the page of a unit says about the trend of its pressure decay, in English."""

from __future__ import annotations

ABOUT = (
    "A block holds {block_cycles} counted cycles and ends with its stretch; its figures are the "
    "medians of those cycles. Where several blocks share a point, the lowest, the median and the "
    "highest of them are told."
)

LEFT_OUT = (
    "Blocks that begin within {mask} commanded cycles of a start, or that are cut short, are not "
    "read for leak onset: pressure and temperature have not settled. They are drawn as open "
    "diamonds and stand in a column of their own."
)

CUT_SHORT = "Blocks that are cut short by the end of their stretch are drawn as open diamonds."

NOT_ASKED = "The specification asks for no search for leak onset."

NO_SPECIFICATION = "Without a specification nothing is said about leak onset."

FINDINGS: dict[str, str] = {
    "ONSET": (
        "Decay began to grow between {low} and {high} counted cycles, then by {slope} per 1,000 "
        "cycles. It had been {baseline}; more than {dead_band} over that counts as growth."
    ),
    "NO_ONSET": (
        "No leak onset up to {judged_to} counted cycles: decay stayed within {dead_band} of its "
        "baseline of {baseline}, or came back to it."
    ),
    "TOO_FEW_BLOCKS": (
        "No baseline: too few blocks could be read. Nothing is known of leak onset, not even that "
        "there was none."
    ),
    "NOT_STEADY": (
        "No baseline: decay was already changing while it was taken. Nothing is known of when a "
        "leak began, not even that there was none."
    ),
}
"""Sentence of a finding by its state, or by why there is no baseline."""

CARRIED = (
    "The unit had just been moved: the baseline of the station before was used, and {dead_band} "
    "counts as growth."
)

WIDENED = (
    "Rows are missing inside the bracket; each may have been a counted cycle, so its upper end "
    "lies that much later."
)

LIMIT_ABOVE = "The limit of {limit} lies above this drawing."

MARKS: tuple[tuple[str, str], ...] = (
    ("read", "median of the blocks that are read, with the range from the lowest to the highest"),
    ("left_out", "blocks that are left out"),
    ("bracket", "bracket of leak onset"),
)
