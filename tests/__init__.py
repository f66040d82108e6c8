"""Tests; a package, so that no other distribution's folder of this name comes before it."""
