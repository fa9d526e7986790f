"""The wire: light models that an integrator can import without the service."""
