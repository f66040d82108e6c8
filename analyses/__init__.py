"""What the records say: models on arrays, and one file a question."""
