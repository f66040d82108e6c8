"""Trials of several growers read as one."""
