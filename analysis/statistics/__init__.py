"""Step 3 of 5: takes the lives of the units of a lot, gives demonstrations, bounds and fits."""
