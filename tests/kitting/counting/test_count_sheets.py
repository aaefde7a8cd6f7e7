"""A list is printed blind and typed back by line; the command also writes other single papers of the books."""

import csv
from pathlib import Path

import pypdfium2
import pytest
from counters import OTHER, Counters
from django.core.management import CommandError, call_command
from refusals import refusal
from warehouse import assert_books_are_whole, pieces

from inventory.errors import Doubt
from inventory.models import LotHold
from inventory.services.holding import place_hold
from inventory.services.transferring import Load, send_transfer
from kitting.documents.from_records import count_sheet_of
from kitting.models import COUNTED, LISTED, CountLine, Event, Printing
from kitting.selectors.counting import count_list, sheet_revision
from kitting.services.count_places import add_to_count, enter_sheet


def typed(stores: Counters, figures: dict[int, float | None], revision: str = "", **given: object) -> list[str]:
    """The words with which a sheet that is typed back is answered."""
    confirmed = given.pop("confirmed", ())
    done = enter_sheet(
        count_list=1,
        revision=revision or sheet_revision(count_list(1)),
        figures={line: None if figure is None else pieces(figure) for line, figure in figures.items()},
        confirmed=confirmed,  # type: ignore[arg-type]
        **stores.scan(**given),
    )
    return [answer.word for answer in done]


def two_lots_and_an_empty_place(stores: Counters) -> None:
    stores.receive(4321)
    stores.receive(9, item=stores.splice)
    stores.list("bin", "other bin")


def text_of(path: Path) -> str:
    pages = pypdfium2.PdfDocument(path)
    return "\n".join(page.get_textpage().get_text_range() for page in pages)


def test_the_sheet_of_a_list_names_place_lot_and_pack_and_no_book_figure(stores: Counters) -> None:
    two_lots_and_an_empty_place(stores)
    sheet = count_sheet_of(count_list(1))
    assert [(line.place, line.stock_code, line.pack, line.book) for line in sheet.lines] == [
        ("bin", "BI15", "", None), ("bin", "CS15-6", "kit of 3 ea", None), ("other bin", "", "", None),
    ]  # fmt: skip
    assert (sheet.number, sheet.depot, sheet.blind) == ("1", "North", True)


def test_the_command_writes_the_sheet_and_says_reprint_until_a_line_is_added(stores: Counters, tmp_path: Path) -> None:
    two_lots_and_an_empty_place(stores)
    for name in ("a", "b"):
        call_command("paper", "count sheet", "1", "--out", str(tmp_path / name))
    add_to_count(count_list=1, beside=1, stock_code="BI15", lot="L-9", confirmed=["new-lot/1"], **stores.scan())
    call_command("paper", "count sheet", "1", "--out", str(tmp_path / "c"))
    texts = [text_of(tmp_path / name / "count-sheet.pdf") for name in "abc"]
    assert ["REPRINT 1" in text for text in texts] == [False, True, False]
    assert [f"REV {sheet_revision(count_list(1))}" in text for text in texts] == [False, False, True]
    assert not ["4321" for text in texts if "4321" in text]
    rows = list(csv.DictReader((tmp_path / "c" / "count-sheet.csv").read_text(encoding="utf-8-sig").splitlines()))
    assert [(row["line"], row["lot"], row["book quantity"]) for row in rows] == [
        ("1", "L-1", ""), ("2", "L-1", ""), ("3", "", ""), ("4", "L-9", ""),
    ]  # fmt: skip


def test_a_sheet_is_typed_back_by_line_and_its_totals_are_those_of_the_list(stores: Counters) -> None:
    """Row K8."""
    two_lots_and_an_empty_place(stores)
    assert typed(stores, {1: 4300, 2: 9, 3: 0}) == ["RECOUNT BY ANOTHER", "NEXT", "NEXT"]
    assert sum(CountLine.objects.values_list("counted", flat=True)) == pieces(4300 + 9)
    assert Event.objects.filter(name="counted").count() == 3
    assert "was counted by M. Osei" in refusal("counted-already", typed, stores, {1: 4321}, actor=OTHER)


