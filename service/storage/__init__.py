"""Facts and memos on disk: the only package that opens the database."""
