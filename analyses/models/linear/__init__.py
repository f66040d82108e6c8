"""Linear mixed models from a table to their inference: design, REML, degrees of freedom."""
