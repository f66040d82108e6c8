"""Thousands of trials of one design, fitted at once."""
