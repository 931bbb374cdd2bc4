"""Ordinary parts of full size, drawn by a seed: each must be built and verify at the first try."""
