"""From the grower's spreadsheet or CSV to checked rows, and the record book itself."""
