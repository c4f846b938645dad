"""Bringing in third parties' certificates."""

from __future__ import annotations

from registry.equipment.models import CraneModel
from registry.evidence.importing.columns import Field
from registry.evidence.importing.kind import (
    WORKER_FIELDS,
    OneByOne,
)
from registry.evidence.importing.rows import MappedRow
from registry.evidence.importing.values import ValueRefused
from registry.evidence.models import Certification
from registry.evidence.services import (
    record_certification,
)


class Certifications(OneByOne):
    """Third parties' certificates."""

    name = "certifications"
    fields = (
        *WORKER_FIELDS,
        Field("scheme", ("certificate", "certification", "scheme name", "certificat"), True),
        Field("number", ("certificate number", "certificate no", "no", "numéro", "numéro de certificat"), True, 100),
        Field("issuer", ("issued by", "certifier", "délivré par", "organisme"), True),
        Field("issued", ("issued on", "date of issue", "délivré le", "date de délivrance"), True),
        Field("expires", ("expires on", "expiry", "expiry date", "valid until", "expire le", "valable jusqu'au")),
        Field("scope", ("scopes", "covers", "domaine", "portée")),
        Field("models", ("crane models", "modèles")),
        Field("classes", ("crane classes", "catégories")),
    )

    def write_row(self, row: MappedRow) -> bool:
        worker = self._worker(row, "worker")
        for each in ("scheme", "number", "issuer", "issued"):
            row.required(each)
        scheme, number, issuer = row.text("scheme"), row.text("number"), row.text("issuer")
        issued, expires = row.day("issued"), row.day("expires")
        scope, classes = row.parts("scope", longest=100), row.parts("classes", longest=50)
        models = self._models(row)
        if row.problems or worker is None or issued is None:
            return False
        there = Certification.objects.filter(
            scheme=scheme, number=number, issued=issued, supersedes__isnull=True
        ).first()
        if there is not None:
            values = (there.worker_id, there.issuer, there.expires, there.scope, there.covers_classes)
            if values == (worker.pk, issuer, expires, scope, classes) and set(there.covers_models) == {
                each.pk for each in models
            }:
                return False
            row.refuse("number", "certificate_is_brought_in_once")
            return False
        record_certification(
            worker=worker,
            scheme=scheme,
            number=number,
            issuer=issuer,
            issued=issued,
            expires=expires,
            scope=scope,
            models=models,
            classes=classes,
            document=self.context.options.document,
            recorded_at=self.context.recorded_at,
            recorded_by=self.context.recorded_by,
        )
        return True

    def _models(self, row: MappedRow) -> list[CraneModel]:
        models = []
        for named in row.parts("models"):
            try:
                models.append(self.context.lookup.model(named))
            except ValueRefused as refused:
                row.note("models", refused.rule, refused.message)
        return models
