"""Close-outs: the record that ends a task, and everything that follows from it."""
