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
            name="Checkpoint",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("size", models.BigIntegerField(unique=True)),
                ("root", models.BinaryField()),
                ("note", models.TextField()),
                ("made_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["size"],
            },
        ),
        migrations.CreateModel(
            name="Entry",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("kind", models.TextField()),
                ("record", models.BigIntegerField()),
                ("entered_at", models.DateTimeField()),
                ("salt", models.BinaryField(null=True)),
                ("leaf", models.TextField()),
                ("leaf_hash", models.BinaryField()),
            ],
        ),
        migrations.CreateModel(
            name="Erasure",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("subject", models.TextField()),
                ("ground", models.TextField()),
                ("entries", django.contrib.postgres.fields.ArrayField(base_field=models.BigIntegerField(), size=None)),
                ("erased_at", models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name="Leaf",
            fields=[
                ("index", models.BigIntegerField(primary_key=True, serialize=False)),
                ("hash", models.BinaryField()),
            ],
        ),
        migrations.CreateModel(
            name="Node",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("level", models.PositiveSmallIntegerField()),
                ("index", models.BigIntegerField()),
                ("hash", models.BinaryField()),
            ],
        ),
        migrations.CreateModel(
            name="SigningKey",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.TextField()),
                ("public_key", models.BinaryField()),
                ("verifier_key", models.TextField(unique=True)),
                ("recorded_at", models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name="Pending",
            fields=[
                (
                    "entry",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="pending",
                        serialize=False,
                        to="ledger.entry",
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="entry",
            constraint=models.UniqueConstraint(fields=("record", "kind"), name="a_record_enters_the_log_once"),
        ),
        migrations.AddField(
            model_name="erasure",
            name="recorded_by",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
            ),
        ),
        migrations.AddField(
            model_name="leaf",
            name="entry",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.PROTECT, related_name="place", to="ledger.entry"
            ),
        ),
        migrations.AddConstraint(
            model_name="node",
            constraint=models.UniqueConstraint(fields=("level", "index"), name="a_subtree_has_one_hash"),
        ),
        migrations.AddIndex(
            model_name="erasure",
            index=models.Index(fields=["subject"], name="ledger_erasure_by_subject"),
        ),
        migrations.AddConstraint(
            model_name="erasure",
            constraint=models.CheckConstraint(
                condition=models.Q(("ground", ""), _negated=True), name="an_erasure_states_its_ground"
            ),
        ),
    ]
