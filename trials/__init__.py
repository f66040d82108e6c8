"""What a trial is: its description, layouts, sheets and records."""
