import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0004_dated_kinds"),
        ("kitting", "0012_recipes_to_come"),
    ]

    operations = [
        migrations.CreateModel(
            name="BagRequest",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("state", models.CharField(default="asked", max_length=20)),
                ("asked_by", models.CharField(max_length=120)),
                ("asked_as", models.CharField(blank=True, max_length=120)),
                ("asked_at", models.DateTimeField()),
                ("why", models.TextField()),
                ("decided_by", models.CharField(blank=True, max_length=120)),
                ("decided_at", models.DateTimeField(blank=True, null=True)),
                ("decision", models.TextField(blank=True)),
                (
                    "what",
                    models.CharField(choices=[("short issue", "short issue"), ("borrow", "borrow")], max_length=20),
                ),
                ("lacks", models.JSONField()),
                ("crew", models.CharField(blank=True, max_length=120)),
                ("needed_at", models.CharField(blank=True, max_length=120)),
                ("lot_number", models.CharField(blank=True, max_length=100)),
                ("quantity", models.BigIntegerField(default=0)),
                ("pay_back_by", models.DateField(blank=True, null=True)),
                ("free_first", models.JSONField(default=list)),
                ("decided_as", models.CharField(blank=True, max_length=120)),
                ("good_to", models.DateField(blank=True, null=True)),
                (
                    "ended",
                    models.CharField(blank=True, choices=[("used", "used"), ("lapsed", "lapsed")], max_length=20),
                ),
                (
                    "bag",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="requests", to="kitting.bag"
                    ),
                ),
                (
                    "item",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="requests_to_borrow",
                        to="inventory.item",
                    ),
                ),
                (
                    "to_bag",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="requests_to_borrow",
                        to="kitting.bag",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("asked_by", ""), _negated=True), models.Q(("why", ""), _negated=True)
                        ),
                        name="bag_request_has_person_and_reason",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("decided_at__isnull", True), ("decided_by", "")),
                            models.Q(
                                models.Q(("decided_by", ""), _negated=True),
                                models.Q(("decided_by", models.F("asked_by")), _negated=True),
                                models.Q(("decision", ""), _negated=True),
                                ("decided_at__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="bag_request_decided_by_another",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("item__isnull", True),
                                ("to_bag__isnull", True),
                                ("what", "short issue"),
                                models.Q(("crew", ""), _negated=True),
                            ),
                            models.Q(
                                ("item__isnull", False),
                                ("to_bag__isnull", False),
                                ("what", "borrow"),
                                ("pay_back_by__isnull", False),
                                ("quantity__gt", 0),
                            ),
                            _connector="OR",
                        ),
                        name="bag_request_says_what",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "approved"), _negated=True), ("good_to__isnull", False), _connector="OR"
                        ),
                        name="bag_approval_has_a_last_day",
                    ),
                ],
            },
        ),
    ]
