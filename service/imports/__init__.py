"""Imports of plant folders and their outcomes."""
