"""Physics on floats and arrays: one module per physical idea."""
