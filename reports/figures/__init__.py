"""One file a figure: what to show, then how it is drawn."""
