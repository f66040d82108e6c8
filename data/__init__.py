"""Demo trials (invented, and marked so) and small tables of published figures."""
