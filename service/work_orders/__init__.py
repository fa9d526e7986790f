"""Work orders, their tasks and the picks of each task."""
