"""The service's own description, OpenAPI 3.1: what every operation has in common is said here, once."""
