"""Decides what is due, why, and what it takes; knows no database, no HTTP, no settings and no clock."""
