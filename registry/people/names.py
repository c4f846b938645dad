"""When two written names may be one person's."""

import unicodedata


def name_key(given_name: str, family_name: str) -> str:
    """The name without accents, case, punctuation and order.

    >>> name_key("Zoë", "Ana-Lind") == name_key("ana lind", "ZOE")
    True
    """
    decomposed = unicodedata.normalize("NFKD", f"{given_name} {family_name}")
    letters = (each if each.isalnum() else " " for each in decomposed if not unicodedata.combining(each))
    return " ".join(sorted("".join(letters).casefold().split()))
