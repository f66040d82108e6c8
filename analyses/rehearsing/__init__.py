"""Made-up trials of a plan, analysed as the real one will be."""