def test_a_sheet_with_a_blank_or_a_line_left_out_is_taken_back_as_a_whole(stores: Counters) -> None:
    two_lots_and_an_empty_place(stores)
    told = refusal("blank-is-not-zero", typed, stores, {1: 4321, 2: None})
    assert told.endswith("enter 0 where nothing lies (line 2, N/bin; line 3, N/other bin).")
    assert "no line 9" in refusal("unknown-count-line", typed, stores, {1: 4321, 2: 9, 3: 0, 9: 1})
    assert {*CountLine.objects.values_list("state", flat=True)} == {LISTED}
    with pytest.raises(Doubt, match=r"is that 27 ea, each piece counted, or did you count by the kit of 3 ea\?"):
        typed(stores, {1: 4321, 2: 27, 3: 0})
    assert typed(stores, {1: 4321, 2: 27, 3: 0}, confirmed=["each-or-kit/2"])[1] == "RECOUNT BY ANOTHER"


def test_a_sheet_of_another_version_is_asked_about(stores: Counters) -> None:
    two_lots_and_an_empty_place(stores)
    printed = sheet_revision(count_list(1))
    add_to_count(count_list=1, beside=1, stock_code="BI15", lot="L-9", confirmed=["new-lot/1"], **stores.scan())
    figures = {1: 4321, 2: 9, 3: 0, 4: 1}
    with pytest.raises(Doubt, match=f"count 1 has other lines by now than on sheet {printed}"):
        typed(stores, figures, printed)
    scan = stores.scan()
    assert len(typed(stores, figures, printed, confirmed=["other-sheet/1"], **scan)) == 4
    assert len(typed(stores, figures, printed, confirmed=["other-sheet/1"], **scan)) == 4
    assert CountLine.objects.filter(state=COUNTED).count() == 4


def test_what_moved_between_the_paper_and_its_typing_is_no_difference(stores: Counters) -> None:
    stores.receive(12)
    stores.list("bin")
    walked = stores.now()
    stores.move(2, stores.lot("L-1"), "N/bin", "N/truck 14")
    assert typed(stores, {1: 12}, device_at=walked) == ["NEXT"]
    stores.post()
    assert stores.holds("N/bin", stores.lot("L-1")) == pieces(10)
    assert_books_are_whole()


def test_the_command_writes_transfer_slips_and_hold_tags_too(stores: Counters, tmp_path: Path) -> None:
    stores.receive(6)
    load = Load(lot=stores.lot("L-1"), quantity=pieces(2), source=stores.place("N/bin"))
    send_transfer(transfer="T-1", to_depot=stores.hill, loads=[load], **stores.stamp())
    place_hold(stock_code="BI15", lot="L-1", reason="recall 7", **stores.stamp())
    call_command("paper", "transfer slip", "T-1", "--out", str(tmp_path / "slip"))
    call_command("paper", "hold tag", str(LotHold.objects.get().pk), "--out", str(tmp_path / "tag"))
    assert "North to Hill" in text_of(tmp_path / "slip" / "transfer-slip.pdf")
    assert "TO HILL" in text_of(tmp_path / "slip" / "box-label.pdf")
    assert "recall 7" in text_of(tmp_path / "tag" / "hold-tag.pdf")
    noted = Printing.objects.order_by("pk").values_list("document", "subject")  # as pages do, which count on
    assert [*noted] == [("transfer slip", "T-1"), ("box label", "T-1"), ("hold tag", str(LotHold.objects.get()))]


@pytest.mark.parametrize(
    ("paper", "number", "words"),
    [
        ("count sheet", "7", "There is no count 7."),
        ("count sheet", "x", "x is no number: counts and holds have whole numbers."),
        ("transfer slip", "T-9", "There is no transfer T-9."),
        ("hold tag", "9", "There is no hold 9."),
    ],
)
def test_a_paper_of_nothing_is_refused_in_words(
    stores: Counters, tmp_path: Path, capsys: pytest.CaptureFixture[str], paper: str, number: str, words: str
) -> None:
    assert stores
    with pytest.raises(SystemExit):
        call_command("paper", paper, number, "--out", str(tmp_path / "none"))
    assert words in capsys.readouterr().err
    assert not (tmp_path / "none").exists()
    with pytest.raises(CommandError, match="invalid choice"):
        call_command("paper", "love letter", number, "--out", str(tmp_path / "none"))
