import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("crews", "0001_initial"),
        ("evidence", "0001_initial"),
        ("people", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="SentNotice",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                ("rule_key", models.CharField(blank=True, max_length=100)),
                ("rule_version", models.PositiveIntegerField(blank=True, null=True)),
                ("content", models.TextField()),
                ("sha256", models.CharField(max_length=64)),
                ("sent_at", models.DateTimeField()),
                (
                    "how",
                    models.CharField(
                        choices=[
                            ("authoritys_form", "authoritys_form"),
                            ("email", "email"),
                            ("post", "post"),
                            ("courier", "courier"),
                            ("by_hand", "by_hand"),
                            ("fax", "fax"),
                        ],
                        max_length=20,
                    ),
                ),
                ("sent_to", models.CharField(max_length=300)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="%(class)s_records", to="crews.job"
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
                        to="notices.sentnotice",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="NamedSupervisor",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("content", models.TextField()),
                ("recorded_at", models.DateTimeField()),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="notices_named_in", to="people.worker"
                    ),
                ),
                (
                    "notice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="named", to="notices.sentnotice"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="AttachedProcedure",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                ("title", models.CharField(max_length=200)),
                (
                    "document",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="evidence.document"
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="%(class)s_records", to="crews.job"
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
                        to="notices.attachedprocedure",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "indexes": [models.Index(fields=["job"], name="procedures_of_a_job")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                        name="attachedprocedure_withdrawal_supersedes_a_record",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("title", ""), _negated=True), name="procedure_has_a_title"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="JobParty",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("employer", "employer"),
                            ("owner", "owner"),
                            ("prime_contractor", "prime_contractor"),
                            ("crane_owner", "crane_owner"),
                            ("engineer", "engineer"),
                            ("other", "other"),
                        ],
                        max_length=20,
                    ),
                ),
                ("name", models.CharField(max_length=200)),
                ("contact_person", models.CharField(blank=True, max_length=200)),
                ("phone", models.CharField(blank=True, max_length=50)),
                ("email", models.EmailField(blank=True, max_length=254)),
                ("address", models.TextField(blank=True)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="%(class)s_records", to="crews.job"
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
                        to="notices.jobparty",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "indexes": [models.Index(fields=["job"], name="parties_of_a_job")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                        name="jobparty_withdrawal_supersedes_a_record",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("role__in", ["employer", "owner", "prime_contractor", "crane_owner", "engineer", "other"])
                        ),
                        name="party_role_is_known",
                    ),
                    models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="party_has_a_name"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("phone", ""), _negated=True),
                            models.Q(("email", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="party_can_be_reached",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="NoticeParticulars",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                ("site_address", models.TextField(blank=True)),
                ("scope", models.TextField(blank=True)),
                ("configuration", models.TextField(blank=True)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="%(class)s_records", to="crews.job"
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
                        to="notices.noticeparticulars",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "indexes": [models.Index(fields=["job"], name="particulars_of_a_job")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                        name="noticeparticulars_withdrawal_supersedes_a_record",
                    )
                ],
            },
        ),
        migrations.AddIndex(
            model_name="sentnotice",
            index=models.Index(fields=["job"], name="notices_of_a_job"),
        ),
        migrations.AddConstraint(
            model_name="sentnotice",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="sentnotice_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="sentnotice",
            constraint=models.CheckConstraint(
                condition=models.Q(("how__in", ["authoritys_form", "email", "post", "courier", "by_hand", "fax"])),
                name="way_of_sending_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="sentnotice",
            constraint=models.CheckConstraint(
                condition=models.Q(("sent_to", ""), _negated=True), name="notice_says_to_whom_it_was_sent"
            ),
        ),
        migrations.AddConstraint(
            model_name="sentnotice",
            constraint=models.CheckConstraint(
                condition=models.Q(("sent_at__lte", models.F("recorded_at"))), name="notice_is_not_sent_in_the_future"
            ),
        ),
        migrations.AddConstraint(
            model_name="sentnotice",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("rule_key", ""), ("rule_version__isnull", True)),
                    models.Q(models.Q(("rule_key", ""), _negated=True), ("rule_version__isnull", False)),
                    _connector="OR",
                ),
                name="notice_names_the_version_of_its_rule",
            ),
        ),
        migrations.AddConstraint(
            model_name="sentnotice",
            constraint=models.UniqueConstraint(
                condition=models.Q(("supersedes__isnull", True)), fields=("job",), name="notice_follows_the_one_before"
            ),
        ),
        migrations.AddIndex(
            model_name="namedsupervisor",
            index=models.Index(fields=["worker"], name="notices_naming_a_worker"),
        ),
        migrations.AddConstraint(
            model_name="namedsupervisor",
            constraint=models.UniqueConstraint(fields=("notice", "worker"), name="notice_names_a_supervisor_once"),
        ),
    ]
