from django.db import migrations, models
from django.db.models import F, Q


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0010_price_breaks"),
    ]

    operations = [
        migrations.AddConstraint(
            model_name="item",
            constraint=models.CheckConstraint(
                condition=Q(doi_high_2_nm__gte=F("doi_low_2_nm"))
                | Q(doi_low_2_nm__isnull=True)
                | Q(doi_high_2_nm__isnull=True),
                name="item_second_doi_low_to_high",
            ),
        ),
        migrations.AddConstraint(
            model_name="level",
            constraint=models.CheckConstraint(
                condition=(Q(minimum__gte=0) | Q(minimum__isnull=True))
                & (Q(reserve_floor__gte=0) | Q(reserve_floor__isnull=True)),
                name="level_not_below_zero",
            ),
        ),
    ]
