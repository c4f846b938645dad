"""Makers, crane models, families a maker declares, sites, cranes and where they stood."""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext as _

from registry.database.guards import append_only, correction_keeps
from registry.database.records import Record
from registry.ledger.guards import logged
from registry.people.guards import named_by


class Maker(models.Model):
    """A maker of tower cranes."""

    name = models.CharField(max_length=100, unique=True)
    recorded_at = models.DateTimeField()

    guards = (*append_only, logged)

    def __str__(self) -> str:
        return self.name


class CraneModel(models.Model):
    """A maker's model designation; ``configurations`` may narrow it."""

    maker = models.ForeignKey(Maker, models.PROTECT, related_name="models")
    designation = models.CharField(max_length=100)
    crane_class = models.CharField(max_length=50)
    configurations = ArrayField(models.CharField(max_length=100), default=list, blank=True)
    recorded_at = models.DateTimeField()

    guards = (*append_only, logged)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["maker", "designation"], name="model_designation_is_unique_for_its_maker")
        ]

    def __str__(self) -> str:
        return f"{self.maker.name} {self.designation}"


class FamilyDeclaration(Record):
    """The maker's own statement that ``models`` (identifiers) are equivalent for training."""

    maker = models.ForeignKey(Maker, models.PROTECT, related_name="families")
    models_declared = ArrayField(models.BigIntegerField())
    document = models.CharField(max_length=200)
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True)

    guards = (*Record.guards, correction_keeps("maker_id"), logged, named_by("registrar"))

    class Meta(Record.Meta):
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(valid_until__isnull=True) | Q(valid_until__gte=F("valid_from")),
                name="family_does_not_end_before_it_starts",
            ),
            models.CheckConstraint(condition=~Q(document=""), name="family_names_the_makers_document"),
        ]

    def __str__(self) -> str:
        return f"{self.maker}: {self.document}"


class Site(models.Model):
    """A place with a time zone, by which its calendar days are told."""

    name = models.CharField(max_length=200)
    address = models.TextField(blank=True)
    time_zone = models.CharField(max_length=64)
    jurisdiction = models.CharField(max_length=20)
    working_language = models.CharField(max_length=35, blank=True)
    recorded_at = models.DateTimeField()

    guards = (*append_only, logged)

    def __str__(self) -> str:
        return self.name


class Crane(models.Model):
    """One crane, by its maker's serial number."""

    model = models.ForeignKey(CraneModel, models.PROTECT, related_name="cranes")
    serial_number = models.CharField(max_length=100)
    recorded_at = models.DateTimeField()

    guards = (*append_only, logged)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["model", "serial_number"], name="serial_number_is_unique_for_its_model")
        ]

    def __str__(self) -> str:
        return _("%(model)s no. %(number)s") % {"model": self.model, "number": self.serial_number}


class CranePlacement(Record):
    """A crane stood on a site from ``start`` until ``end`` (``None``: still there)."""

    crane = models.ForeignKey(Crane, models.PROTECT, related_name="placements")
    site = models.ForeignKey(Site, models.PROTECT, related_name="placements")
    start = models.DateTimeField()
    end = models.DateTimeField(null=True, blank=True)

    guards = (*Record.guards, correction_keeps("crane_id"), logged, named_by("employer", "registrar"))

    class Meta(Record.Meta):
        constraints = [
            *Record.Meta.constraints,
            models.CheckConstraint(
                condition=Q(end__isnull=True) | Q(end__gt=F("start")), name="placement_end_is_after_start"
            ),
        ]

    def __str__(self) -> str:
        return _("%(crane)s at %(site)s") % {"crane": self.crane, "site": self.site}
