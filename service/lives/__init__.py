"""The lives of elements in numbers: survival curves, short lives, and what early changes threw away."""
