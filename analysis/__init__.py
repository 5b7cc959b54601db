"""The mathematics: pure functions from summaries and lives to estimates and a verdict."""
