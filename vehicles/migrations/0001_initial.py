import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("workshop", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Place",
            fields=[
                ("slug", models.SlugField(primary_key=True, serialize=False)),
                (
                    "zone",
                    models.CharField(
                        choices=[
                            ("identity", "Identity and papers"),
                            ("front", "Front and bonnet"),
                            ("engine", "Engine"),
                            ("induction", "Air, fuel and exhaust"),
                            ("cooling", "Cooling and climate"),
                            ("electrical", "Electrical"),
                            ("transmission", "Transmission"),
                            ("front_axle", "Front axle and steering"),
                            ("rear_axle", "Rear axle"),
                            ("brakes", "Brakes"),
                            ("wheels", "Wheels and tyres"),
                            ("body", "Body and glass"),
                            ("cabin", "Cabin and restraints"),
                            ("underside", "Underside"),
                            ("rear", "Rear and towing"),
                            ("conversion", "Conversion and load"),
                        ],
                        max_length=14,
                    ),
                ),
                ("name", models.CharField(max_length=80)),
                ("order", models.PositiveSmallIntegerField(default=0)),
                (
                    "positions",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("", "One on the car"),
                            ("axle", "Front and rear"),
                            ("side", "Left and right"),
                            ("corner", "Four corners"),
                            ("wheel", "Four corners, and inner wheels where they are twins"),
                        ],
                        max_length=6,
                        verbose_name="how many there are",
                    ),
                ),
                (
                    "consumable",
                    models.BooleanField(
                        default=False, help_text="Old parts are disposed of unless the owner wants them."
                    ),
                ),
                ("safety", models.BooleanField(default=False, verbose_name="brakes, steering or restraint")),
                ("added_by_shop", models.BooleanField(default=False)),
            ],
            options={
                "ordering": ["order", "name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "zone__in",
                                [
                                    "identity",
                                    "front",
                                    "engine",
                                    "induction",
                                    "cooling",
                                    "electrical",
                                    "transmission",
                                    "front_axle",
                                    "rear_axle",
                                    "brakes",
                                    "wheels",
                                    "body",
                                    "cabin",
                                    "underside",
                                    "rear",
                                    "conversion",
                                ],
                            )
                        ),
                        name="place_zone_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("positions__in", ["", "axle", "side", "corner", "wheel"])),
                        name="place_positions_are_known",
                    ),
                    models.UniqueConstraint(
                        fields=("zone", "name"),
                        name="place_named_once_per_zone",
                        violation_error_code="field:name",
                        violation_error_message="This zone has a place of that name.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Vehicle",
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
                ("number", models.CharField(blank=True, max_length=30, verbose_name="VIN or chassis number")),
                (
                    "number_unknown_because",
                    models.CharField(blank=True, max_length=200, verbose_name="no number, because"),
                ),
                (
                    "as_stamped",
                    models.BooleanField(
                        default=False,
                        help_text="Tick when the number was questioned and you have seen that the car bears it exactly so.",
                        verbose_name="the car bears the number so",
                    ),
                ),
                ("number_questions", models.TextField(blank=True, editable=False)),
                ("identity_key", models.CharField(editable=False, max_length=110, null=True, unique=True)),
                ("make", models.CharField(max_length=60)),
                ("model", models.CharField(max_length=80)),
                ("variant", models.CharField(blank=True, max_length=120)),
                ("year", models.PositiveSmallIntegerField(verbose_name="model year")),
                ("engine_number", models.CharField(blank=True, max_length=40)),
                ("colour", models.CharField(blank=True, max_length=60)),
                ("body", models.CharField(blank=True, max_length=80)),
                (
                    "high_voltage",
                    models.BooleanField(default=False, verbose_name="has a high-voltage system"),
                ),
                ("notes", models.TextField(blank=True)),
                ("search_text", models.TextField(blank=True, editable=False)),
            ],
            options={
                "ordering": ["make", "model", "year"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_vehicle_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                models.Q(("number", ""), _negated=True),
                                ("identity_key__isnull", False),
                                ("number_unknown_because", ""),
                            ),
                            models.Q(
                                ("identity_key", None),
                                ("number", ""),
                                models.Q(("number_unknown_because", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="vehicle_has_a_number_or_says_why_not",
                        violation_error_code="field:number",
                        violation_error_message="Give the VIN or chassis number, or say why there is none: one of the two.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("year__gte", 1885), ("year__lte", 2100)),
                        name="vehicle_year_is_plausible",
                        violation_error_code="field:year",
                        violation_error_message="Give a model year from 1885 to 2100.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("number_questions", ""), ("as_stamped", True), _connector="OR"),
                        name="questioned_number_is_as_stamped",
                        violation_error_code="field:as_stamped",
                        violation_error_message="This number was questioned: confirm that the car bears it so.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="FittedPart",
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
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="parts",
                        to="vehicles.vehicle",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="parts", to="vehicles.place"
                    ),
                ),
                (
                    "position",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("front_left", "front left"),
                            ("front_right", "front right"),
                            ("rear_left", "rear left"),
                            ("rear_right", "rear right"),
                            ("front", "front"),
                            ("rear", "rear"),
                            ("left", "left"),
                            ("right", "right"),
                            ("inner_left", "inner left"),
                            ("inner_right", "inner right"),
                        ],
                        max_length=12,
                    ),
                ),
                ("description", models.CharField(max_length=200, verbose_name="what it is")),
                (
                    "part_number",
                    models.CharField(blank=True, max_length=60, verbose_name="part number or casting mark"),
                ),
                (
                    "provenance",
                    models.CharField(
                        choices=[
                            ("factory_standard", "Factory standard"),
                            ("factory_option", "Factory option"),
                            ("accessory", "Dealer- or importer-fitted accessory"),
                            ("aftermarket", "Aftermarket"),
                            ("other_model", "Taken from another model"),
                            ("one_off", "Made in a workshop (one-off)"),
                            ("unknown", "Unknown"),
                        ],
                        max_length=18,
                        verbose_name="where it comes from",
                    ),
                ),
                ("best_evidence", models.CharField(blank=True, editable=False, max_length=20)),
                (
                    "confidence",
                    models.CharField(
                        choices=[("confirmed", "Confirmed"), ("likely", "Likely"), ("open", "Open question")],
                        default="open",
                        max_length=10,
                        verbose_name="how sure",
                    ),
                ),
                (
                    "supply_quality",
                    models.CharField(
                        choices=[
                            ("original", "Maker's original part"),
                            ("matching", "Part of matching quality"),
                            ("reconditioned", "Reconditioned"),
                            ("used", "Used"),
                            ("not_known", "Not known"),
                        ],
                        default="not_known",
                        max_length=14,
                        verbose_name="quality of supply",
                    ),
                ),
                (
                    "supplied_by",
                    models.CharField(
                        choices=[
                            ("shop", "The shop"),
                            ("owner", "The owner (no parts warranty)"),
                            ("earlier", "Fitted before the car came here"),
                        ],
                        default="earlier",
                        max_length=8,
                    ),
                ),
                (
                    "specification_known",
                    models.BooleanField(default=False, verbose_name="its specification is known"),
                ),
                (
                    "condition",
                    models.CharField(
                        choices=[
                            ("good", "Good"),
                            ("worn", "Worn, within limits"),
                            ("defective", "Defective"),
                            ("not_examined", "Not examined"),
                        ],
                        default="not_examined",
                        max_length=12,
                    ),
                ),
                ("condition_note", models.CharField(blank=True, max_length=200)),
                (
                    "factory_fits",
                    models.CharField(blank=True, max_length=200, verbose_name="what the factory fits there"),
                ),
                ("follows", models.TextField(blank=True, verbose_name="what follows from the difference")),
                (
                    "fitted_at",
                    models.DateTimeField(
                        blank=True, help_text="Empty: not known when.", null=True, verbose_name="fitted"
                    ),
                ),
                ("on_trial", models.BooleanField(default=False, verbose_name="known-good part on trial")),
                (
                    "replaces",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replaced_by",
                        to="vehicles.fittedpart",
                    ),
                ),
                (
                    "earlier_record",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="later_record",
                        to="vehicles.fittedpart",
                    ),
                ),
                ("removed_at", models.DateTimeField(blank=True, null=True)),
                (
                    "whereabouts",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("returned", "Returned to the owner"),
                            ("scrapped", "Scrapped"),
                            ("core", "Returned as a core"),
                            ("kept", "Kept by the shop"),
                            ("warranty", "Held for a warranty claim"),
                            ("evidence", "Held as evidence"),
                            ("elsewhere", "Out for work elsewhere"),
                            ("hazardous", "Hazardous waste"),
                            ("on_the_car", "Fitted again in another place on the car"),
                        ],
                        max_length=12,
                        verbose_name="where it went",
                    ),
                ),
                ("whereabouts_note", models.CharField(blank=True, max_length=200)),
                (
                    "entered_in_error",
                    models.CharField(blank=True, max_length=200, verbose_name="entered in error, because"),
                ),
            ],
            options={
                "ordering": ["place__order", "position", "-made_at"],
                "abstract": False,
                "indexes": [models.Index(fields=["vehicle", "place", "removed_at"], name="part_in_a_place")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_fittedpart_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("entered_in_error", ""), ("removed_at", None)),
                        fields=("vehicle", "place", "position"),
                        name="one_part_in_a_place",
                        violation_error_code="field:place",
                        violation_error_message="There is a part in this place. Fit the new one in its stead, so that the old one is ended in the same act.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("confidence", "confirmed"), _negated=True),
                            models.Q(
                                ("best_evidence__in", ["", "owner_statement", "judgement"]), _negated=True
                            ),
                            _connector="OR",
                        ),
                        name="confirmed_needs_evidence",
                        violation_error_code="field:confidence",
                        violation_error_message="Without evidence this can't be confirmed. An owner's statement or a technician's judgement alone makes it likely.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("confidence", "likely"), _negated=True),
                            models.Q(("best_evidence", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="likely_needs_evidence",
                        violation_error_code="field:confidence",
                        violation_error_message="Without any evidence this is an open question.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("provenance", "unknown"), _negated=True),
                            ("confidence", "open"),
                            _connector="OR",
                        ),
                        name="unknown_provenance_is_an_open_question",
                        violation_error_code="field:confidence",
                        violation_error_message="As long as it is unknown where the part comes from, this is an open question.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("removed_at", None),
                            ("fitted_at", None),
                            ("removed_at__gte", models.F("fitted_at")),
                            _connector="OR",
                        ),
                        name="part_removed_after_it_was_fitted",
                        violation_error_code="field:removed_at",
                        violation_error_message="A part can't come off before it was fitted.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "position__in",
                                [
                                    "front_left",
                                    "front_right",
                                    "rear_left",
                                    "rear_right",
                                    "front",
                                    "rear",
                                    "left",
                                    "right",
                                    "inner_left",
                                    "inner_right",
                                    "",
                                ],
                            )
                        ),
                        name="position_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "provenance__in",
                                [
                                    "factory_standard",
                                    "factory_option",
                                    "accessory",
                                    "aftermarket",
                                    "other_model",
                                    "one_off",
                                    "unknown",
                                ],
                            )
                        ),
                        name="provenance_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("confidence__in", ["confirmed", "likely", "open"])),
                        name="confidence_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "supply_quality__in",
                                ["original", "matching", "reconditioned", "used", "not_known"],
                            )
                        ),
                        name="supply_quality_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("supplied_by__in", ["shop", "owner", "earlier"])),
                        name="supplied_by_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("condition__in", ["good", "worn", "defective", "not_examined"])),
                        name="condition_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "whereabouts__in",
                                [
                                    "returned",
                                    "scrapped",
                                    "core",
                                    "kept",
                                    "warranty",
                                    "evidence",
                                    "elsewhere",
                                    "hazardous",
                                    "on_the_car",
                                    "",
                                ],
                            )
                        ),
                        name="whereabouts_is_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Evidence",
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
                    "part",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="evidence",
                        to="vehicles.fittedpart",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("part_number", "Part number or casting mark read off the part"),
                            ("build_record", "Build record or option code"),
                            ("maker", "Maker's or supplier's confirmation"),
                            ("comparison", "Comparison with a known original"),
                            ("invoice", "Invoice or receipt"),
                            ("owner_statement", "Owner's statement"),
                            ("judgement", "Technician's judgement"),
                        ],
                        max_length=20,
                    ),
                ),
                ("what", models.CharField(max_length=300, verbose_name="what was seen or said")),
            ],
            options={
                "verbose_name_plural": "evidence",
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_evidence_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "kind__in",
                                [
                                    "part_number",
                                    "build_record",
                                    "maker",
                                    "comparison",
                                    "invoice",
                                    "owner_statement",
                                    "judgement",
                                ],
                            )
                        ),
                        name="evidence_kind_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("what", ""), _negated=True),
                        name="evidence_says_what",
                        violation_error_message="Say what was read, seen or said.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="RootCause",
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
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="root_causes",
                        to="vehicles.vehicle",
                    ),
                ),
                ("description", models.CharField(max_length=300, verbose_name="cause")),
            ],
            options={
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_rootcause_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("description", ""), _negated=True), name="root_cause_says_what"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Keeper",
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
                ("name", models.CharField(max_length=120)),
                ("address", models.TextField(blank=True)),
                ("phone", models.CharField(blank=True, max_length=40)),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="e-mail")),
                (
                    "account",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="keeper",
                        to=settings.AUTH_USER_MODEL,
                        verbose_name="signs in as",
                    ),
                ),
                ("erased_at", models.DateTimeField(blank=True, editable=False, null=True)),
                ("search_text", models.TextField(blank=True, editable=False)),
            ],
            options={
                "ordering": ["name"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_keeper_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("name", ""), _negated=True), name="keeper_has_a_name"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("erased_at", None),
                            models.Q(("address", ""), ("email", ""), ("phone", ""), ("search_text", "")),
                            _connector="OR",
                        ),
                        name="erased_keeper_holds_nothing",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Instrument",
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
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="instruments",
                        to="vehicles.vehicle",
                    ),
                ),
                ("order", models.PositiveSmallIntegerField(default=1)),
                ("unit", models.CharField(choices=[("km", "km"), ("mi", "mi")], max_length=2)),
                (
                    "first",
                    models.DecimalField(
                        blank=True,
                        decimal_places=1,
                        max_digits=9,
                        null=True,
                        verbose_name="reading when fitted",
                    ),
                ),
                (
                    "last",
                    models.DecimalField(
                        blank=True,
                        decimal_places=1,
                        max_digits=9,
                        null=True,
                        verbose_name="reading when removed",
                    ),
                ),
                ("fitted_on", models.DateField(blank=True, null=True)),
                ("removed_on", models.DateField(blank=True, null=True)),
                (
                    "replaced_because",
                    models.CharField(blank=True, max_length=200, verbose_name="why it was replaced"),
                ),
                (
                    "estimate_note",
                    models.CharField(blank=True, max_length=200, verbose_name="how a figure was estimated"),
                ),
                (
                    "notice",
                    models.CharField(
                        blank=True, max_length=200, verbose_name="notice left in the car, where"
                    ),
                ),
            ],
            options={
                "ordering": ["vehicle", "order"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_instrument_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(fields=("vehicle", "order"), name="instruments_are_in_order"),
                    models.UniqueConstraint(
                        condition=models.Q(("removed_on", None)),
                        fields=("vehicle",),
                        name="one_instrument_in_the_car",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("unit__in", ["km", "mi"])), name="instrument_unit_is_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("first", None), ("first__gte", 0), _connector="OR"),
                            models.Q(("last", None), ("last__gte", 0), _connector="OR"),
                            models.Q(
                                ("first", None),
                                ("last", None),
                                ("last__gte", models.F("first")),
                                _connector="OR",
                            ),
                        ),
                        name="instrument_counts_up",
                        violation_error_code="field:old_last",
                        violation_error_message="The last reading can't be below the first one of the same instrument.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("removed_on__isnull", False), ("last", None), _connector="OR"),
                        name="last_reading_is_of_a_removed_instrument",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="OdometerReading",
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
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="odometer_readings",
                        to="vehicles.vehicle",
                    ),
                ),
                (
                    "instrument",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="vehicles.instrument",
                    ),
                ),
                ("read_at", models.DateTimeField()),
                ("value", models.DecimalField(blank=True, decimal_places=1, max_digits=9, null=True)),
                (
                    "not_readable_because",
                    models.CharField(blank=True, max_length=200, verbose_name="not readable, because"),
                ),
                (
                    "lower_because",
                    models.CharField(blank=True, max_length=200, verbose_name="lower than before, because"),
                ),
                (
                    "falsified_by",
                    models.CharField(
                        blank=True, max_length=200, verbose_name="distance is not true, because"
                    ),
                ),
                (
                    "misread_because",
                    models.CharField(
                        blank=True, max_length=200, verbose_name="set aside as misread, because"
                    ),
                ),
            ],
            options={
                "ordering": ["-read_at", "-made_at"],
                "abstract": False,
                "indexes": [models.Index(fields=["vehicle", "read_at"], name="odometer_of_vehicle")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_odometerreading_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("not_readable_because", ""), ("value__gte", 0), ("value__isnull", False)
                            ),
                            models.Q(("value", None), models.Q(("not_readable_because", ""), _negated=True)),
                            _connector="OR",
                        ),
                        name="odometer_read_or_says_why_not",
                        violation_error_code="field:amount",
                        violation_error_message="Give the reading, or say why the odometer is not readable: one of the two.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("value", None), ("value__lte", 3000000), _connector="OR"),
                        name="odometer_reading_is_plausible",
                        violation_error_code="field:amount",
                        violation_error_message="An odometer can't show more than 3000000 km.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="OutstandingItem",
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
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="outstanding_items",
                        to="vehicles.vehicle",
                    ),
                ),
                (
                    "order",
                    models.PositiveIntegerField(editable=False, verbose_name="number of the car's items"),
                ),
                ("title", models.CharField(max_length=160, verbose_name="what is outstanding")),
                (
                    "detail",
                    models.TextField(blank=True, verbose_name="what it means and what should be done"),
                ),
                (
                    "severity",
                    models.CharField(
                        choices=[
                            ("dangerous", "Dangerous"),
                            ("major", "Major"),
                            ("minor", "Minor"),
                            ("advice", "Advice"),
                        ],
                        max_length=10,
                    ),
                ),
                (
                    "reason",
                    models.CharField(
                        choices=[
                            ("declined", "Declined by the owner"),
                            ("deferred", "Deferred by the owner"),
                            ("parts", "Parts awaited"),
                            ("beyond", "Beyond this job"),
                            ("recheck", "Re-check due"),
                        ],
                        max_length=10,
                        verbose_name="why it is outstanding",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.place",
                    ),
                ),
                ("raised_on", models.DateField(editable=False)),
                ("due_on", models.DateField(blank=True, null=True, verbose_name="due by")),
                (
                    "due_km",
                    models.DecimalField(
                        blank=True,
                        decimal_places=6,
                        max_digits=13,
                        null=True,
                        verbose_name="due after a distance of",
                    ),
                ),
                ("due_km_unit", models.CharField(blank=True, max_length=2)),
                (
                    "from_reading",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.odometerreading",
                    ),
                ),
                (
                    "due_hours",
                    models.DecimalField(
                        blank=True,
                        decimal_places=1,
                        max_digits=7,
                        null=True,
                        verbose_name="due after running hours",
                    ),
                ),
                (
                    "due_runs",
                    models.PositiveIntegerField(blank=True, null=True, verbose_name="due after runs"),
                ),
                (
                    "end",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("line", "Done by a work line"),
                            ("finding", "Settled by a later finding"),
                            ("left", "Left so at the owner's wish"),
                        ],
                        max_length=8,
                    ),
                ),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                (
                    "ended_finding",
                    models.CharField(blank=True, max_length=300, verbose_name="what was found"),
                ),
                (
                    "left_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.keeper",
                    ),
                ),
                ("left_words", models.CharField(blank=True, max_length=300, verbose_name="in their words")),
            ],
            options={
                "ordering": ["vehicle", "order"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_outstandingitem_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(fields=("vehicle", "order"), name="items_are_numbered_per_car"),
                    models.CheckConstraint(
                        condition=models.Q(("severity__in", ["dangerous", "major", "minor", "advice"])),
                        name="item_severity_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("reason__in", ["declined", "deferred", "parts", "beyond", "recheck"])
                        ),
                        name="item_reason_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("title", ""), _negated=True),
                        name="item_says_what",
                        violation_error_code="field:title",
                        violation_error_message="Say what is outstanding.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("due_on", None), ("due_on__gte", models.F("raised_on")), _connector="OR"
                        ),
                        name="item_is_due_after_it_was_made",
                        violation_error_code="field:due_on",
                        violation_error_message="An item can't be due before the day it was made.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("due_hours", None), ("due_hours__gt", 0), _connector="OR"),
                            models.Q(("due_runs", None), ("due_runs__gt", 0), _connector="OR"),
                        ),
                        name="item_due_hours_and_runs_are_above_0",
                        violation_error_message="Hours and runs until an item is due are above 0.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("due_km", None), ("due_km_unit", "")),
                            models.Q(
                                ("due_km__gt", 0),
                                ("due_km__isnull", False),
                                models.Q(("due_km_unit", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="item_due_distance_has_a_unit",
                        violation_error_code="field:due_distance",
                        violation_error_message="A due distance needs a figure above 0 and its unit.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("reason", "recheck"), _negated=True),
                            ("due_on__isnull", False),
                            ("due_km__isnull", False),
                            ("due_hours__isnull", False),
                            ("due_runs__isnull", False),
                            _connector="OR",
                        ),
                        name="recheck_says_when",
                        violation_error_code="field:due_on",
                        violation_error_message="A re-check needs a date, a distance, hours or runs by which it is due.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Fault",
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
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="faults",
                        to="vehicles.vehicle",
                    ),
                ),
                (
                    "order",
                    models.PositiveIntegerField(editable=False, verbose_name="number of the car's faults"),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("complaint", "Complaint of the owner or driver"),
                            ("finding", "Found in the workshop"),
                        ],
                        max_length=10,
                    ),
                ),
                ("title", models.CharField(max_length=120, verbose_name="in short")),
                ("words", models.TextField(blank=True, verbose_name="in their own words")),
                (
                    "reported_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="faults_reported",
                        to="vehicles.keeper",
                    ),
                ),
                (
                    "conditions",
                    models.CharField(
                        blank=True,
                        help_text="Cold, wet, above a speed, after a while…",
                        max_length=300,
                        verbose_name="when it shows",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="vehicles.place",
                    ),
                ),
                (
                    "position",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("front_left", "front left"),
                            ("front_right", "front right"),
                            ("rear_left", "rear left"),
                            ("rear_right", "rear right"),
                            ("front", "front"),
                            ("rear", "rear"),
                            ("left", "left"),
                            ("right", "right"),
                            ("inner_left", "inner left"),
                            ("inner_right", "inner right"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "severity",
                    models.CharField(
                        choices=[
                            ("dangerous", "Dangerous"),
                            ("major", "Major"),
                            ("minor", "Minor"),
                            ("advice", "Advice"),
                        ],
                        max_length=10,
                    ),
                ),
                (
                    "reproduced",
                    models.CharField(
                        choices=[
                            ("not_tried", "Not tried yet"),
                            ("yes", "Reproduced"),
                            ("sometimes", "Comes and goes"),
                            ("no", "Not reproduced"),
                        ],
                        default="not_tried",
                        max_length=10,
                    ),
                ),
                (
                    "root_cause",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="faults",
                        to="vehicles.rootcause",
                    ),
                ),
                (
                    "end",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("fixed", "Fixed"),
                            ("no_fault_found", "No fault found"),
                            ("outstanding", "Outstanding"),
                            ("normal", "Normal for this car"),
                            ("same_as", "Same as another fault"),
                            ("error", "Entered in error"),
                        ],
                        max_length=14,
                        verbose_name="how it ended",
                    ),
                ),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                (
                    "ended_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "check_made",
                    models.CharField(blank=True, max_length=300, verbose_name="check made afterwards"),
                ),
                (
                    "recheck_item",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="faults_to_confirm",
                        to="vehicles.outstandingitem",
                    ),
                ),
                ("tried", models.TextField(blank=True, verbose_name="what was tried and seen")),
                (
                    "outstanding_item",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="faults",
                        to="vehicles.outstandingitem",
                    ),
                ),
                (
                    "normal_source",
                    models.CharField(blank=True, max_length=300, verbose_name="source that says so"),
                ),
                (
                    "same_as",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="duplicates",
                        to="vehicles.fault",
                    ),
                ),
                (
                    "error_reason",
                    models.CharField(blank=True, max_length=300, verbose_name="why it was entered in error"),
                ),
            ],
            options={
                "ordering": ["vehicle", "order"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_fault_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(fields=("vehicle", "order"), name="faults_are_numbered_per_car"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("same_as", None),
                            models.Q(("same_as", models.F("id")), _negated=True),
                            _connector="OR",
                        ),
                        name="fault_is_not_the_same_as_itself",
                        violation_error_code="field:same_as",
                        violation_error_message="A fault can't be the same as itself.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("title", ""), _negated=True),
                        name="fault_says_what",
                        violation_error_code="field:title",
                        violation_error_message="Say in short what is wrong.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("position", ""),
                            models.Q(
                                ("place__isnull", False),
                                (
                                    "position__in",
                                    [
                                        "front_left",
                                        "front_right",
                                        "rear_left",
                                        "rear_right",
                                        "front",
                                        "rear",
                                        "left",
                                        "right",
                                        "inner_left",
                                        "inner_right",
                                    ],
                                ),
                            ),
                            _connector="OR",
                        ),
                        name="fault_position_is_of_a_place",
                        violation_error_code="field:position",
                        violation_error_message="Choose the place that this position belongs to.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("severity__in", ["dangerous", "major", "minor", "advice"])),
                        name="fault_severity_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["complaint", "finding"])), name="fault_kind_is_known"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("reproduced__in", ["not_tried", "yes", "sometimes", "no"])),
                        name="fault_reproduced_is_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="FaultCode",
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
                    "fault",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="codes", to="vehicles.fault"
                    ),
                ),
                ("code", models.CharField(max_length=8, verbose_name="trouble code")),
                ("control_unit", models.CharField(blank=True, max_length=80, verbose_name="read from")),
                (
                    "present",
                    models.BooleanField(
                        default=True,
                        help_text="Not ticked: stored, not present now.",
                        verbose_name="present now",
                    ),
                ),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_faultcode_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("code__regex", "^[PCBU][0-3][0-9A-F]{3}(-[0-9A-F]{2})?$")),
                        name="code_has_its_structure",
                        violation_error_code="field:code",
                        violation_error_message="A trouble code is a letter P, C, B or U, a figure 0 to 3 and three figures or letters A to F, such as P0562 or U0100-87.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="DiagnosisStep",
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
                    "fault",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="steps", to="vehicles.fault"
                    ),
                ),
                ("tried", models.CharField(max_length=300, verbose_name="what was tried")),
                ("seen", models.CharField(max_length=500, verbose_name="what was seen")),
                (
                    "value",
                    models.DecimalField(
                        blank=True, decimal_places=4, max_digits=14, null=True, verbose_name="reading"
                    ),
                ),
                ("unit", models.CharField(blank=True, max_length=8)),
                (
                    "base_value",
                    models.DecimalField(
                        blank=True, decimal_places=6, editable=False, max_digits=18, null=True
                    ),
                ),
            ],
            options={
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_diagnosisstep_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("base_value", None), ("unit", ""), ("value", None)),
                            models.Q(
                                ("base_value__isnull", False),
                                ("value__isnull", False),
                                models.Q(("unit", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="diagnosis_reading_has_a_unit",
                        violation_error_code="field:reading",
                        violation_error_message="A reading needs its unit.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("tried", ""), _negated=True), models.Q(("seen", ""), _negated=True)
                        ),
                        name="diagnosis_says_what",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="VehicleKeeper",
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
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="keepers",
                        to="vehicles.vehicle",
                    ),
                ),
                (
                    "keeper",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="vehicles",
                        to="vehicles.keeper",
                    ),
                ),
                (
                    "part",
                    models.CharField(
                        choices=[
                            ("registered_keeper", "Registered keeper"),
                            ("owner", "Owner"),
                            ("driver", "Driver"),
                            ("payer", "Payer"),
                            ("authoriser", "May authorise work"),
                            ("collector", "May collect the car"),
                        ],
                        max_length=20,
                    ),
                ),
                ("from_on", models.DateField(blank=True, null=True, verbose_name="from")),
                ("until_on", models.DateField(blank=True, null=True, verbose_name="until")),
            ],
            options={
                "ordering": ["part", "-from_on"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_vehiclekeeper_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "part__in",
                                ["registered_keeper", "owner", "driver", "payer", "authoriser", "collector"],
                            )
                        ),
                        name="keeper_part_is_known",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("until_on", None)),
                        fields=("vehicle", "keeper", "part"),
                        name="keeper_plays_a_part_once",
                        violation_error_code="field:keeper",
                        violation_error_message="This person plays that part for this car already.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("part", "registered_keeper"), ("until_on", None)),
                        fields=("vehicle",),
                        name="one_registered_keeper",
                        violation_error_code="field:part",
                        violation_error_message="The car has a registered keeper. End that first: say until when.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("until_on", None),
                            ("from_on", None),
                            ("until_on__gte", models.F("from_on")),
                            _connector="OR",
                        ),
                        name="keeper_part_ends_after_it_begins",
                        violation_error_code="field:until_on",
                        violation_error_message="It can't end before it begins.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Telling",
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
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tellings",
                        to="vehicles.outstandingitem",
                    ),
                ),
                (
                    "told_to",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tellings",
                        to="vehicles.keeper",
                    ),
                ),
                (
                    "channel",
                    models.CharField(
                        choices=[
                            ("in_person", "In person"),
                            ("phone", "By telephone"),
                            ("message", "By written message"),
                            ("letter", "By letter"),
                            ("account", "In their own account here"),
                        ],
                        max_length=10,
                    ),
                ),
                ("told", models.TextField(verbose_name="what was told")),
                (
                    "answer",
                    models.CharField(
                        choices=[
                            ("acknowledged", "Acknowledged"),
                            ("declined", "Declined the work"),
                            ("deferred", "Put the work off"),
                            ("wants_it", "Wants it done"),
                            ("not_signed", "Declined to sign"),
                            ("no_answer", "No answer yet"),
                        ],
                        max_length=12,
                    ),
                ),
                ("answer_words", models.CharField(blank=True, max_length=300, verbose_name="in their words")),
                (
                    "witness",
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
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_telling_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("channel__in", ["in_person", "phone", "message", "letter", "account"])
                        ),
                        name="telling_channel_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "answer__in",
                                [
                                    "acknowledged",
                                    "declined",
                                    "deferred",
                                    "wants_it",
                                    "not_signed",
                                    "no_answer",
                                ],
                            )
                        ),
                        name="telling_answer_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("told", ""), _negated=True), name="telling_says_what"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("answer", "not_signed"), _negated=True),
                            ("witness__isnull", False),
                            _connector="OR",
                        ),
                        name="declined_signature_has_a_witness",
                        violation_error_code="field:witness",
                        violation_error_message="Where somebody declines to sign, name the witness.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("witness", None),
                            models.Q(("witness", models.F("made_by")), _negated=True),
                            _connector="OR",
                        ),
                        name="witness_is_another_person",
                        violation_error_code="field:witness",
                        violation_error_message="The witness is somebody else than who writes this down.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Survey",
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
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="surveys",
                        to="vehicles.vehicle",
                    ),
                ),
                ("finished_at", models.DateTimeField(blank=True, null=True)),
                (
                    "finished_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "summary",
                    models.TextField(blank=True, verbose_name="what should be looked into first, and why"),
                ),
            ],
            options={
                "ordering": ["-made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_survey_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("finished_at", None)),
                        fields=("vehicle",),
                        name="one_open_survey_per_car",
                        violation_error_message="A survey of this car is open: go on with that one.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("finished_at", None), ("finished_by", None)),
                            models.Q(
                                ("finished_at__isnull", False),
                                ("finished_by__isnull", False),
                                models.Q(("summary", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="finished_survey_has_a_summary",
                        violation_error_code="field:summary",
                        violation_error_message="Say what should be looked into first, and why.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SurveyEntry",
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
                    "survey",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="entries",
                        to="vehicles.survey",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="vehicles.place"
                    ),
                ),
                (
                    "position",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("front_left", "front left"),
                            ("front_right", "front right"),
                            ("rear_left", "rear left"),
                            ("rear_right", "rear right"),
                            ("front", "front"),
                            ("rear", "rear"),
                            ("left", "left"),
                            ("right", "right"),
                            ("inner_left", "inner left"),
                            ("inner_right", "inner right"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "finding",
                    models.CharField(
                        choices=[
                            ("as_factory", "As the factory made it"),
                            ("not_factory", "Not as the factory made it"),
                            ("open", "Open question"),
                            ("not_present", "This car has none"),
                            ("not_seen", "Could not be seen"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "part",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="survey_entries",
                        to="vehicles.fittedpart",
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=300)),
            ],
            options={
                "verbose_name_plural": "survey entries",
                "ordering": ["made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_surveyentry_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("finding__in", ["as_factory", "not_factory", "open", "not_present", "not_seen"])
                        ),
                        name="survey_finding_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("finding", "not_factory"), _negated=True),
                            ("part__isnull", False),
                            _connector="OR",
                        ),
                        name="not_factory_names_the_part",
                        violation_error_code="field:part",
                        violation_error_message="Say which part it is.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("finding", "open"), _negated=True),
                            ("part__isnull", False),
                            models.Q(("note", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="open_question_says_what",
                        violation_error_code="field:note",
                        violation_error_message="Say what the question is.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "position__in",
                                [
                                    "front_left",
                                    "front_right",
                                    "rear_left",
                                    "rear_right",
                                    "front",
                                    "rear",
                                    "left",
                                    "right",
                                    "inner_left",
                                    "inner_right",
                                    "",
                                ],
                            )
                        ),
                        name="survey_position_is_known",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Registration",
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
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="registrations",
                        to="vehicles.vehicle",
                    ),
                ),
                ("plate", models.CharField(max_length=20, verbose_name="registration plate")),
                ("plate_key", models.CharField(editable=False, max_length=20)),
                ("country", models.CharField(blank=True, max_length=40, verbose_name="country or region")),
                ("from_on", models.DateField(blank=True, null=True, verbose_name="from")),
                ("until_on", models.DateField(blank=True, null=True, verbose_name="until")),
            ],
            options={
                "ordering": ["-from_on", "-made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_registration_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("until_on", None)),
                        fields=("plate_key", "country"),
                        name="plate_is_on_one_car",
                        violation_error_code="field:plate",
                        violation_error_message="This plate is in force on a car of the shop. End it there first.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("until_on", None),
                            ("from_on", None),
                            ("until_on__gte", models.F("from_on")),
                            _connector="OR",
                        ),
                        name="registration_ends_after_it_begins",
                        violation_error_code="field:until_on",
                        violation_error_message="The registration can't end before it begins.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="IdentityReading",
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
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="identity_readings",
                        to="vehicles.vehicle",
                    ),
                ),
                (
                    "source",
                    models.CharField(
                        choices=[
                            ("plate", "Maker's plate"),
                            ("stamping", "Stamped on the body or frame"),
                            ("control_unit", "Read from a control unit"),
                            ("glass", "Visible through the windscreen"),
                            ("papers", "Registration papers"),
                        ],
                        max_length=14,
                        verbose_name="where it was read",
                    ),
                ),
                ("number", models.CharField(blank=True, max_length=30, verbose_name="number as read")),
                (
                    "not_readable_because",
                    models.CharField(blank=True, max_length=200, verbose_name="not readable, because"),
                ),
                ("place", models.CharField(blank=True, max_length=120, verbose_name="exact place")),
                ("differs", models.BooleanField(default=False, editable=False)),
            ],
            options={
                "ordering": ["-made_at"],
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("made_at__lte", models.F("received_at"))),
                        name="vehicles_identityreading_made_before_arrival",
                        violation_error_message="The time this was done lies in the future. Check the clock of this device.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("source__in", ["plate", "stamping", "control_unit", "glass", "papers"])
                        ),
                        name="identity_source_is_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(models.Q(("number", ""), _negated=True), ("not_readable_because", "")),
                            models.Q(("number", ""), models.Q(("not_readable_because", ""), _negated=True)),
                            _connector="OR",
                        ),
                        name="identity_read_or_says_why_not",
                        violation_error_code="field:number",
                        violation_error_message="Give the number as read, or say why it isn't readable: one of the two.",
                    ),
                ],
            },
        ),
    ]
