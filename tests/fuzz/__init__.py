"""Specs spoiled or made up by a seeded dice: findings or a build that verifies, never else."""
