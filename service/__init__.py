"""Keeps the plant's facts, asks the scheduler and answers over HTTP and on the command line."""
