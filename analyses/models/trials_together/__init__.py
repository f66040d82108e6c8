"""Effects of several trials: how much they differ."""
