"""What several records share: exact decimals, and the count of edits."""

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db import models

if TYPE_CHECKING:
    Decimals = models.DecimalField[Any, Any]
else:
    Decimals = models.DecimalField


def normalised(value: Decimal) -> Decimal:
    """The same number without trailing zeros and without an exponent: 8.4000 -> 8.4, 3.5E+2 -> 350."""
    return Decimal(f"{value.normalize():f}")


class ExactDecimalField(Decimals):
    """A decimal that comes back as it was given, never rounded."""

    def from_db_value(self, value: Decimal | None, *_: object) -> Decimal | None:
        """A stored value without the zeros that the database adds."""
        return None if value is None else normalised(value)

    def get_db_prep_save(self, value: Any, connection: Any) -> Any:
        """A value for the database.

        Raises:
            ValueError: it has more decimals or digits than the field keeps.
        """
        if isinstance(value, Decimal):
            _, digits, exponent = normalised(value).as_tuple()
            if not isinstance(exponent, int) or -exponent > self.decimal_places or len(digits) > self.max_digits:
                raise ValueError(f"{self.name}: {value} can't be kept exactly")
        return super().get_db_prep_save(value, connection)


class Edited(models.Model):
    """A record that people edit; who saves a stale one finds that ``version`` has grown."""

    version = models.PositiveIntegerField(default=1)

    class Meta:
        """Only a part of other records."""

        abstract = True
