"""Step 5 of 5: takes what the workflows answer, gives JSON over HTTP."""
