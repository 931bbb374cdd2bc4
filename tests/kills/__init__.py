"""Runs that are killed while they work: nothing lost, nothing mixed."""
