"""The clock: when a planning pass is due, and the one place that reads the time."""
