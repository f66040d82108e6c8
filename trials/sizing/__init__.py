"""How many bags: closed forms, three ways round, and what is known beforehand."""
