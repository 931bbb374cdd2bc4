"""Generators of the benchmark's own piece sets, and small published instances."""
