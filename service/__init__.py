"""The world around the mathematics: files, database, HTTP, pages and people."""
