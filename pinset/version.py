"""The version, in a file of its own so that it can be read without importing anything."""

__version__ = "0.1.0"
