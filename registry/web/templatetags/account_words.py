"""Words and facts that the sign-in and account pages need."""

from __future__ import annotations

import ipaddress
import re
from typing import Any

from django import template
from django.http.request import split_domain_port
from django.utils.translation import gettext as _

register = template.Library()

BROWSERS = (("Edg", "Edge"), ("OPR", "Opera"), ("Firefox", "Firefox"), ("Chrome", "Chrome"), ("Safari", "Safari"))
SYSTEMS = (
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Windows", "Windows"),
    ("Mac OS X", "macOS"),
    ("Linux", "Linux"),
)


@register.simple_tag(takes_context=True)
def passkeys_possible(context: dict[str, Any]) -> bool:
    """Browsers bind a passkey to a host's name and refuse addresses."""
    host, _port = split_domain_port(context["request"].get_host())
    try:
        ipaddress.ip_address(host.strip("[]"))
    except ValueError:
        return True
    return False


@register.simple_tag
def browser(user_agent: str) -> str:
    """What a browser says it is, in two words: ``Firefox, Windows``."""
    program = next((name for mark, name in BROWSERS if re.search(rf"{mark}[A-Za-z]*/", user_agent)), None)
    system = next((name for mark, name in SYSTEMS if mark in user_agent), None)
    return ", ".join(each for each in (program, system) if each) or _("an unknown program")
