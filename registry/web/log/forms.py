"""The form that asks for a consistency proof."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.ledger.queries import NotInTheLog, checkpoint_of


class GrowthForm(forms.Form):
    """Two checkpoints by their sizes; cleaned, they are the checkpoints themselves."""

    earlier = forms.IntegerField(label=gettext_lazy("Checkpoint A: size in leaves"), min_value=1)
    later = forms.IntegerField(label=gettext_lazy("Checkpoint B: size in leaves"), min_value=1)

    def clean_earlier(self) -> Any:
        return self._checkpoint("earlier")

    def clean_later(self) -> Any:
        return self._checkpoint("later")

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if "earlier" in given and "later" in given and given["earlier"].size > given["later"].size:
            self.add_error("later", _("Checkpoint B is the later one: it has at least as many leaves as A."))
        return given

    def _checkpoint(self, name: str) -> Any:
        try:
            return checkpoint_of(self.cleaned_data[name])
        except NotInTheLog:
            raise forms.ValidationError(
                _("There is no checkpoint of exactly so many leaves; the list below has them all.")
            ) from None
