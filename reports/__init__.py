"""How it is told: words, figures, pages and printed sheets."""
