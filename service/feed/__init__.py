"""What changed, in order: told with the change itself, and read by whoever follows the plant."""
