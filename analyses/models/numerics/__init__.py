"""Small numerical tools that carry many problems at once."""
