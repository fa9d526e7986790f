"""How clean the oil of a system is, what cleans it, and what the cause of dirt may be."""
