import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("crews", "0001_initial"),
        ("equipment", "0001_initial"),
        ("people", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="InspectionFile",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("reference", models.CharField(max_length=100)),
                ("purpose", models.TextField()),
                ("recorded_at", models.DateTimeField()),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="inspection_files", to="crews.job"
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Look",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("what", models.CharField(max_length=60)),
                ("recorded_at", models.DateTimeField()),
                (
                    "crane",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="looks",
                        to="equipment.crane",
                    ),
                ),
                (
                    "file",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="looks",
                        to="inspection.inspectionfile",
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="looks", to="crews.job"
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="looks", to="people.worker"
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="inspectionfile",
            constraint=models.UniqueConstraint(fields=("reference",), name="inspection_reference_is_used_once"),
        ),
        migrations.AddConstraint(
            model_name="inspectionfile",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("reference", ""), _negated=True), models.Q(("purpose", ""), _negated=True)
                ),
                name="inspection_file_says_why",
            ),
        ),
        migrations.AddIndex(
            model_name="look",
            index=models.Index(fields=["worker", "recorded_at"], name="looks_at_a_worker"),
        ),
        migrations.AddIndex(
            model_name="look",
            index=models.Index(fields=["job", "recorded_at"], name="looks_at_a_job"),
        ),
    ]
