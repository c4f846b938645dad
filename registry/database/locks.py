"""Advisory file locks, which the kernel drops when the last holder is gone, however it died."""

import fcntl
import os
from pathlib import Path


def shared(path: Path) -> int:
    """Wait for a shared lock; the descriptor returned holds it."""
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    fcntl.flock(descriptor, fcntl.LOCK_SH)
    return descriptor


def exclusive(path: Path) -> int:
    """Wait for an exclusive lock; the descriptor returned holds it."""
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    fcntl.flock(descriptor, fcntl.LOCK_EX)
    return descriptor


def exclusive_if_free(path: Path) -> int | None:
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        return None
    return descriptor
