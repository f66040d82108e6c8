"""Pure statistics on arrays and frames; nothing here knows what a trial is.

Doors: `mixed` and `contrasts` (linear mixed models), `proportions` and `logistic` (bags lost),
`survival` (times), `pooled` (several trials). The rooms behind them hold the parts.
"""
