"""The key with which the command line asks a server."""

import os

from service.settings import Settings


def server_key(settings: Settings) -> str:
    """From the environment, else from the key file. Raises ValueError where there is neither."""
    from_environment = os.environ.get("ELEMENTDUE_KEY")
    if from_environment:
        return from_environment.strip()
    if settings.key_file is not None and settings.key_file.exists():
        return settings.key_file.read_text().strip()
    raise ValueError("a server needs a key: set ELEMENTDUE_KEY, or ELEMENTDUE_KEY_FILE to its file")
