"""Times to an event, known to the day or between two looks."""
