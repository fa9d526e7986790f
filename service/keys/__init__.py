"""Bearer keys: made, listed and revoked; only their hashes are kept."""
