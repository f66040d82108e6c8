"""Several growers who run the same trial: who takes part, and whether it is the same trial."""
