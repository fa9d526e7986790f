"""Systems, positions, element types and fluids by the plant's own codes, one at a time."""
