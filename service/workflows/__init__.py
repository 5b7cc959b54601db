"""What the service does, one verb per file: the only place that joins storage and analysis."""
