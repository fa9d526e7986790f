"""What is due: the passes that computed it and the items they left."""
