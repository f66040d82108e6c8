"""Pure statistics on arrays and frames; nothing here knows what a trial is."""
