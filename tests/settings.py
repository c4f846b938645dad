"""The registry as most tests drive it: over plain http, as `demo` is served (see `tests/web/test_serving_mode.py`)."""

import os

os.environ.setdefault("REGISTRY_PLAIN_HTTP_ON_LOOPBACK", "1")

from registry.settings import *  # noqa: F403
