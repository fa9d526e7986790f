"""Pages for people: what this is, and the demo plant."""
