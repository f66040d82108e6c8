"""Stages seen at looks: between which two days each happened."""
