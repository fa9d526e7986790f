"""Decisions about a plant at a moment; each stage imports only earlier stages and defines its record."""
