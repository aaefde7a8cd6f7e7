import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0004_dated_kinds"),
        ("kitting", "0004_bags"),
    ]

    operations = [
        migrations.CreateModel(
            name="SentSheet",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveIntegerField(unique=True)),
                ("sent_by", models.CharField(max_length=120)),
                ("sent_at", models.DateTimeField()),
                (
                    "plan",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sent_sheets",
                        to="kitting.appliedplan",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="SentLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("cells", models.JSONField()),
                (
                    "order_line",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="sent_line", to="inventory.orderline"
                    ),
                ),
                (
                    "sheet",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="kitting.sentsheet"
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="sentsheet",
            constraint=models.CheckConstraint(
                condition=models.Q(("sent_by", ""), _negated=True), name="sent_sheet_has_a_name"
            ),
        ),
    ]
