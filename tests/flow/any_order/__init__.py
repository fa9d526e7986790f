"""Anything that is done to a plant, in any order that a random walk finds, and what holds after each step."""
