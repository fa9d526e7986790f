"""The plant's past replayed: what would have been said then, held against what came."""
