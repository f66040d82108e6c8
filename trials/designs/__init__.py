"""Layouts, one file a family; `draw` makes one by lot."""
