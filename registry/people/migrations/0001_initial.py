import datetime

import django.contrib.auth.models
import django.contrib.auth.validators
import django.contrib.postgres.indexes
import django.db.models.deletion
import django.db.models.expressions
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

import registry.people.fields


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [
        migrations.CreateModel(
            name="Employer",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=200, unique=True)),
                ("jurisdiction", models.CharField(max_length=20)),
                ("responsible_person", models.CharField(blank=True, max_length=200)),
                ("address", models.TextField(blank=True)),
                ("recorded_at", models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name="Account",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                ("last_login", models.DateTimeField(blank=True, null=True, verbose_name="last login")),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                (
                    "username",
                    models.CharField(
                        error_messages={"unique": "A user with that username already exists."},
                        help_text="Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.",
                        max_length=150,
                        unique=True,
                        validators=[django.contrib.auth.validators.UnicodeUsernameValidator()],
                        verbose_name="username",
                    ),
                ),
                ("first_name", models.CharField(blank=True, max_length=150, verbose_name="first name")),
                ("last_name", models.CharField(blank=True, max_length=150, verbose_name="last name")),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="email address")),
                (
                    "is_staff",
                    models.BooleanField(
                        default=False,
                        help_text="Designates whether the user can log into this admin site.",
                        verbose_name="staff status",
                    ),
                ),
                (
                    "is_active",
                    models.BooleanField(
                        default=True,
                        help_text="Designates whether this user should be treated as active. Unselect this instead of deleting accounts.",
                        verbose_name="active",
                    ),
                ),
                ("date_joined", models.DateTimeField(default=django.utils.timezone.now, verbose_name="date joined")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("employer", "employer"),
                            ("inspector", "inspector"),
                            ("worker", "worker"),
                            ("registrar", "registrar"),
                        ],
                        default="registrar",
                        max_length=10,
                    ),
                ),
                ("language", models.CharField(blank=True, max_length=10)),
                (
                    "groups",
                    models.ManyToManyField(
                        blank=True,
                        help_text="The groups this user belongs to. A user will get all permissions granted to each of their groups.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.group",
                        verbose_name="groups",
                    ),
                ),
                (
                    "user_permissions",
                    models.ManyToManyField(
                        blank=True,
                        help_text="Specific permissions for this user.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.permission",
                        verbose_name="user permissions",
                    ),
                ),
                (
                    "employer",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="accounts",
                        to="people.employer",
                    ),
                ),
            ],
            managers=[
                ("objects", django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name="EmploymentCode",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("start", models.DateField()),
                ("code_hash", models.CharField(editable=False, max_length=64, unique=True)),
                ("expires_at", models.DateTimeField()),
                ("recorded_at", models.DateTimeField()),
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
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="EmploymentRequest",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=20)),
                ("start", models.DateField()),
                ("recorded_at", models.DateTimeField()),
                (
                    "employer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="employment_requests",
                        to="people.employer",
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
            name="EmploymentDecline",
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
                    "request",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="decline",
                        to="people.employmentrequest",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Worker",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(editable=False, max_length=20, unique=True)),
                ("given_name", models.CharField(max_length=100)),
                ("family_name", models.CharField(max_length=100)),
                ("name_key", models.CharField(db_index=True, editable=False, max_length=250)),
                ("date_of_birth", models.DateField(blank=True, null=True)),
                ("lookalike_keys", registry.people.fields.LookalikeKeys(size=None)),
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
            name="PossibleTwin",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "names",
                    models.CharField(
                        choices=[("same_name", "same name"), ("initials", "initials"), ("one_letter", "one letter")],
                        max_length=12,
                    ),
                ),
                (
                    "dates",
                    models.CharField(
                        choices=[
                            ("same_day", "same day"),
                            ("no_day", "no day"),
                            ("day_off", "day off"),
                            ("month_off", "month off"),
                            ("year_off", "year off"),
                            ("swapped", "swapped"),
                        ],
                        max_length=12,
                    ),
                ),
                ("told_apart", models.BooleanField()),
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
                (
                    "other",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="looked_like_by", to="people.worker"
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="looks_like", to="people.worker"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="LanguageSkill",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                ("language", models.CharField(max_length=35)),
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
                        to="people.languageskill",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="languages", to="people.worker"
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Invitation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("token_hash", models.CharField(editable=False, max_length=64, unique=True)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("employer", "employer"),
                            ("inspector", "inspector"),
                            ("worker", "worker"),
                            ("registrar", "registrar"),
                        ],
                        max_length=10,
                    ),
                ),
                (
                    "way",
                    models.CharField(
                        choices=[("mail", "mail"), ("paper", "paper"), ("printed", "printed")], max_length=10
                    ),
                ),
                ("address", models.EmailField(blank=True, max_length=254)),
                ("invited_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("accepted_at", models.DateTimeField(blank=True, null=True)),
                (
                    "account",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
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
                    "invited_by",
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
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="people.worker",
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="employmentrequest",
            name="worker",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="employment_requests",
                to="people.worker",
            ),
        ),
        migrations.CreateModel(
            name="EmploymentConsent",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "how",
                    models.CharField(
                        choices=[("own_account", "own account"), ("code", "code"), ("registrar", "registrar")],
                        max_length=12,
                    ),
                ),
                ("start", models.DateField()),
                ("code_typed", models.CharField(blank=True, max_length=40)),
                ("reason", models.TextField(blank=True)),
                ("recorded_at", models.DateTimeField()),
                (
                    "code",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="consent",
                        to="people.employmentcode",
                    ),
                ),
                (
                    "employer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="employment_consents",
                        to="people.employer",
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "request",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="consent",
                        to="people.employmentrequest",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="employment_consents",
                        to="people.worker",
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="employmentcode",
            name="worker",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="employment_codes", to="people.worker"
            ),
        ),
        migrations.CreateModel(
            name="Employment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("recorded_at", models.DateTimeField()),
                ("withdrawn", models.BooleanField(default=False)),
                ("start", models.DateField()),
                ("end", models.DateField(blank=True, null=True)),
                (
                    "employer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="employments", to="people.employer"
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
                        to="people.employment",
                    ),
                ),
                (
                    "consent",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="employments",
                        to="people.employmentconsent",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="employments", to="people.worker"
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.AddField(
            model_name="account",
            name="worker",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="accounts",
                to="people.worker",
            ),
        ),
        migrations.CreateModel(
            name="AccountEvent",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "what",
                    models.CharField(
                        choices=[
                            ("opened", "opened"),
                            ("second_factor_added", "second factor added"),
                            ("second_factor_removed", "second factor removed"),
                            ("password_changed", "password changed"),
                            ("address_changed", "address changed"),
                        ],
                        max_length=30,
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                (
                    "account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="events", to=settings.AUTH_USER_MODEL
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
                "indexes": [models.Index(fields=["account", "recorded_at"], name="events_of_an_account")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "what__in",
                                [
                                    "opened",
                                    "second_factor_added",
                                    "second_factor_removed",
                                    "password_changed",
                                    "address_changed",
                                ],
                            )
                        ),
                        name="account_event_is_of_a_known_kind",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="ClosedAccount",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("reason", models.TextField()),
                ("recorded_at", models.DateTimeField()),
                (
                    "account",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="closing", to=settings.AUTH_USER_MODEL
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
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True), name="closing_an_account_gives_its_reason"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="IdentityCheck",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("looked_at", models.CharField(max_length=200)),
                ("recorded_at", models.DateTimeField()),
                (
                    "account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="identity_checks",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("looked_at", ""), _negated=True),
                        name="an_identity_check_says_what_was_looked_at",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="SettledTwin",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "found",
                    models.CharField(
                        choices=[("two_people", "two people"), ("one_person", "one person")], max_length=12
                    ),
                ),
                ("reason", models.TextField()),
                ("recorded_at", models.DateTimeField()),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "twin",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="settled", to="people.possibletwin"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("found__in", ["two_people", "one_person"])),
                        name="a_settled_twin_is_two_people_or_one",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True), name="settling_a_twin_gives_its_reason"
                    ),
                ],
            },
        ),
        migrations.AddIndex(
            model_name="worker",
            index=django.contrib.postgres.indexes.GinIndex(fields=["lookalike_keys"], name="workers_by_lookalike_key"),
        ),
        migrations.AddIndex(
            model_name="worker",
            index=models.Index(fields=["family_name", "given_name"], name="worker_by_name"),
        ),
        migrations.AddIndex(
            model_name="worker",
            index=models.Index(models.Func(models.F("family_name"), function="lower"), name="worker_by_lower_name"),
        ),
        migrations.AddConstraint(
            model_name="worker",
            constraint=models.CheckConstraint(
                condition=models.Q(("date_of_birth__range", (datetime.date(1900, 1, 1), datetime.date(2199, 12, 31)))),
                name="date_of_birth_is_in_a_year_people_enter",
            ),
        ),
        migrations.AddConstraint(
            model_name="worker",
            constraint=models.CheckConstraint(
                condition=models.Q(("lookalike_keys__len__gt", 0), ("name_key", ""), _connector="OR"),
                name="a_worker_is_found_by_how_the_name_looks",
            ),
        ),
        migrations.AddIndex(
            model_name="possibletwin",
            index=models.Index(fields=["-recorded_at", "-id"], name="latest_possible_twins"),
        ),
        migrations.AddConstraint(
            model_name="possibletwin",
            constraint=models.UniqueConstraint(fields=("worker", "other"), name="two_possible_twins_are_noted_once"),
        ),
        migrations.AddConstraint(
            model_name="possibletwin",
            constraint=models.CheckConstraint(
                condition=models.Q(("worker", models.F("other")), _negated=True), name="nobody_is_their_own_twin"
            ),
        ),
        migrations.AddConstraint(
            model_name="languageskill",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="languageskill_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="languageskill",
            constraint=models.CheckConstraint(
                condition=models.Q(("language__regex", "^[a-z]{2,3}(-[A-Za-z0-9]{1,8})*$")),
                name="language_is_a_bcp_47_tag",
            ),
        ),
        migrations.AddConstraint(
            model_name="invitation",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("employer__isnull", False), ("kind", "employer"), ("worker__isnull", True)),
                    models.Q(("employer__isnull", True), ("kind", "worker"), ("worker__isnull", False)),
                    models.Q(
                        ("employer__isnull", True), ("kind__in", ["inspector", "registrar"]), ("worker__isnull", True)
                    ),
                    _connector="OR",
                ),
                name="invitation_kind_fits_what_it_is_for",
            ),
        ),
        migrations.AddConstraint(
            model_name="invitation",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("invited_by__isnull", False), ("way", "mail"), models.Q(("address", ""), _negated=True)),
                    models.Q(("address", ""), ("invited_by__isnull", False), ("way", "paper")),
                    models.Q(("address", ""), ("way", "printed")),
                    _connector="OR",
                ),
                name="an_invitation_says_which_way_it_goes",
            ),
        ),
        migrations.AddConstraint(
            model_name="invitation",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("expires_at__gt", models.F("invited_at")),
                    (
                        "expires_at__lte",
                        django.db.models.expressions.CombinedExpression(
                            models.F("invited_at"), "+", models.Value(datetime.timedelta(days=30))
                        ),
                    ),
                ),
                name="invitation_lasts_at_most_30_days",
            ),
        ),
        migrations.AddConstraint(
            model_name="invitation",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("accepted_at__isnull", True), ("account__isnull", True)),
                    models.Q(("accepted_at__gte", models.F("invited_at")), ("account__isnull", False)),
                    _connector="OR",
                ),
                name="an_accepted_invitation_names_its_account",
            ),
        ),
        migrations.AddConstraint(
            model_name="invitation",
            constraint=models.CheckConstraint(
                condition=models.Q(("token_hash__regex", "^[0-9a-f]{64}$")),
                name="invitation_keeps_only_the_tokens_sha256",
            ),
        ),
        migrations.AddConstraint(
            model_name="employmentrequest",
            constraint=models.CheckConstraint(
                condition=models.Q(("start__range", (datetime.date(1900, 1, 1), datetime.date(2199, 12, 31)))),
                name="employment_request_is_for_a_year_people_enter",
            ),
        ),
        migrations.AddConstraint(
            model_name="employmentconsent",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("code__isnull", True), ("how", "own_account"), ("request__isnull", False)),
                    models.Q(("code__isnull", False), ("how", "code"), ("request__isnull", True)),
                    models.Q(
                        ("code__isnull", True),
                        ("how", "registrar"),
                        ("request__isnull", True),
                        models.Q(("reason", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="consent_says_how_it_was_given",
            ),
        ),
        migrations.AddConstraint(
            model_name="employmentcode",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("expires_at__gt", models.F("recorded_at")),
                    (
                        "expires_at__lte",
                        django.db.models.expressions.CombinedExpression(
                            models.F("recorded_at"), "+", models.Value(datetime.timedelta(days=7))
                        ),
                    ),
                ),
                name="employment_code_lasts_at_most_7_days",
            ),
        ),
        migrations.AddConstraint(
            model_name="employmentcode",
            constraint=models.CheckConstraint(
                condition=models.Q(("code_hash__regex", "^[0-9a-f]{64}$")), name="employment_code_keeps_only_its_sha256"
            ),
        ),
        migrations.AddIndex(
            model_name="employment",
            index=models.Index(fields=["employer", "worker"], name="employment_by_employer"),
        ),
        migrations.AddIndex(
            model_name="employment",
            index=models.Index(condition=models.Q(("end__isnull", False)), fields=["end"], name="employments_that_end"),
        ),
        migrations.AddConstraint(
            model_name="employment",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="employment_withdrawal_supersedes_a_record",
            ),
        ),
        migrations.AddConstraint(
            model_name="employment",
            constraint=models.CheckConstraint(
                condition=models.Q(("end__isnull", True), ("end__gte", models.F("start")), _connector="OR"),
                name="employment_does_not_end_before_it_starts",
            ),
        ),
        migrations.AddConstraint(
            model_name="employment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("withdrawn", True),
                    ("start__range", (datetime.date(1900, 1, 1), datetime.date(2199, 12, 31))),
                    _connector="OR",
                ),
                name="employment_starts_in_a_year_people_enter",
            ),
        ),
        migrations.AddConstraint(
            model_name="employment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("withdrawn", True),
                    ("end__range", (datetime.date(1900, 1, 1), datetime.date(2199, 12, 31))),
                    _connector="OR",
                ),
                name="employment_ends_in_a_year_people_enter",
            ),
        ),
        migrations.AddConstraint(
            model_name="account",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("employer__isnull", False), ("kind", "employer"), ("worker__isnull", True)),
                    models.Q(("employer__isnull", True), ("kind", "worker"), ("worker__isnull", False)),
                    models.Q(
                        ("employer__isnull", True), ("kind__in", ["inspector", "registrar"]), ("worker__isnull", True)
                    ),
                    _connector="OR",
                ),
                name="account_kind_fits_what_it_is_for",
            ),
        ),
        migrations.AddConstraint(
            model_name="account",
            constraint=models.UniqueConstraint(
                condition=models.Q(("is_active", True)), fields=("worker",), name="a_worker_has_one_open_account"
            ),
        ),
    ]
