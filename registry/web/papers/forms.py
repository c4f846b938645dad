"""What a printed document should look like, and what somebody wants checked."""

from __future__ import annotations

from django import forms
from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

from registry.evidence.services import LARGEST_DOCUMENT
from registry.transcripts.printing import PAPERS


class PrintForm(forms.Form):
    """Language and paper of a printed document."""

    language = forms.ChoiceField(label=_("Language"), choices=settings.LANGUAGES)
    paper = forms.ChoiceField(label=_("Paper"), choices=[(each, each) for each in PAPERS])


class CheckForm(forms.Form):
    """The number on a transcript or certificate, and, if at hand, the transcript's file."""

    number = forms.CharField(
        label=_("Number"), max_length=100, help_text=_("The code of a training transcript, or a certificate's number.")
    )
    file = forms.FileField(
        label=_("The transcript's file"),
        required=False,
        help_text=_("With the PDF the answer also says whether it is the very file that was given out."),
    )

    def clean_file(self) -> UploadedFile | None:
        file: UploadedFile | None = self.cleaned_data["file"]
        if file is not None and file.size is not None and file.size > LARGEST_DOCUMENT:
            raise forms.ValidationError(_("The file is larger than 20 MB."))
        return file
