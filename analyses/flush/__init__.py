"""Flush by flush: shares kept, flushes that did not come, what is to come."""
