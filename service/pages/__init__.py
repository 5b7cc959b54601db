"""Step 5 of 5: takes evaluations and unit lives, gives pages for people."""
