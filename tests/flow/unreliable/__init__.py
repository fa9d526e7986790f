"""Clients on a bad line to a server that is killed, and what must hold of the history that they lived through."""
