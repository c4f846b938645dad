"""Long lists a part at a time."""

from __future__ import annotations

from rest_framework.pagination import LimitOffsetPagination


class Pages(LimitOffsetPagination):
    """``?limit=`` and ``?offset=``; a longer limit is taken as the longest. An offset behind the end finds nothing."""

    max_limit = 1000
