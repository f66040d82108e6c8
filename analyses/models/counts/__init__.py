"""Shares and odds: exact, score, penalised and clustered."""
