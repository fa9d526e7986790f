"""Statistics on arrays: one module per idea, arrays in, arrays out."""
