"""Findings in plain words: numbers, names, grammar and what each verdict may say."""
