"""One file a command: its words, and what it does with a trial folder."""
