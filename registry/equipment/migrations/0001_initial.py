import django.contrib.postgres.fields
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="CraneModel",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("designation", models.CharField(max_length=100)),
                ("crane_class", models.CharField(max_length=50)),
                (
                    "configurations",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=100), blank=True, default=list, size=None
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name="Maker",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=100, unique=True)),
                ("recorded_at", models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name="Site",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=200)),
                ("address", models.TextField(blank=True)),
                ("time_zone", models.CharField(max_length=64)),
                ("jurisdiction", models.CharField(max_length=20)),
                ("working_language", models.CharField(blank=True, max_length=35)),
                ("recorded_at", models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name="Crane",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("serial_number", models.CharField(max_length=100)),
                ("recorded_at", models.DateTimeField()),
                (
                    "model",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="cranes", to="equipment.cranemodel"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="FamilyDeclaration",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                (
                    "models_declared",
                    django.contrib.postgres.fields.ArrayField(base_field=models.BigIntegerField(), size=None),
                ),
                ("document", models.CharField(max_length=200)),
                ("valid_from", models.DateField()),
                ("valid_until", models.DateField(blank=True, null=True)),
                (
                    "recorded_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="equipment.familydeclaration",
                    ),
                ),
                (
                    "maker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="families", to="equipment.maker"
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.AddField(
            model_name="cranemodel",
            name="maker",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="models", to="equipment.maker"
            ),
        ),
        migrations.CreateModel(
            name="CranePlacement",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                ("start", models.DateTimeField()),
                ("end", models.DateTimeField(blank=True, null=True)),
                (
                    "crane",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="placements", to="equipment.crane"
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="equipment.craneplacement",
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="placements", to="equipment.site"
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.AddConstraint(
            model_name="crane",
            constraint=models.UniqueConstraint(
                fields=("model", "serial_number"), name="serial_number_is_unique_for_its_model"
            ),
        ),
        migrations.AddConstraint(
            model_name="familydeclaration",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="familydeclaration_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="familydeclaration",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("valid_until__isnull", True), ("valid_until__gte", models.F("valid_from")), _connector="OR"
                ),
                name="family_does_not_end_before_it_starts",
            ),
        ),
        migrations.AddConstraint(
            model_name="familydeclaration",
            constraint=models.CheckConstraint(
                condition=models.Q(("document", ""), _negated=True), name="family_names_the_makers_document"
            ),
        ),
        migrations.AddConstraint(
            model_name="cranemodel",
            constraint=models.UniqueConstraint(
                fields=("maker", "designation"), name="model_designation_is_unique_for_its_maker"
            ),
        ),
        migrations.AddConstraint(
            model_name="craneplacement",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="craneplacement_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="craneplacement",
            constraint=models.CheckConstraint(
                condition=models.Q(("end__isnull", True), ("end__gt", models.F("start")), _connector="OR"),
                name="placement_end_is_after_start",
            ),
        ),
    ]
