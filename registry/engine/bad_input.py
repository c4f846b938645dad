"""What is said of input that the engine cannot work on."""

from __future__ import annotations


class BadInput(ValueError):
    """Input the engine cannot work on; ``path`` is the JSON path of what is wrong."""

    def __init__(self, path: str, message: str) -> None:
        super().__init__(f"{path}: {message}")
        self.path = path
        self.message = message
