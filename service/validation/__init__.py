"""An installed copy checks itself: published cases, demo lots, evidence, backup, its own files."""
