"""Step 4 of 5: takes the lives of a lot and its specification, gives a verdict with reasons."""

METHOD_VERSION = 2
"""Raised whenever the same lives under the same specification could give another verdict."""
