"""Step 1 of 5: takes the bytes of an upload, gives a file on disk whose columns are in order."""
