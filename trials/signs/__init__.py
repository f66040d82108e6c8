"""What a plan cannot answer, said while it can still be mended."""
