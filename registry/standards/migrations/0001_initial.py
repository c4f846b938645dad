import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("people", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="StandardVersion",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.TextField()),
                ("version", models.PositiveIntegerField()),
                ("jurisdiction", models.TextField()),
                ("title", models.TextField()),
                ("in_force_from", models.DateField()),
                ("in_force_until", models.DateField(blank=True, null=True)),
                ("content", models.JSONField()),
                ("sha256", models.CharField(max_length=64)),
                ("recorded_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["key", "version"],
                "constraints": [
                    models.UniqueConstraint(fields=("key", "version"), name="a_standard_has_each_version_once"),
                    models.UniqueConstraint(
                        fields=("key", "in_force_from"), name="two_versions_of_a_standard_do_not_start_on_one_day"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("in_force_until__isnull", True),
                            ("in_force_until__gte", models.F("in_force_from")),
                            _connector="OR",
                        ),
                        name="a_standard_does_not_end_before_it_starts",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="EmployerFigure",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("standard_key", models.TextField()),
                ("setting", models.TextField()),
                ("minutes", models.PositiveIntegerField()),
                ("recorded_at", models.DateTimeField()),
                (
                    "employer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="standard_figures",
                        to="people.employer",
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
            ],
            options={
                "ordering": ["employer", "standard_key", "setting", "recorded_at", "id"],
                "indexes": [
                    models.Index(fields=["employer", "standard_key", "recorded_at"], name="figures_of_an_employer")
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("minutes__gte", 1)), name="an_employers_figure_asks_for_something"
                    )
                ],
            },
        ),
    ]
