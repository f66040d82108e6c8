"""What follows from how the layout was drawn: re-randomised tests, factors, split units."""
