import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0007_signed_on_the_screen"),
        ("vehicles", "0005_photos_and_documents"),
        ("workshop", "0005_words_being_erased"),
    ]

    operations = [
        migrations.CreateModel(
            name="DataSheet",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("version", models.PositiveIntegerField(default=1, editable=False)),
                ("name", models.CharField(max_length=120, unique=True, verbose_name="type and variant")),
                ("note", models.TextField(blank=True)),
                (
                    "based_on",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="variants",
                        to="vehicles.datasheet",
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
                (
                    "made_by",
                    models.ForeignKey(
                        editable=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_datasheet_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("name", ""), _negated=True),
                        name="data_sheet_has_a_name",
                        violation_error_code="field:name",
                        violation_error_message="Name the type and variant, such as “1600 GT, 1990 to 1992”.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Figure",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("key_of_item", models.CharField(max_length=60, verbose_name="what it is")),
                ("value", models.DecimalField(blank=True, decimal_places=4, max_digits=14, null=True)),
                ("unit", models.CharField(blank=True, max_length=12)),
                (
                    "base_value",
                    models.DecimalField(
                        blank=True, decimal_places=6, editable=False, max_digits=20, null=True
                    ),
                ),
                (
                    "low",
                    models.DecimalField(
                        blank=True, decimal_places=4, max_digits=14, null=True, verbose_name="lowest"
                    ),
                ),
                (
                    "high",
                    models.DecimalField(
                        blank=True, decimal_places=4, max_digits=14, null=True, verbose_name="highest"
                    ),
                ),
                ("text", models.CharField(blank=True, max_length=40)),
                (
                    "source",
                    models.CharField(
                        choices=[
                            ("maker", "Maker's data or handbook"),
                            ("part_maker", "Part maker's data"),
                            ("marked", "Read off the part or its plate"),
                            ("measured", "Measured here"),
                            ("papers", "Registration papers or weighbridge ticket"),
                            ("owner", "Owner's statement"),
                            ("estimate", "Estimate"),
                        ],
                        max_length=10,
                        verbose_name="where it comes from",
                    ),
                ),
                (
                    "source_words",
                    models.CharField(
                        blank=True,
                        max_length=160,
                        verbose_name="document and place in it, or how it was measured",
                    ),
                ),
                (
                    "confidence",
                    models.CharField(
                        choices=[("confirmed", "Confirmed"), ("likely", "Likely"), ("open", "Open question")],
                        max_length=10,
                        verbose_name="how sure",
                    ),
                ),
                ("because", models.CharField(blank=True, max_length=200, verbose_name="why it is changed")),
                (
                    "withdrawn_because",
                    models.CharField(blank=True, max_length=200, verbose_name="withdrawn, because"),
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
                    "part",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="figures",
                        to="vehicles.fittedpart",
                    ),
                ),
                (
                    "replaces",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replaced_by",
                        to="vehicles.figure",
                    ),
                ),
                (
                    "sheet",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="figures",
                        to="vehicles.datasheet",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="figures",
                        to="vehicles.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_figure_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("part", None), ("sheet__isnull", False), ("vehicle", None)),
                            models.Q(("part", None), ("sheet", None), ("vehicle__isnull", False)),
                            models.Q(("part__isnull", False), ("sheet", None), ("vehicle", None)),
                            _connector="OR",
                        ),
                        name="figure_is_of_one_thing",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("replaces", None)),
                        fields=("sheet", "key_of_item"),
                        name="figure_begins_once_of_a_sheet",
                        violation_error_code="field:key_of_item",
                        violation_error_message="There is a figure for this: change that one, and say why.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("replaces", None)),
                        fields=("vehicle", "key_of_item"),
                        name="figure_begins_once_of_a_vehicle",
                        violation_error_code="field:key_of_item",
                        violation_error_message="There is a figure for this: change that one, and say why.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("replaces", None)),
                        fields=("part", "key_of_item"),
                        name="figure_begins_once_of_a_part",
                        violation_error_code="field:key_of_item",
                        violation_error_message="There is a figure for this: change that one, and say why.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                models.Q(("withdrawn_because", ""), _negated=True),
                                ("base_value", None),
                                ("high", None),
                                ("low", None),
                                ("replaces__isnull", False),
                                ("text", ""),
                                ("unit", ""),
                                ("value", None),
                            ),
                            models.Q(
                                ("withdrawn_because", ""),
                                models.Q(
                                    models.Q(
                                        ("base_value__isnull", False),
                                        ("text", ""),
                                        ("value__isnull", False),
                                        models.Q(("unit", ""), _negated=True),
                                    ),
                                    models.Q(
                                        ("base_value", None),
                                        ("high", None),
                                        ("low", None),
                                        ("unit", ""),
                                        ("value", None),
                                        models.Q(("text", ""), _negated=True),
                                    ),
                                    _connector="OR",
                                ),
                            ),
                            _connector="OR",
                        ),
                        name="figure_has_a_value_with_unit_or_a_text",
                        violation_error_code="field:value",
                        violation_error_message="Give the value with its unit.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("replaces", None),
                            models.Q(("because", ""), _negated=True),
                            models.Q(("withdrawn_because", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="a_changed_figure_says_why",
                        violation_error_code="field:because",
                        violation_error_message="Say why this figure is changed.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("low", None),
                                models.Q(("low__lte", models.F("value")), ("value__isnull", False)),
                                _connector="OR",
                            ),
                            models.Q(
                                ("high", None),
                                models.Q(("high__gte", models.F("value")), ("value__isnull", False)),
                                _connector="OR",
                            ),
                        ),
                        name="figure_lies_in_its_tolerance",
                        violation_error_code="field:low",
                        violation_error_message="The value lies outside its own tolerance: look at the three numbers.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "source__in",
                                ["maker", "part_maker", "marked", "measured", "papers", "owner", "estimate"],
                            )
                        ),
                        name="figure_source_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("confidence__in", ["confirmed", "likely", "open"])),
                        name="figure_confidence_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("confidence", "confirmed"), _negated=True),
                            models.Q(("source__in", ["owner", "estimate"]), _negated=True),
                            _connector="OR",
                        ),
                        name="figure_confirmed_needs_more_than_words",
                        violation_error_code="field:confidence",
                        violation_error_message="An owner's statement or an estimate can't make this confirmed.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SheetOfVehicle",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("made_at", models.DateTimeField(editable=False)),
                ("received_at", models.DateTimeField(editable=False)),
                ("key", models.UUIDField(db_index=True, editable=False)),
                ("because", models.CharField(blank=True, max_length=200, verbose_name="how it is known")),
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
                    "sheet",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="vehicle_records",
                        to="vehicles.datasheet",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sheet_records",
                        to="vehicles.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["-made_at", "-received_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_sheetofvehicle_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    )
                ],
            },
        ),
    ]
