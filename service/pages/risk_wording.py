"""Wording of the table of proven risks."""

PLANS: dict[str, str] = {
    "ATTRIBUTE_45_0": "ATTRIBUTE, 45 units to the target, 0 failures",
    "ATTRIBUTE_77_1": "ATTRIBUTE, 77 units to the target, 1 failure",
    "TWO_STAGE_50_43": "TWO_STAGE by counting, 50 units with 0, then 43 more with 1 in all",
    "SEQUENTIAL_UNITS": "SEQUENTIAL by counting, up to 120 units, 2 failures",
    "WEIBAYES_12_0": "WEIBAYES, 12 units to two target lives, 0 failures",
    "WEIBAYES_20_1": "WEIBAYES, 20 units to two target lives, 1 failure",
    "TWO_STAGE_LIVES": "TWO_STAGE on target lives, 48 with 0, then 99.78 with 1",
    "SEQUENTIAL_LIVES": "SEQUENTIAL on target lives, up to 160, 4 failures",
    "ANYTIME_CLEAN_LIVES": "ANYTIME on target lives, CLEAN, up to 3 failures",
    "ANYTIME_EVEN_LIVES": "ANYTIME on target lives, EVEN, up to 3 failures",
    "ANYTIME_PATIENT_LIVES": "ANYTIME on target lives, PATIENT, up to 3 failures",
    "ANYTIME_CLEAN_UNITS": "ANYTIME by counting, CLEAN, up to 2 failures",
    "ANYTIME_EVEN_UNITS": "ANYTIME by counting, EVEN, up to 2 failures",
    "ANYTIME_PATIENT_UNITS": "ANYTIME by counting, PATIENT, up to 2 failures",
    "ANYTIME_EVEN_ONCE": "ANYTIME, EVEN, credited once at the target",
    "NAIVE_LIVES": "no plan: the fixed limit on target lives watched at every look",
    "NAIVE_UNITS": "no plan: the fixed counts watched at every look",
}
"""Each plan of the table in words."""

STRESSES: dict[str, tuple[str, str | None]] = {
    "SHAPE_LOWER": ("true shape 1.8", None),
    "SHAPE_HIGHER": ("true shape 2.2", None),
    "WEAK_UNITS": ("5 % weak units", None),
    "LATE_24": ("bad news 24 h late", "LATE_24_RULE"),
    "LATE_100": ("100 h late", "LATE_100_RULE"),
    "LATE_300": ("300 h late", "LATE_300_RULE"),
    "DOUBTFUL": ("doubtful units not inspected", "DOUBTFUL_RULE"),
}
"""Columns of stress: heading, and the same with silent units counted as failures."""

CAPTION = "Share of lots exactly at the requirement that are accepted, in percent"
SET_UP = (
    "Every lot here is bad by a hair: reliability exactly 0.95 at the target, confidence 0.90, "
    "shape 2. At most 10 % of such lots may be accepted. The exact figure is a sum or a "
    "recursion; beside it stands a simulation of unit lives on six stations, one unit after "
    "another, asked again after every hourly upload until the verdict, with its standard error."
)
NOTES: tuple[str, ...] = (
    "Asked every hour, a little fewer lots pass than the exact figure says: a failure may come "
    "between the sum and the look, and by counting failures finish before passes.",
    "The last two rows are no plans. They watch a fixed limit and go on after failures, here up "
    "to 60 or 200 units: lots at the requirement then pass more than twice as often as the limit "
    "promises, and in a longer test more often still.",
    "A true shape below the assumed one, in tests past the target, breaks the promise of every "
    "plan on target lives. State a range of shapes: its worst shape decides. Plans by counting "
    "at the target do not ask for a shape.",
    "With 5 % weak units that die early and the rest sound, plans that credit units beyond the "
    "target accept most lots, because each survivor is taken for the same population. Only "
    "counting, or credit once at the target, holds.",
    "Where two figures stand in a cell, files of failed units come later than those of "
    "survivors: first nobody asks for them, then a unit that is silent for more than an hour "
    "counts as failed at its last verified count. A specification that allows longer silence "
    "is protected only after that time.",
    "In the last column a quarter of the failures can be found only by an inspection that "
    "nobody makes: first such a unit counts as suspended, then as failed.",
    "Rows of one kind see the same simulated lots, so they move together. Stress rows depend on "
    "pace and length of the test (1,440 cycles an hour, target 100,000): with shorter tests the "
    "same delay does more harm.",
)
"""What the table shows, and what it does not hide."""
