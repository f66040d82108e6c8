"""Families of comparisons: their weights, several at once, ratios of means."""
