import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0004_dated_kinds"),
        ("kitting", "0007_people_and_errands"),
    ]

    operations = [
        migrations.CreateModel(
            name="CountList",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveIntegerField(unique=True)),
                (
                    "depot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="count_lists", to="inventory.depot"
                    ),
                ),
                (
                    "listed",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="count_list", to="inventory.action"
                    ),
                ),
                (
                    "posted",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="posted_count_list",
                        to="inventory.action",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="CountLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveIntegerField()),
                ("reasons", models.JSONField(default=list)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("listed", "listed"),
                            ("counted", "counted"),
                            ("recounted", "recounted"),
                            ("explained", "explained"),
                            ("approved", "approved"),
                            ("posted", "posted"),
                            ("find the bag", "find the bag"),
                        ],
                        default="listed",
                        max_length=20,
                    ),
                ),
                ("book", models.BigIntegerField(blank=True, null=True)),
                ("counted", models.BigIntegerField(blank=True, null=True)),
                ("counted_by", models.CharField(blank=True, max_length=120)),
                ("counted_at", models.DateTimeField(blank=True, null=True)),
                ("recount_book", models.BigIntegerField(blank=True, null=True)),
                ("recount", models.BigIntegerField(blank=True, null=True)),
                ("recounted_by", models.CharField(blank=True, max_length=120)),
                ("recounted_at", models.DateTimeField(blank=True, null=True)),
                (
                    "cause",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("late paper", "a paper or scan of before the count has not reached the books"),
                            (
                                "each or kit",
                                "each was taken for a kit, or a kit for each, on a paper that can't be put right any more",
                            ),
                            ("not booked", "pieces were taken or brought without a scan"),
                            ("other place", "the pieces lie at another place than booked"),
                            ("other lot", "pieces of another lot of the same stock code were booked"),
                            ("other part", "pieces of another stock code were booked"),
                            ("damaged", "pieces were thrown away without a record"),
                            ("earlier count", "the count before this one was wrong"),
                            ("not found out", "looked into, and nobody can say"),
                        ],
                        max_length=20,
                    ),
                ),
                ("explanation", models.TextField(blank=True)),
                ("explained_by", models.CharField(blank=True, max_length=120)),
                ("approved_by", models.CharField(blank=True, max_length=120)),
                ("approval", models.TextField(blank=True)),
                (
                    "lot",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="count_lines",
                        to="inventory.lot",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="count_lines", to="inventory.place"
                    ),
                ),
                (
                    "count_list",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="kitting.countlist"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("count_list", "position"), name="count_line_once"),
                    models.UniqueConstraint(
                        condition=models.Q(("state", "posted"), _negated=True),
                        fields=("place", "lot"),
                        name="lot_on_one_open_count",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("lot__isnull", True), models.Q(("state", "posted"), _negated=True)),
                        fields=("place",),
                        name="place_on_one_open_count",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "state__in",
                                ("listed", "counted", "recounted", "explained", "approved", "posted", "find the bag"),
                            )
                        ),
                        name="count_line_in_a_known_state",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "cause__in",
                                (
                                    "",
                                    "late paper",
                                    "each or kit",
                                    "not booked",
                                    "other place",
                                    "other lot",
                                    "other part",
                                    "damaged",
                                    "earlier count",
                                    "not found out",
                                ),
                            )
                        ),
                        name="count_line_of_a_known_cause",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("state", "listed"),
                            models.Q(
                                ("counted__gte", 0),
                                ("counted_at__isnull", False),
                                models.Q(("counted_by", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="blank_count_is_not_zero",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("recount__isnull", True),
                            models.Q(
                                ("recount__gte", 0),
                                ("recounted_at__isnull", False),
                                models.Q(("recounted_by", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="recount_has_a_person",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("recounted_by", ""),
                            models.Q(("recounted_by", models.F("counted_by")), _negated=True),
                            _connector="OR",
                        ),
                        name="recount_by_another",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("approved_by", ""),
                            models.Q(
                                models.Q(("approved_by", models.F("counted_by")), _negated=True),
                                models.Q(("approved_by", models.F("recounted_by")), _negated=True),
                                models.Q(("approved_by", models.F("explained_by")), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="count_approved_by_another",
                    ),
                ],
            },
        ),
    ]
