"""What other layouts of the same trial would have shown: re-randomisation."""
