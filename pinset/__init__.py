"""Plan, read and tell fair side-by-side grow trials."""
