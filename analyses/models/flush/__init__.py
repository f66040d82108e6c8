"""Flush by flush: what stands, what comes, how much; and when to start anew."""
