import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0011_ranges_and_levels"),
        ("jobs", "0003_feeder_and_owner"),
        ("kitting", "0028_device_loads"),
    ]

    operations = [
        migrations.CreateModel(
            name="Failure",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("structure", models.CharField(blank=True, max_length=100)),
                ("position", models.CharField(blank=True, max_length=100)),
                ("phase", models.CharField(blank=True, max_length=3)),
                ("lot_number", models.CharField(blank=True, max_length=100)),
                ("failed_at", models.DateTimeField()),
                ("what", models.TextField()),
                ("withdrawn_why", models.TextField(blank=True)),
            ],
        ),
        migrations.RemoveConstraint(
            model_name="picture",
            name="picture_of_a_bag_or_a_place",
        ),
        migrations.AlterField(
            model_name="picture",
            name="job",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="pictures",
                to="jobs.job",
            ),
        ),
        migrations.AlterField(
            model_name="picture",
            name="shows",
            field=models.CharField(
                choices=[
                    ("position", "position"),
                    ("bag", "bag"),
                    ("as-installed", "as-installed"),
                    ("failure", "failure"),
                ],
                max_length=20,
            ),
        ),
        migrations.AddField(
            model_name="failure",
            name="action",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.PROTECT, related_name="failure", to="inventory.action"
            ),
        ),
        migrations.AddField(
            model_name="failure",
            name="item",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="failures",
                to="inventory.item",
            ),
        ),
        migrations.AddField(
            model_name="picture",
            name="failure",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="pictures",
                to="kitting.failure",
            ),
        ),
        migrations.AddConstraint(
            model_name="picture",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("bag__isnull", False),
                        ("failure", None),
                        ("job__isnull", False),
                        ("position", ""),
                        ("shows", "bag"),
                    ),
                    models.Q(
                        ("bag", None),
                        ("failure__isnull", False),
                        ("job", None),
                        ("position", ""),
                        ("shows", "failure"),
                        ("structure", ""),
                    ),
                    models.Q(
                        ("bag", None),
                        ("failure", None),
                        ("job__isnull", False),
                        ("shows__in", ("position", "as-installed")),
                        models.Q(("structure", ""), _negated=True),
                        models.Q(("position", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="picture_of_a_bag_a_place_or_a_failure",
            ),
        ),
        migrations.AddIndex(
            model_name="failure",
            index=models.Index(fields=["item", "lot_number"], name="failure_by_lot"),
        ),
        migrations.AddIndex(
            model_name="failure",
            index=models.Index(fields=["structure", "position"], name="failure_by_place"),
        ),
        migrations.AddConstraint(
            model_name="failure",
            constraint=models.CheckConstraint(condition=models.Q(("what", ""), _negated=True), name="failure_in_words"),
        ),
        migrations.AddConstraint(
            model_name="failure",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("structure", ""), _negated=True),
                    models.Q(("phase", ""), ("position", "")),
                    _connector="OR",
                ),
                name="failure_at_a_structure",
            ),
        ),
        migrations.AddConstraint(
            model_name="failure",
            constraint=models.CheckConstraint(
                condition=models.Q(("lot_number", ""), ("item__isnull", False), _connector="OR"),
                name="failure_of_a_lot_of_an_item",
            ),
        ),
    ]
