import datetime

import django.db.models.deletion
import django.db.models.expressions
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
            name="SharedLink",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("token_hash", models.CharField(editable=False, max_length=64, unique=True)),
                ("note", models.CharField(blank=True, max_length=200)),
                ("expires_at", models.DateTimeField()),
                ("recorded_at", models.DateTimeField()),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="shared_links", to="people.worker"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="LinkOpening",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("what", models.CharField(choices=[("record", "record"), ("transcript", "transcript")], max_length=10)),
                ("recorded_at", models.DateTimeField()),
                (
                    "recorded_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "link",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="openings",
                        to="transcripts.sharedlink",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="EndedLink",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "link",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="ended", to="transcripts.sharedlink"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="IssuedTranscript",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=19, unique=True)),
                ("sha256", models.CharField(max_length=64)),
                ("evidence_version", models.BigIntegerField()),
                ("checkpoint_size", models.BigIntegerField()),
                ("recorded_at", models.DateTimeField()),
                (
                    "recorded_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="transcripts_issued",
                        to="people.worker",
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["worker", "recorded_at"], name="transcripts_of_a_worker")],
            },
        ),
        migrations.AddIndex(
            model_name="sharedlink",
            index=models.Index(fields=["worker", "recorded_at"], name="shared_links_of_a_worker"),
        ),
        migrations.AddConstraint(
            model_name="sharedlink",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("expires_at__gt", models.F("recorded_at")),
                    (
                        "expires_at__lte",
                        django.db.models.expressions.CombinedExpression(
                            models.F("recorded_at"), "+", models.Value(datetime.timedelta(days=30))
                        ),
                    ),
                ),
                name="shared_link_lasts_at_most_30_days",
            ),
        ),
        migrations.AddConstraint(
            model_name="sharedlink",
            constraint=models.CheckConstraint(
                condition=models.Q(("token_hash__regex", "^[0-9a-f]{64}$")),
                name="shared_link_keeps_only_the_tokens_sha256",
            ),
        ),
        migrations.AddIndex(
            model_name="linkopening",
            index=models.Index(fields=["link", "recorded_at"], name="openings_of_a_shared_link"),
        ),
        migrations.AddConstraint(
            model_name="linkopening",
            constraint=models.CheckConstraint(
                condition=models.Q(("what__in", ["record", "transcript"])), name="link_opening_says_what"
            ),
        ),
    ]
