"""Checks before a job: what was taken from the shelf, held against what the job needs."""
