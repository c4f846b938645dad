"""For whom the database is read while a request is answered."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from registry.database.readers import account_reader, reading_as
from registry.web.security import GetResponse

READING = ("GET", "HEAD", "OPTIONS")


def read_as_the_account(get_response: GetResponse) -> GetResponse:
    """Requests that only read see through row-level security what the account may see, and no more.

    Requests that write run as the register: a service weighs records that whoever
    asks may not look at (who signed, who is on another crew), and what the account
    may do has been asked of ``access`` before. It stands innermost, so that looks
    are recorded by the register. No page streams its answer, which would be read
    after the reader was taken back.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        if request.method not in READING:
            return get_response(request)
        with reading_as(account_reader(request.user.pk)):
            return get_response(request)

    return middleware
