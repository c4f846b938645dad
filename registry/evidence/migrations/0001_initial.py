import datetime

import django.contrib.postgres.fields
import django.db.models.deletion
import django.db.models.expressions
import django.db.models.functions.text
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("equipment", "0001_initial"),
        ("people", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="EvidenceVersion",
            fields=[
                ("subject", models.TextField(primary_key=True, serialize=False)),
                ("version", models.BigIntegerField()),
            ],
        ),
        migrations.CreateModel(
            name="Assessment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                ("kind", models.CharField(default="practical", max_length=10)),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("erector", "erector"),
                            ("trainee", "trainee"),
                            ("erection_supervisor", "erection supervisor"),
                            ("overseeing_engineer", "overseeing engineer"),
                            ("rigger", "rigger"),
                            ("signal_person", "signal person"),
                            ("crane_operator", "crane operator"),
                            ("assist_crane_operator", "assist-crane operator"),
                            ("assessor", "assessor"),
                        ],
                        max_length=30,
                    ),
                ),
                ("configuration", models.CharField(blank=True, max_length=100)),
                (
                    "operations",
                    django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=20), size=None),
                ),
                ("assessed_at", models.DateTimeField()),
                (
                    "outcome",
                    models.CharField(
                        choices=[("pass", "pass"), ("not_yet_competent", "not yet competent")], max_length=20
                    ),
                ),
                ("tasks", models.JSONField(blank=True, default=list)),
                ("third_party", models.CharField(blank=True, max_length=200)),
                ("signature", models.CharField(blank=True, max_length=200)),
                (
                    "assessor",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="assessments_given",
                        to="people.worker",
                    ),
                ),
                (
                    "employer",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="people.employer",
                    ),
                ),
                (
                    "model",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.cranemodel"
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
                        to="evidence.assessment",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="%(class)s_records",
                        to="people.worker",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Certification",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                ("scheme", models.CharField(max_length=200)),
                ("number", models.CharField(max_length=100)),
                ("issuer", models.CharField(max_length=200)),
                ("issued", models.DateField()),
                ("expires", models.DateField(blank=True, null=True)),
                (
                    "scope",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=100), blank=True, default=list, size=None
                    ),
                ),
                (
                    "covers_models",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.BigIntegerField(), blank=True, default=list, size=None
                    ),
                ),
                (
                    "covers_classes",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=50), blank=True, default=list, size=None
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
                        to="evidence.certification",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="%(class)s_records",
                        to="people.worker",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="CorrectionRequest",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                (
                    "record_kind",
                    models.CharField(
                        choices=[
                            ("hoursentry", "hoursentry"),
                            ("assessment", "assessment"),
                            ("certification", "certification"),
                            ("certificationstatus", "certificationstatus"),
                            ("instruction", "instruction"),
                            ("appointment", "appointment"),
                            ("standdown", "standdown"),
                            ("employment", "employment"),
                            ("languageskill", "languageskill"),
                        ],
                        max_length=20,
                    ),
                ),
                ("record_id", models.BigIntegerField()),
                ("what_is_wrong", models.TextField()),
                ("what_it_should_be", models.TextField(blank=True)),
                (
                    "employer",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="correction_requests",
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
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="correction_requests",
                        to="people.worker",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="CorrectionAnswer",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                (
                    "outcome",
                    models.CharField(
                        choices=[("corrected", "corrected"), ("withdrawn", "withdrawn"), ("declined", "declined")],
                        max_length=10,
                    ),
                ),
                ("reason", models.TextField(blank=True)),
                ("new_record_id", models.BigIntegerField(blank=True, null=True)),
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
                    "request",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="answer",
                        to="evidence.correctionrequest",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="DeniedSignature",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                (
                    "record_kind",
                    models.CharField(
                        choices=[("countersignature", "countersignature"), ("assessment", "assessment")], max_length=20
                    ),
                ),
                ("record_id", models.BigIntegerField()),
                ("reason", models.TextField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="signatures_denied",
                        to="people.worker",
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
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Document",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=200)),
                ("media_type", models.CharField(max_length=100)),
                ("content", models.BinaryField()),
                ("size", models.PositiveIntegerField()),
                ("sha256", models.CharField(max_length=64)),
                ("recorded_at", models.DateTimeField()),
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
        ),
        migrations.CreateModel(
            name="CertificationStatus",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                (
                    "status",
                    models.CharField(
                        choices=[("suspended", "suspended"), ("revoked", "revoked"), ("reinstated", "reinstated")],
                        max_length=12,
                    ),
                ),
                ("effective_at", models.DateTimeField()),
                ("reason", models.TextField(blank=True)),
                (
                    "certification",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="statuses",
                        to="evidence.certification",
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
                        to="evidence.certificationstatus",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="%(class)s_records",
                        to="people.worker",
                    ),
                ),
                (
                    "document",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="evidence.document",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.AddField(
            model_name="certification",
            name="document",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="evidence.document",
            ),
        ),
        migrations.CreateModel(
            name="AssessmentSignature",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                (
                    "assessment",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="drawn_signature",
                        to="evidence.assessment",
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
                    "image",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="evidence.document"
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.AddField(
            model_name="assessment",
            name="document",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="evidence.document",
            ),
        ),
        migrations.CreateModel(
            name="Appointment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("duty", "duty"),
                            ("founding", "founding"),
                            ("maker_instructor", "maker's instructor"),
                        ],
                        default="duty",
                        max_length=20,
                    ),
                ),
                ("duty", models.CharField(max_length=100)),
                ("start", models.DateTimeField()),
                ("end", models.DateTimeField(blank=True, null=True)),
                ("stop_work_authority", models.BooleanField(default=False)),
                ("appointed_by", models.CharField(blank=True, max_length=200)),
                (
                    "employer",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="people.employer",
                    ),
                ),
                (
                    "maker",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.maker",
                    ),
                ),
                (
                    "model",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.cranemodel",
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
                        to="evidence.appointment",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="%(class)s_records",
                        to="people.worker",
                    ),
                ),
                (
                    "document",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="evidence.document",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="HoursEntry",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                ("configuration", models.CharField(blank=True, max_length=100)),
                (
                    "operation",
                    models.CharField(
                        choices=[
                            ("erection", "erection"),
                            ("climbing", "climbing"),
                            ("repositioning", "repositioning"),
                            ("dismantling", "dismantling"),
                        ],
                        max_length=20,
                    ),
                ),
                (
                    "capacity",
                    models.CharField(
                        choices=[
                            ("erector", "erector"),
                            ("trainee", "trainee"),
                            ("erection_supervisor", "erection supervisor"),
                            ("overseeing_engineer", "overseeing engineer"),
                            ("rigger", "rigger"),
                            ("signal_person", "signal person"),
                            ("crane_operator", "crane operator"),
                            ("assist_crane_operator", "assist-crane operator"),
                            ("assessor", "assessor"),
                        ],
                        default="erector",
                        max_length=30,
                    ),
                ),
                ("start", models.DateTimeField()),
                ("end", models.DateTimeField()),
                (
                    "origin",
                    models.CharField(
                        choices=[("register", "register"), ("paper", "paper"), ("import", "import")],
                        default="register",
                        max_length=10,
                    ),
                ),
                ("issuer", models.CharField(blank=True, max_length=200)),
                ("imported_line", models.CharField(blank=True, max_length=64)),
                (
                    "crane",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.crane",
                    ),
                ),
                (
                    "document",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="evidence.document",
                    ),
                ),
                (
                    "employer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="people.employer"
                    ),
                ),
                (
                    "model",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.cranemodel"
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
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.site"
                    ),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="evidence.hoursentry",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="%(class)s_records",
                        to="people.worker",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="EntryObjection",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("reason", models.TextField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="objections_raised",
                        to="people.worker",
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
                    "entry",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="objections", to="evidence.hoursentry"
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="CountersignatureRequest",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                (
                    "of",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="countersignatures_asked",
                        to="people.worker",
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
                    "entry",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="countersignature_requests",
                        to="evidence.hoursentry",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Countersignature",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                ("recorded_at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="countersignatures_given",
                        to="people.worker",
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
                    "entry",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="countersignatures",
                        to="evidence.hoursentry",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="ObjectionAnswer",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("reply", models.TextField()),
                (
                    "objection",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="answer", to="evidence.entryobjection"
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
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="StandDown",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                (
                    "role",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("erector", "erector"),
                            ("trainee", "trainee"),
                            ("erection_supervisor", "erection supervisor"),
                            ("overseeing_engineer", "overseeing engineer"),
                            ("rigger", "rigger"),
                            ("signal_person", "signal person"),
                            ("crane_operator", "crane operator"),
                            ("assist_crane_operator", "assist-crane operator"),
                            ("assessor", "assessor"),
                        ],
                        max_length=30,
                    ),
                ),
                ("start", models.DateTimeField()),
                ("reason", models.TextField()),
                ("on_assignment", models.BigIntegerField(blank=True, null=True)),
                (
                    "employer",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="people.employer",
                    ),
                ),
                (
                    "model",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.cranemodel",
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
                    "shift",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="evidence.hoursentry",
                    ),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="evidence.standdown",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="%(class)s_records",
                        to="people.worker",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Instruction",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                ("topic", models.CharField(max_length=200)),
                (
                    "provider",
                    models.CharField(
                        choices=[("maker", "maker"), ("employer", "employer"), ("third_party", "third party")],
                        max_length=12,
                    ),
                ),
                ("provider_name", models.CharField(blank=True, max_length=200)),
                ("completed_at", models.DateTimeField()),
                ("minutes", models.PositiveIntegerField(blank=True, null=True)),
                (
                    "document",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="evidence.document",
                    ),
                ),
                (
                    "model",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.cranemodel",
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
                        to="evidence.instruction",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="%(class)s_records",
                        to="people.worker",
                    ),
                ),
                (
                    "after_stand_down",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="retraining",
                        to="evidence.standdown",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="StandDownSuspension",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                ("start", models.DateTimeField()),
                ("end", models.DateTimeField(blank=True, null=True)),
                ("reason", models.TextField()),
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
                    "stand_down",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="suspensions", to="evidence.standdown"
                    ),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="evidence.standdownsuspension",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="%(class)s_records",
                        to="people.worker",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.AddIndex(
            model_name="correctionrequest",
            index=models.Index(fields=["employer", "recorded_at"], name="correction_requests_by_firm"),
        ),
        migrations.AddConstraint(
            model_name="correctionrequest",
            constraint=models.CheckConstraint(
                condition=models.Q(("what_is_wrong", ""), _negated=True), name="correction_request_says_what_is_wrong"
            ),
        ),
        migrations.AddConstraint(
            model_name="correctionrequest",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "record_kind__in",
                        [
                            "hoursentry",
                            "assessment",
                            "certification",
                            "certificationstatus",
                            "instruction",
                            "appointment",
                            "standdown",
                            "employment",
                            "languageskill",
                        ],
                    )
                ),
                name="correction_request_is_about_a_known_kind",
            ),
        ),
        migrations.AddConstraint(
            model_name="correctionanswer",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("new_record_id__isnull", True), ("outcome", "declined")),
                    models.Q(("new_record_id__isnull", False), ("outcome__in", ["corrected", "withdrawn"])),
                    _connector="OR",
                ),
                name="correction_answer_names_the_new_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="correctionanswer",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("outcome", "declined"), _negated=True),
                    models.Q(("reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="declined_correction_gives_its_reason",
            ),
        ),
        migrations.AddConstraint(
            model_name="deniedsignature",
            constraint=models.CheckConstraint(
                condition=models.Q(("record_kind__in", ["countersignature", "assessment"])),
                name="a_denied_signature_is_of_a_known_kind",
            ),
        ),
        migrations.AddConstraint(
            model_name="deniedsignature",
            constraint=models.CheckConstraint(
                condition=models.Q(("reason", ""), _negated=True), name="a_denied_signature_gives_its_reason"
            ),
        ),
        migrations.AddConstraint(
            model_name="deniedsignature",
            constraint=models.UniqueConstraint(fields=("record_kind", "record_id"), name="a_signature_is_denied_once"),
        ),
        migrations.AddConstraint(
            model_name="document",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("size", django.db.models.functions.text.Length("content")), ("content", b""), _connector="OR"
                ),
                name="document_size_is_that_of_its_content",
            ),
        ),
        migrations.AddConstraint(
            model_name="certificationstatus",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="certificationstatus_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="certificationstatus",
            constraint=models.CheckConstraint(
                condition=models.Q(("status__in", ["suspended", "revoked", "reinstated"])),
                name="certification_status_is_known",
            ),
        ),
        migrations.AddIndex(
            model_name="certification",
            index=models.Index(
                condition=models.Q(("expires__isnull", False)), fields=["expires"], name="certificates_that_expire"
            ),
        ),
        migrations.AddConstraint(
            model_name="certification",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="certification_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="certification",
            constraint=models.CheckConstraint(
                condition=models.Q(("expires__isnull", True), ("expires__gte", models.F("issued")), _connector="OR"),
                name="certificate_does_not_expire_before_it_was_issued",
            ),
        ),
        migrations.AddConstraint(
            model_name="certification",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("withdrawn", True),
                    ("issued__range", (datetime.date(1900, 1, 1), datetime.date(2199, 12, 31))),
                    _connector="OR",
                ),
                name="certificate_is_issued_in_a_year_people_enter",
            ),
        ),
        migrations.AddConstraint(
            model_name="certification",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("withdrawn", True),
                    ("expires__range", (datetime.date(1900, 1, 1), datetime.date(2199, 12, 31))),
                    _connector="OR",
                ),
                name="certificate_expires_in_a_year_people_enter",
            ),
        ),
        migrations.AddConstraint(
            model_name="certification",
            constraint=models.UniqueConstraint(
                condition=models.Q(("supersedes__isnull", True)),
                fields=("scheme", "number", "issued"),
                name="certificate_is_recorded_once",
            ),
        ),
        migrations.AddIndex(
            model_name="assessment",
            index=models.Index(fields=["worker", "assessed_at"], name="assessments_of_a_worker"),
        ),
        migrations.AddConstraint(
            model_name="assessment",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="assessment_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="assessment",
            constraint=models.CheckConstraint(
                condition=models.Q(("assessor", models.F("worker")), _negated=True), name="nobody_assesses_themself"
            ),
        ),
        migrations.AddConstraint(
            model_name="assessment",
            constraint=models.CheckConstraint(
                condition=models.Q(("assessed_at__lte", models.F("recorded_at"))),
                name="assessment_is_not_in_the_future",
            ),
        ),
        migrations.AddConstraint(
            model_name="assessment",
            constraint=models.CheckConstraint(
                condition=models.Q(("outcome__in", ["pass", "not_yet_competent"])), name="assessment_outcome_is_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="assessment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "role__in",
                        (
                            "erector",
                            "trainee",
                            "erection_supervisor",
                            "overseeing_engineer",
                            "rigger",
                            "signal_person",
                            "crane_operator",
                            "assist_crane_operator",
                            "assessor",
                        ),
                    )
                ),
                name="assessment_role_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="assessment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("operations__contained_by", ["erection", "climbing", "repositioning", "dismantling"]),
                    ("operations__len__gte", 1),
                ),
                name="assessment_operations_are_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="assessment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("employer__isnull", False), ("third_party", "")),
                    models.Q(models.Q(("third_party", ""), _negated=True), ("employer__isnull", True)),
                    _connector="OR",
                ),
                name="assessment_is_third_partys_or_employers",
            ),
        ),
        migrations.AddIndex(
            model_name="appointment",
            index=models.Index(
                condition=models.Q(("end__isnull", False)), fields=["end"], name="appointments_that_end"
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="appointment_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(("end__isnull", True), ("end__gt", models.F("start")), _connector="OR"),
                name="appointment_end_is_after_start",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("employer__isnull", False), ("kind__in", ["duty", "founding"])),
                    models.Q(("kind", "maker_instructor"), ("maker__isnull", False)),
                    _connector="OR",
                ),
                name="appointment_says_who_appoints",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind", "duty"), ("document__isnull", False), _connector="OR"),
                name="founding_appointment_has_an_outside_document",
            ),
        ),
        migrations.AddConstraint(
            model_name="appointment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", "founding"), _negated=True),
                    models.Q(("appointed_by", ""), _negated=True),
                    _connector="OR",
                ),
                name="founding_appointment_names_the_responsible_person",
            ),
        ),
        migrations.AddIndex(
            model_name="hoursentry",
            index=models.Index(fields=["worker", "end"], name="hours_of_a_worker"),
        ),
        migrations.AddIndex(
            model_name="hoursentry",
            index=models.Index(
                condition=models.Q(("capacity", "trainee")), fields=["worker"], name="hours_of_a_trainee"
            ),
        ),
        migrations.AddConstraint(
            model_name="hoursentry",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="hoursentry_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="hoursentry",
            constraint=models.UniqueConstraint(
                condition=models.Q(("imported_line", ""), _negated=True),
                fields=("imported_line",),
                name="an_imported_line_is_recorded_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="hoursentry",
            constraint=models.CheckConstraint(
                condition=models.Q(("end__gt", models.F("start"))), name="hours_end_is_after_start"
            ),
        ),
        migrations.AddConstraint(
            model_name="hoursentry",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "end__lte",
                        django.db.models.expressions.CombinedExpression(
                            models.F("start"), "+", models.Value(datetime.timedelta(days=1))
                        ),
                    )
                ),
                name="hours_fit_into_24_hours",
            ),
        ),
        migrations.AddConstraint(
            model_name="hoursentry",
            constraint=models.CheckConstraint(
                condition=models.Q(("end__lte", models.F("recorded_at"))), name="hours_are_not_in_the_future"
            ),
        ),
        migrations.AddConstraint(
            model_name="hoursentry",
            constraint=models.CheckConstraint(
                condition=models.Q(("operation__in", ("erection", "climbing", "repositioning", "dismantling"))),
                name="hours_operation_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="hoursentry",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "capacity__in",
                        (
                            "erector",
                            "trainee",
                            "erection_supervisor",
                            "overseeing_engineer",
                            "rigger",
                            "signal_person",
                            "crane_operator",
                            "assist_crane_operator",
                            "assessor",
                        ),
                    )
                ),
                name="hours_capacity_is_a_role",
            ),
        ),
        migrations.AddConstraint(
            model_name="hoursentry",
            constraint=models.CheckConstraint(
                condition=models.Q(("origin__in", ("register", "paper", "import"))), name="hours_origin_is_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="hoursentry",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("origin", "paper"), _negated=True), ("document__isnull", False), _connector="OR"
                ),
                name="hours_from_paper_have_a_scan",
            ),
        ),
        migrations.AddConstraint(
            model_name="hoursentry",
            constraint=models.CheckConstraint(
                condition=models.Q(("origin", "import"), _negated=True),
                name="hours_of_another_register_need_its_signature",
            ),
        ),
        migrations.AddIndex(
            model_name="entryobjection",
            index=models.Index(fields=["entry", "by"], name="objections_to_an_entry"),
        ),
        migrations.AddConstraint(
            model_name="entryobjection",
            constraint=models.CheckConstraint(
                condition=models.Q(("reason", ""), _negated=True), name="objection_gives_its_reason"
            ),
        ),
        migrations.AddConstraint(
            model_name="countersignaturerequest",
            constraint=models.UniqueConstraint(fields=("entry", "of"), name="a_countersignature_is_asked_for_once"),
        ),
        migrations.AddConstraint(
            model_name="countersignature",
            constraint=models.UniqueConstraint(fields=("entry", "by"), name="nobody_countersigns_an_entry_twice"),
        ),
        migrations.AddConstraint(
            model_name="countersignature",
            constraint=models.CheckConstraint(
                condition=models.Q(("at__lte", models.F("recorded_at"))), name="countersignature_is_not_in_the_future"
            ),
        ),
        migrations.AddConstraint(
            model_name="objectionanswer",
            constraint=models.CheckConstraint(
                condition=models.Q(("reply", ""), _negated=True), name="objection_answer_says_something"
            ),
        ),
        migrations.AddConstraint(
            model_name="standdown",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="standdown_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="standdown",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "role__in",
                        [
                            "",
                            "erector",
                            "trainee",
                            "erection_supervisor",
                            "overseeing_engineer",
                            "rigger",
                            "signal_person",
                            "crane_operator",
                            "assist_crane_operator",
                            "assessor",
                        ],
                    )
                ),
                name="stand_down_role_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="standdown",
            constraint=models.CheckConstraint(
                condition=models.Q(("reason", ""), _negated=True), name="stand_down_gives_its_reason"
            ),
        ),
        migrations.AddConstraint(
            model_name="standdown",
            constraint=models.CheckConstraint(
                condition=models.Q(("shift__isnull", True), ("on_assignment__isnull", True), _connector="OR"),
                name="stand_down_has_one_occasion",
            ),
        ),
        migrations.AddConstraint(
            model_name="instruction",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="instruction_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="instruction",
            constraint=models.CheckConstraint(
                condition=models.Q(("provider__in", ["maker", "employer", "third_party"])),
                name="instruction_provider_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="instruction",
            constraint=models.CheckConstraint(
                condition=models.Q(("completed_at__lte", models.F("recorded_at"))),
                name="instruction_is_not_in_the_future",
            ),
        ),
        migrations.AddConstraint(
            model_name="standdownsuspension",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="standdownsuspension_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="standdownsuspension",
            constraint=models.CheckConstraint(
                condition=models.Q(("end__isnull", True), ("end__gt", models.F("start")), _connector="OR"),
                name="suspension_end_is_after_start",
            ),
        ),
        migrations.AddConstraint(
            model_name="standdownsuspension",
            constraint=models.CheckConstraint(
                condition=models.Q(("reason", ""), _negated=True), name="suspension_gives_its_reason"
            ),
        ),
    ]
