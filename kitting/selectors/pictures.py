"""Photographs and drawings that are shown: of positions, of a bag, of ends, of a failure; content only when asked."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence

from django.db.models import Q, QuerySet

from jobs.models import Job, Position
from kitting.calculation.natural_order import natural_key
from kitting.errors import Refusal
from kitting.models import Bag, Failure, Picture
from kitting.models.pictures import AS_INSTALLED, AT_POSITION, OF_BAG, OF_FAILURE

PlaceKey = tuple[str, str]  # structure, position


def _shown(shows: str) -> QuerySet[Picture]:
    """The last first."""
    found = Picture.objects.filter(shows=shows, taken_away_why="").select_related("job")
    return found.defer("content", "small").order_by("-pk")


def positions_of(job: Job) -> list[PlaceKey]:
    """Structure and position of all positions of a job: where its live schedule lands, and those named for it."""
    live = {"revision__job": job, "revision__live": True}
    of_runs = Q(**{f"runs_from__{name}": value for name, value in live.items()}) | Q(
        **{f"runs_to__{name}": value for name, value in live.items()}
    )
    found = Position.objects.filter(of_runs | Q(job=job)).values_list("structure__structure", "position").distinct()
    return sorted(found, key=lambda key: (natural_key(key[0]), natural_key(key[1])))


def pictures_at(places: Collection[PlaceKey]) -> Mapping[PlaceKey, Sequence[Picture]]:
    """Pictures of each of these positions, whichever job they came with; one query."""
    found: dict[PlaceKey, list[Picture]] = defaultdict(list)
    wanted = set(places)
    for one in _shown(AT_POSITION).filter(structure__in={structure for structure, _ in wanted}):
        if (one.structure, one.position) in wanted:
            found[one.structure, one.position].append(one)
    return {place: found[place] for place in places if place in found}


def pictures_at_structures(
    structures: Collection[str], *, with_content: int
) -> Mapping[str, Sequence[tuple[Picture, bytes]]]:
    """Pictures of all positions of each of these structures, the last first; two queries.

    The content of so many of each structure is there as well, b"" for the others and for what can't be drawn.
    """
    found: dict[str, list[Picture]] = defaultdict(list)
    for one in _shown(AT_POSITION).filter(structure__in=structures):
        found[one.structure].append(one)
    drawn = [one.pk for of in found.values() for one in [one for one in of if one.is_drawn][:with_content]]
    content = dict(Picture.objects.filter(pk__in=drawn).values_list("pk", "content"))
    return {name: [(one, bytes(content.get(one.pk, b""))) for one in of] for name, of in found.items()}


def digests_at(structures: Iterable[str]) -> Mapping[str, Sequence[str]]:
    """What identifies the pictures at each of these structures that has some; one query."""
    found: dict[str, list[str]] = defaultdict(list)
    for structure, digest in _shown(AT_POSITION).filter(structure__in=structures).values_list("structure", "digest"):
        found[structure].append(digest)
    return found


def pictures_of_bag(bag: Bag) -> list[Picture]:
    """Pictures of a bag; one query."""
    return [*_shown(OF_BAG).filter(bag=bag).select_related("bag__job", "bag__depot")]


def pictures_of_end(structure: str, position: str) -> list[Picture]:
    """Pictures of an end as it was left; one query."""
    return [*_shown(AS_INSTALLED).filter(structure=structure, position=position)]


def pictures_of_failure(failure: Failure) -> list[Picture]:
    """Pictures of what failed; one query."""
    return [*_shown(OF_FAILURE).filter(failure=failure)]


def numbers_by_end(job: Job) -> Mapping[PlaceKey, Sequence[int]]:
    """Numbers of the pictures of ends as a job left them; one query."""
    found: dict[PlaceKey, list[int]] = defaultdict(list)
    for structure, position, number in (
        _shown(AS_INSTALLED).filter(job=job).order_by("pk").values_list("structure", "position", "pk")
    ):
        found[structure, position].append(number)
    return found


def shown_picture(shows: str, number: int, **of: object) -> Picture:
    """A picture with its content, of the thing that its address names.

    Raises:
        Refusal: ``unknown-picture``: there is none, it shows something else, or it was taken away.
    """
    found = Picture.objects.filter(shows=shows, taken_away_why="", pk=number, **of).first()
    if found is None:
        raise Refusal("unknown-picture", f"There is no picture {number} here.", {"number": number})
    return found
