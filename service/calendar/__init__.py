"""Stops and work as a calendar that other programs subscribe to (RFC 5545)."""
