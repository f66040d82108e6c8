"""Bags lost: which unit counts, how many, when, and what counting bags would claim."""
