import uuid
from decimal import Decimal

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = []

    operations = [
        migrations.CreateModel(
            name="Person",
            fields=[
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                ("last_login", models.DateTimeField(blank=True, null=True, verbose_name="last login")),
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                (
                    "sign_in_name",
                    models.CharField(max_length=60, unique=True, verbose_name="name to sign in with"),
                ),
                ("name", models.CharField(max_length=120)),
                ("initials", models.CharField(blank=True, max_length=6)),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="e-mail")),
                ("is_active", models.BooleanField(default=True, verbose_name="may sign in")),
                ("added_at", models.DateTimeField(auto_now_add=True)),
            ],
            options={
                "verbose_name_plural": "people",
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("name", ""), _negated=True),
                            models.Q(("sign_in_name", ""), _negated=True),
                        ),
                        name="person_has_a_name",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Device",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("name", models.CharField(max_length=80)),
                ("first_seen_at", models.DateTimeField(auto_now_add=True)),
                ("revoked_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="Event",
            fields=[
                ("seq", models.BigIntegerField(primary_key=True, serialize=False)),
                ("act", models.CharField(db_index=True, max_length=80)),
                ("subject_kind", models.CharField(max_length=60)),
                ("subject_id", models.CharField(max_length=40)),
                ("vehicle_ref", models.CharField(blank=True, max_length=40)),
                ("job_ref", models.CharField(blank=True, max_length=40)),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="events",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "device",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("made_at", models.DateTimeField()),
                ("received_at", models.DateTimeField()),
                ("key", models.UUIDField(db_index=True)),
                ("body", models.TextField()),
                ("previous_hash", models.CharField(max_length=64, unique=True)),
                ("hash", models.CharField(max_length=64, unique=True)),
            ],
            options={
                "ordering": ["seq"],
                "indexes": [
                    models.Index(fields=["vehicle_ref", "seq"], name="event_of_vehicle"),
                    models.Index(fields=["job_ref", "seq"], name="event_of_job"),
                    models.Index(fields=["subject_kind", "subject_id", "seq"], name="event_of_subject"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("seq__gte", 1)), name="event_seq_begins_at_one"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="EventDetail",
            fields=[
                (
                    "event",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="detail",
                        serialize=False,
                        to="workshop.event",
                    ),
                ),
                ("words", models.TextField(blank=True)),
                ("salt", models.CharField(blank=True, max_length=64)),
                ("words_hash", models.CharField(max_length=64)),
                ("erased_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("erased_at", None), models.Q(("salt", ""), ("words", "")), _connector="OR"
                        ),
                        name="erased_detail_holds_no_words",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="LogHead",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("seq", models.BigIntegerField(default=0)),
                (
                    "hash",
                    models.CharField(
                        default="0000000000000000000000000000000000000000000000000000000000000000",
                        max_length=64,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("id", 1)), name="log_has_one_head")
                ],
            },
        ),
        migrations.CreateModel(
            name="Submission",
            fields=[
                ("key", models.UUIDField(primary_key=True, serialize=False)),
                ("act", models.CharField(max_length=80)),
                ("content_hash", models.CharField(max_length=64)),
                ("claim", models.UUIDField()),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("received_at", models.DateTimeField()),
                ("answer_kind", models.CharField(blank=True, max_length=60)),
                ("answer_id", models.CharField(blank=True, max_length=40)),
            ],
        ),
        migrations.CreateModel(
            name="RoleHeld",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="roles_held",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("technician", "Technician"),
                            ("lead", "Lead technician"),
                            ("front_desk", "Front desk"),
                            ("shop_owner", "Shop owner"),
                            ("vehicle_owner", "Vehicle owner"),
                        ],
                        max_length=20,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("person", "role"), name="role_held_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("role__in", ["technician", "lead", "front_desk", "shop_owner", "vehicle_owner"])
                        ),
                        name="role_is_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Competence",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                (
                    "made_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="competences",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("high_voltage", "High voltage"),
                            ("airbags", "Airbags and pretensioners"),
                            ("refrigerant", "Refrigerant"),
                            ("gas_fuel", "Gas fuel"),
                            ("lifting", "Lifting equipment"),
                            ("brake_tester", "Brake tester"),
                        ],
                        max_length=20,
                    ),
                ),
                ("certificate", models.CharField(max_length=120)),
                ("valid_from", models.DateField()),
                ("expires_on", models.DateField(blank=True, null=True)),
            ],
            options={
                "ordering": ["person__name", "kind"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="workshop_competence_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "kind__in",
                                [
                                    "high_voltage",
                                    "airbags",
                                    "refrigerant",
                                    "gas_fuel",
                                    "lifting",
                                    "brake_tester",
                                ],
                            )
                        ),
                        name="competence_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("certificate", ""), _negated=True),
                        name="competence_names_its_certificate",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("expires_on", None), ("expires_on__gte", models.F("valid_from")), _connector="OR"
                        ),
                        name="competence_expires_after_it_begins",
                        violation_error_message="The certificate can't expire before it begins.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SignInTry",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("sign_in_name", models.CharField(max_length=60)),
                ("device_ref", models.CharField(blank=True, max_length=40)),
                ("at", models.DateTimeField()),
            ],
            options={
                "indexes": [
                    models.Index(fields=["sign_in_name", "device_ref", "at"], name="sign_in_try_lookup")
                ],
            },
        ),
        migrations.CreateModel(
            name="Shop",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("name", models.CharField(default="Our workshop", max_length=120)),
                ("address", models.TextField(blank=True)),
                ("phone", models.CharField(blank=True, max_length=40)),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="e-mail")),
                (
                    "currency",
                    models.CharField(default="EUR", help_text="Three letters, ISO 4217.", max_length=3),
                ),
                (
                    "paper",
                    models.CharField(
                        choices=[("A4", "A4"), ("Letter", "Letter")], default="A4", max_length=6
                    ),
                ),
                (
                    "torque_unit",
                    models.CharField(
                        choices=[
                            ("N.m", "N·m"),
                            ("lbf.ft", "lbf·ft"),
                            ("lbf.in", "lbf·in"),
                            ("kgf.m", "kgf·m"),
                        ],
                        default="N.m",
                        max_length=6,
                    ),
                ),
                (
                    "distance_unit",
                    models.CharField(choices=[("km", "km"), ("mi", "mi")], default="km", max_length=2),
                ),
                (
                    "default_tolerance_percent",
                    models.DecimalField(
                        decimal_places=1,
                        default=Decimal("10"),
                        help_text="Percent each way. Shown as the shop's own, never as the maker's.",
                        max_digits=4,
                        verbose_name="tolerance where the maker gives one value only",
                    ),
                ),
                (
                    "decision_rule",
                    models.CharField(
                        choices=[
                            ("guarded", "With the tool's permissible deviation taken off (ISO 14253-1)"),
                            ("plain", "Plain acceptance: the reading alone"),
                        ],
                        default="guarded",
                        max_length=8,
                    ),
                ),
                (
                    "default_limit",
                    models.DecimalField(
                        decimal_places=2,
                        default=Decimal("0"),
                        max_digits=10,
                        verbose_name="up to this much without asking",
                    ),
                ),
                (
                    "recheck_km",
                    models.PositiveIntegerField(
                        default=50,
                        help_text="Where the maker gives none. Makers disagree; 50 to 100 km is common practice, no published source.",
                        verbose_name="wheel nuts checked again after (km)",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("id", 1)), name="there_is_one_shop"),
                    models.CheckConstraint(
                        condition=models.Q(("paper__in", ["A4", "Letter"])), name="shop_paper_is_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("decision_rule__in", ["guarded", "plain"])),
                        name="shop_rule_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("torque_unit__in", ["N.m", "lbf.ft", "lbf.in", "kgf.m"])),
                        name="shop_torque_unit_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("distance_unit__in", ["km", "mi"])),
                        name="shop_distance_unit_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("default_tolerance_percent__gt", 0), ("default_tolerance_percent__lte", 30)
                        ),
                        name="shop_tolerance_is_sane",
                        violation_error_message="Use a tolerance above 0 and up to 30 percent.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("default_limit__gte", 0)), name="shop_limit_is_not_negative"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Counter",
            fields=[
                ("name", models.CharField(max_length=40, primary_key=True, serialize=False)),
                ("last", models.PositiveIntegerField(default=0)),
            ],
        ),
        migrations.CreateModel(
            name="TorqueTool",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                (
                    "made_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("label", models.CharField(max_length=30, unique=True, verbose_name="number on the tool")),
                ("name", models.CharField(max_length=80)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            (
                                "setting",
                                "Torque wrench that clicks or slips at a set value (ISO 6789 type II)",
                            ),
                            ("indicating", "Torque wrench with dial or display (ISO 6789 type I)"),
                            ("angle", "Angle gauge"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "iso_class",
                    models.CharField(
                        blank=True,
                        help_text="Type and class of ISO 6789-1, such as II A. Empty for a gauge.",
                        max_length=6,
                        verbose_name="class",
                    ),
                ),
                ("serial", models.CharField(blank=True, max_length=60, verbose_name="serial number")),
                (
                    "unit",
                    models.CharField(
                        choices=[
                            ("N.m", "N·m"),
                            ("lbf.ft", "lbf·ft"),
                            ("lbf.in", "lbf·in"),
                            ("kgf.m", "kgf·m"),
                        ],
                        default="N.m",
                        max_length=6,
                        verbose_name="unit of its scale",
                    ),
                ),
                (
                    "scale_low",
                    models.DecimalField(
                        blank=True,
                        decimal_places=2,
                        max_digits=8,
                        null=True,
                        verbose_name="lowest marked value",
                    ),
                ),
                (
                    "scale_high",
                    models.DecimalField(
                        blank=True,
                        decimal_places=2,
                        max_digits=8,
                        null=True,
                        verbose_name="highest marked value",
                    ),
                ),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                ("withdrawn_because", models.CharField(blank=True, max_length=200)),
            ],
            options={
                "ordering": ["label"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="workshop_torquetool_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["setting", "indicating", "angle"])),
                        name="tool_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("unit__in", ["N.m", "lbf.ft", "lbf.in", "kgf.m"])),
                        name="tool_unit_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("kind", "angle"),
                            models.Q(
                                ("scale_high__gt", 0),
                                ("scale_high__isnull", False),
                                ("scale_low__gte", 0),
                                ("scale_low__isnull", False),
                                ("scale_low__lt", models.F("scale_high")),
                            ),
                            _connector="OR",
                        ),
                        name="torque_tool_has_a_scale",
                        violation_error_code="field:scale_high",
                        violation_error_message="Give the lowest and the highest value marked on the tool, the lower one first.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("withdrawn_at", None), ("withdrawn_because", "")),
                            models.Q(
                                ("withdrawn_at__isnull", False),
                                models.Q(("withdrawn_because", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="withdrawn_tool_says_why",
                        violation_error_message="Say why the tool was withdrawn.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Calibration",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                (
                    "made_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "tool",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="calibrations",
                        to="workshop.torquetool",
                    ),
                ),
                ("calibrated_on", models.DateField()),
                ("due_on", models.DateField()),
                ("laboratory", models.CharField(max_length=120)),
                ("certificate", models.CharField(max_length=80, verbose_name="certificate number")),
                (
                    "deviation_percent",
                    models.DecimalField(
                        decimal_places=2,
                        help_text="What readings are judged with: the class's permissible deviation by ISO 6789-1, or as certified.",
                        max_digits=4,
                        verbose_name="permissible deviation (percent)",
                    ),
                ),
                (
                    "range_low",
                    models.DecimalField(
                        blank=True, decimal_places=2, max_digits=8, null=True, verbose_name="certified from"
                    ),
                ),
                (
                    "range_high",
                    models.DecimalField(
                        blank=True, decimal_places=2, max_digits=8, null=True, verbose_name="certified to"
                    ),
                ),
                ("passed", models.BooleanField(default=True, verbose_name="as found within its deviation")),
                ("note", models.TextField(blank=True)),
            ],
            options={
                "ordering": ["-calibrated_on"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="workshop_calibration_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(
                        fields=("tool", "certificate"),
                        name="certificate_once_per_tool",
                        violation_error_code="field:certificate",
                        violation_error_message="This certificate is on record for this tool already.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("due_on__gt", models.F("calibrated_on"))),
                        name="calibration_due_after_it_was_made",
                        violation_error_code="field:due_on",
                        violation_error_message="The next calibration is due after this one was made: give a later day.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("deviation_percent__gte", 0), ("deviation_percent__lte", 20)),
                        name="calibration_deviation_is_sane",
                        violation_error_code="field:deviation_percent",
                        violation_error_message="Use a deviation between 0 and 20 percent.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("range_high", None), ("range_low", None)),
                            models.Q(
                                ("range_high__gt", models.F("range_low")),
                                ("range_high__isnull", False),
                                ("range_low__gte", 0),
                                ("range_low__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="calibration_range_is_whole",
                        violation_error_code="field:range_high",
                        violation_error_message="Give both ends of the certified range, the lower one first.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ToolFailure",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                (
                    "made_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "device",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="workshop.device",
                    ),
                ),
                ("key", models.UUIDField(db_index=True, editable=False)),
                (
                    "tool",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="failures",
                        to="workshop.torquetool",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("failed", "Failed its calibration"),
                            ("dropped", "Dropped or damaged"),
                            ("withdrawn", "Withdrawn"),
                        ],
                        max_length=10,
                    ),
                ),
                ("what", models.CharField(max_length=200, verbose_name="what happened")),
                ("since", models.DateField(blank=True, null=True)),
                ("readings_doubted", models.BooleanField(default=True)),
            ],
            options={
                "ordering": ["-made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="workshop_toolfailure_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["failed", "dropped", "withdrawn"])),
                        name="tool_failure_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("what", ""), _negated=True),
                        name="tool_failure_says_what",
                        violation_error_message="Say what happened to the tool.",
                    ),
                ],
            },
        ),
    ]
