from typing import Any

import numpy as np

from kitting.documents.lettering import open_canvas
from kitting.documents.marks import draw_fit_bar

Pages = dict[str, list[Any]]


def whole(pages: list[Any]) -> str:
    return " ".join(page.one_line for page in pages)


def test_a_card_has_an_even_number_of_sides_so_that_cards_stay_apart(prints: Pages) -> None:
    for name, pages in prints.items():
        if "night" in name:
            first_sides = [at for at, page in enumerate(pages) if "page 1 of" in page.one_line]
            assert all(at % 2 == 0 for at in first_sides)
            assert len(pages) % 2 == 0


def test_the_card_lists_parts_by_phase_with_their_lots(prints: Pages) -> None:
    front = prints["J03-night-cards.pdf"][0].one_line
    assert "CA-4 · cable adapter, large 1 L-2509A 1 L-2501A 1 L-2501A" in front
    assert "DW-14 · drain wire, tinned copper," in front
    assert front.count("4 ft") == 2


def test_the_card_says_what_each_part_takes_and_what_the_cable_is_in_both_units(prints: Pages) -> None:
    card = whole(prints["J03-night-cards.pdf"])
    assert "CA-4 at V1-a, V1-b: FITS, margin 0.026 in (0.66 mm)" in card
    assert "takes 1.410–1.640 in (35.81–41.66 mm)" in card
    assert "DOI 1.436–1.505 in (36.47–38.23 mm), type sheet" in card
    assert "jacket 1.800–1.920 in (45.72–48.77 mm)" in card


def test_the_card_names_the_nearest_other_pieces_and_other_ranges_but_no_promised_piece(prints: Pages) -> None:
    card = whole(prints["J03-night-cards.pdf"])
    assert "CA-4 the same part N N-2-1: 3; N truck 14: 1; H H-07-1: 2" in card
    assert "CA-3 other range: 1.280–1.500 in (32.51–38.10 mm) N N-10-1: 8" in card
    loop = whole(prints["J01-night-cards.pdf"])
    assert "EL15-1 other range: 0.600–0.800 in (15.24–20.32 mm) N N-01-1: 24; H night box (reserve): 3" in loop
    assert "EL15-2 the same part H H-01-2: 4" in loop, "two of six come with the van"


def test_the_card_has_spares_whom_to_ring_and_six_boxes_or_more(prints: Pages) -> None:
    card = whole(prints["J03-night-cards.pdf"])
    assert "LUG-750C · lug, 750 kcmil copper 1 ea SPARE" in card
    assert "JS-3 · jacket seal, 1.55 to 2.10 in 0 ea SHORT 1 SPARE" in card
    assert "Ring before taking another part" in card
    boxes = prints["J03-night-cards.pdf"][1].one_line
    assert all(f"V1-{end} {phase} " in boxes for end in "ab" for phase in "ABC")
    assert whole(prints["J11-night-cards.pdf"]).count("initials ______") >= 12


def test_the_card_names_its_depot_and_whom_to_ring_at_night_or_warns_that_nobody_is_known(prints: Pages) -> None:
    north, harbor, mill = (whole(prints[f"{job}-night-cards.pdf"]) for job in ("J03", "J10", "J11"))
    assert "Cutover Thu 2026-03-12 08:00 CDT · depot N North Yard" in north
    assert "Depot N North Yard is open Mon-Fri 06:30-16:30. RING AT NIGHT: night desk 555-0142" in north
    assert "NO NIGHT CONTACT" not in north
    assert "Depot H Harbor is open Mon-Fri 06:30-16:30. NO NIGHT CONTACT is known for depot H Harbor" in harbor
    assert mill.count("NO NIGHT CONTACT") == 2, "one a card"
    assert "Name ______________________ number" in mill


def test_the_cable_lies_inside_the_part_in_the_bar_as_it_does_in_the_numbers(tmp_path: Any, pages_of: Any) -> None:
    """A part of 10 to 30 mm and a cable of 15 to 20 mm: a quarter of the hollow bar is solid, a quarter in."""
    canvas = open_canvas(tmp_path / "bar.pdf", "bar")
    canvas.setPageSize((300, 100))
    draw_fit_bar(canvas, 20, 40, 240, parts=[(10_000_000, 30_000_000)], cables=[(15_000_000, 20_000_000)])
    canvas.showPage()
    canvas.save()
    (page,) = pages_of(tmp_path / "bar.pdf")
    dark = np.asarray(page.picture.convert("L")) < 128
    middle = np.flatnonzero(dark[round(dark.shape[0] * (100 - 40 - 5.5) / 100)])
    solid = middle[(middle > middle.min() + 20) & (middle < middle.max() - 20)]
    edges = np.flatnonzero(dark[round(dark.shape[0] * (100 - 40 - 2) / 100)])
    inner = edges[[0, -1]]
    share = (solid[[0, -1]] - inner[0]) / (inner[1] - inner[0])
    assert abs(share[0] - 0.25) < 0.02
    assert abs(share[1] - 0.5) < 0.02
