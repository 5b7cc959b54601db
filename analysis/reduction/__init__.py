"""Step 2 of 5: takes the rows of a unit's stretches and what people recorded, gives its life.

Stage one is the SQL text beside this file: set work over millions of rows. Stage two is the
Python of this package: order, resumes, stops, failures, inspections and open questions.
"""

REDUCTION_VERSION = 3
"""Raised whenever the same rows could give another life."""
