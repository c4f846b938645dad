"""The page that is shown when everything else fails."""

from __future__ import annotations

import hashlib
import re
from base64 import b64encode

import pytest
from django.test import Client
from django.urls import reverse

from registry.web.papers import views


def test_what_fails_is_told_in_both_languages_without_the_database(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_given: object, **_more: object) -> None:
        raise RuntimeError("a failure for the test")

    monkeypatch.setattr(views, "CheckForm", fail)
    # No fixture opens the database here: a page that asked it would fail too.
    page = Client(raise_request_exception=False).get(reverse("check"))
    assert page.status_code == 500
    assert page["Content-Type"].startswith("text/html")
    assert "Something failed here" in page.text
    assert '<section lang="fr">' in page.text
    assert "Une erreur s’est produite" in page.text
    assert "a failure for the test" not in page.text
    # It fetches nothing, and its own style is the only one let through.
    assert not re.search(r"<link|<script|src=|url\(", page.text)
    (style,) = re.findall(r"<style>(.*?)</style>", page.text, re.DOTALL)
    digest = b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in page["Content-Security-Policy"]
