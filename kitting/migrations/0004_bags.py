import django.db.models.deletion
from django.db import migrations, models

from inventory.migrations._append_only import laying, lifting, on_tables


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0004_dated_kinds"),
        ("jobs", "0002_under_way"),
        ("kitting", "0003_approvals_and_drafts"),
    ]

    operations = [
        migrations.CreateModel(
            name="KeptScan",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("action", models.CharField(max_length=80, unique=True)),
                ("device", models.CharField(max_length=120)),
                ("use_case", models.CharField(max_length=40)),
                ("content", models.JSONField()),
                ("by", models.CharField(max_length=120)),
                ("device_at", models.DateTimeField()),
                ("reached_at", models.DateTimeField()),
                ("why", models.TextField()),
                ("settled_by", models.CharField(blank=True, max_length=120)),
                ("settled_why", models.TextField(blank=True)),
            ],
        ),
        migrations.CreateModel(
            name="Bag",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("structure", models.CharField(blank=True, max_length=100)),
                ("number", models.PositiveSmallIntegerField()),
                ("code", models.CharField(max_length=80, unique=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("draft", "draft"),
                            ("listed", "listed"),
                            ("picking", "picking"),
                            ("short", "short"),
                            ("checked", "checked"),
                            ("staged", "staged"),
                            ("issued", "issued"),
                            ("in work", "in work"),
                            ("returning", "returning"),
                            ("closed", "closed"),
                            ("reopened", "reopened"),
                            ("on hold", "on hold"),
                            ("broken", "broken"),
                            ("cancelled", "cancelled"),
                        ],
                        default="draft",
                        max_length=20,
                    ),
                ),
                ("state_before_hold", models.CharField(blank=True, max_length=20)),
                ("revision", models.CharField(blank=True, max_length=10)),
                ("whereabouts", models.CharField(blank=True, max_length=60)),
                ("checked_by", models.CharField(blank=True, max_length=120)),
                ("crew", models.CharField(blank=True, max_length=120)),
                ("why", models.TextField(blank=True)),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "depot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bags", to="inventory.depot"
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="bags", to="jobs.job"),
                ),
                (
                    "place",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bag", to="inventory.place"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="BagLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("line", models.CharField(max_length=300)),
                ("position", models.PositiveIntegerField()),
                ("instead_of", models.CharField(blank=True, max_length=100)),
                ("quantity", models.BigIntegerField()),
                ("spare", models.BooleanField(default=False)),
                ("dropped", models.BooleanField(default=False)),
                ("facts", models.JSONField()),
                (
                    "bag",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="kitting.bag"
                    ),
                ),
                (
                    "item",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="bag_lines",
                        to="inventory.item",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="BagEntry",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "deed",
                    models.CharField(
                        choices=[
                            ("picked", "picked"),
                            ("put back", "put back"),
                            ("issued", "issued"),
                            ("handed back", "handed back"),
                            ("installed", "installed"),
                            ("turned in", "turned in"),
                            ("scrapped", "scrapped"),
                            ("lost", "lost"),
                            ("borrowed", "borrowed"),
                        ],
                        max_length=20,
                    ),
                ),
                ("quantity", models.BigIntegerField()),
                ("phase", models.CharField(blank=True, max_length=3)),
                ("facts", models.JSONField(default=dict)),
                (
                    "action",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bag_entries", to="inventory.action"
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bag_entries", to="inventory.lot"
                    ),
                ),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="entries", to="kitting.bagline"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Borrow",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("quantity", models.BigIntegerField()),
                ("why", models.TextField()),
                ("free_first", models.JSONField(default=list)),
                ("asked_by", models.CharField(max_length=120)),
                ("authorised_by", models.CharField(max_length=120)),
                ("borrowed_at", models.DateTimeField()),
                ("pay_back_by", models.DateField()),
                ("paid", models.BigIntegerField(default=0)),
                ("given_up_why", models.TextField(blank=True)),
                (
                    "bag",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="borrows", to="kitting.bag"
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="borrows", to="inventory.lot"
                    ),
                ),
                (
                    "to_job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="borrows", to="jobs.job"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="PlanRow",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "table",
                    models.CharField(
                        choices=[
                            ("requirements", "requirements"),
                            ("shortages", "shortages"),
                            ("refusals", "refusals"),
                            ("cures", "cures"),
                            ("reorder", "reorder"),
                            ("questions", "questions"),
                        ],
                        max_length=20,
                    ),
                ),
                ("job", models.CharField(blank=True, db_index=True, max_length=100)),
                ("position", models.PositiveIntegerField()),
                ("cells", models.JSONField()),
                (
                    "plan",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="rows", to="kitting.appliedplan"
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="bag",
            constraint=models.UniqueConstraint(fields=("job", "structure"), name="bag_once_a_location"),
        ),
        migrations.AddConstraint(
            model_name="bag",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "state__in",
                        (
                            "draft",
                            "listed",
                            "picking",
                            "short",
                            "checked",
                            "staged",
                            "issued",
                            "in work",
                            "returning",
                            "closed",
                            "reopened",
                            "on hold",
                            "broken",
                            "cancelled",
                        ),
                    )
                ),
                name="bag_in_a_known_state",
            ),
        ),
        migrations.AddConstraint(
            model_name="bagline",
            constraint=models.UniqueConstraint(fields=("bag", "line", "item"), name="bag_line_once"),
        ),
        migrations.AddConstraint(
            model_name="bagline",
            constraint=models.CheckConstraint(
                condition=models.Q(("quantity__gte", 0)), name="bag_line_not_below_nothing"
            ),
        ),
        migrations.AddConstraint(
            model_name="bagentry",
            constraint=models.CheckConstraint(condition=models.Q(("quantity__gt", 0)), name="bag_entry_of_something"),
        ),
        migrations.AddConstraint(
            model_name="bagentry",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "deed__in",
                        (
                            "picked",
                            "put back",
                            "issued",
                            "handed back",
                            "installed",
                            "turned in",
                            "scrapped",
                            "lost",
                            "borrowed",
                        ),
                    )
                ),
                name="bag_entry_of_a_known_kind",
            ),
        ),
        migrations.AddConstraint(
            model_name="borrow",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("why", ""), _negated=True),
                    models.Q(("asked_by", ""), _negated=True),
                    models.Q(("authorised_by", ""), _negated=True),
                ),
                name="borrow_has_reason_and_names",
            ),
        ),
        migrations.AddConstraint(
            model_name="borrow",
            constraint=models.CheckConstraint(
                condition=models.Q(("paid__gte", 0), ("paid__lte", models.F("quantity")), ("quantity__gt", 0)),
                name="borrow_paid_up_to_what_it_is",
            ),
        ),
        migrations.AddConstraint(
            model_name="planrow",
            constraint=models.UniqueConstraint(fields=("plan", "table", "position"), name="plan_row_once"),
        ),
        migrations.RunPython(on_tables(laying, "kitting_bagentry"), on_tables(lifting, "kitting_bagentry")),
    ]
