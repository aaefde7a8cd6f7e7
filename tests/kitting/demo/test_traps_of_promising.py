"""Traps of stock, dates and places: what a spreadsheet gets wrong, and the right answer."""

from datetime import date

from desk import Desk, Reading

from kitting.calculation.plan_result import Plan


def test_a_second_job_sees_what_the_first_has_taken(clean: Plan, read: type[Reading]) -> None:
    """Trap T03: 17 inserts are needed and 17 are free; each job takes what is left, the reserve stays."""
    plan = read(clean)
    assert plan.from_depots(job="J01", stock_code="BI15") == {"N": 6}
    assert plan.from_depots(job="J06", stock_code="BI15") == {"N": 6, "M": 2}
    assert plan.from_depots(job="J10", stock_code="BI15") == {"M": 3}
    assert plan.short(stock_code="BI15") == 0
    assert sum(plan.from_depots(stock_code="BI15").values()) == 17


def test_before_the_old_number_is_known_the_later_jobs_are_short_but_can_buy(desk: Desk, read: type[Reading]) -> None:
    """Trap T03 before T04: without the five at Mill Lane, J06 is 2 short and J10 3, both still to be bought."""
    plan = read(desk.drop("stock", {"stock code": "0457-BI"}).plan())
    assert plan.short(job="J06", stock_code="BI15") == 2
    assert plan.short(job="J10", stock_code="BI15") == 3
    assert set(plan.made.shortages.loc[plan.made.shortages["stock_code"] == "BI15", "too_late"]) == {"no"}


def test_an_old_number_is_the_same_item(clean: Plan, read: type[Reading]) -> None:
    """Trap T04: 0457-BI at Mill Lane is BI15; its lot is unknown and stays visibly so."""
    plan = read(clean)
    assert "0457-BI" not in set(clean.requirements["stock_code"]) | set(clean.promises["stock_code"])
    assert plan.promised(job="J10", stock_code="BI15") == {("M", "", "transfer"): 3}


def test_the_lot_that_expires_first_goes_to_the_job_it_still_covers(
    clean: Plan, received: Plan, read: type[Reading]
) -> None:
    """Trap T05: L-2303B (use by 2026-03-31) serves J06; J10 in April takes the fresh lot, three more once answered."""
    plan, before = read(clean), read(received)
    assert plan.promised(job="J06", stock_code="CS15-2") == {("H", "L-2303B", "transfer"): 3}
    assert before.promised(job="J10", stock_code="CS15-2") == {("H", "L-2508A", "shelf"): 3}
    assert plan.promised(job="J10", stock_code="CS15-2") == {("H", "L-2508A", "shelf"): 6}
    assert plan.short(stock_code="CS15-2") == 0


def test_arresters_on_a_delta_need_the_line_to_line_rating(clean: Plan, read: type[Reading]) -> None:
    """Trap T11: 13.2 kV ungrounded needs 13.86 kV; M 2 and N 4 of EA15-15.3, before the later J11."""
    plan = read(clean)
    lines = plan.lines(job="J02", kind="elbow arrester")
    assert set(lines["mcov_kv"]) == {"13.86"}
    assert set(lines["stock_code"]) == {"EA15-15.3"}
    assert plan.from_depots(job="J02", stock_code="EA15-15.3") == {"M": 2, "N": 4}
    assert set(clean.promises[clean.promises["job"] == "J02"]["ready_on"]) <= {"2026-03-02", "2026-03-03"}
    assert plan.short(job="J11", stock_code="EA15-15.3") == 3


def test_the_reserve_is_never_offered_to_planned_work(clean: Plan, read: type[Reading]) -> None:
    """Trap T16: three BI15 lie in Harbor's reserve; J10's three come from Mill Lane."""
    assert read(clean).from_depots(job="J10", stock_code="BI15") == {"M": 3}
    reserve = {"RESERVE", "reserve"}
    assert not {place for place in clean.promises["place"] if place.split("-")[-1] in reserve}


def test_a_truck_is_shown_and_not_free(desk: Desk, read: type[Reading]) -> None:
    """Trap T32: truck 14's two BI15 don't help: with N's bin two lower somebody is two short."""
    plan = read(desk.change("stock", {"stock code": "BI15", "place kind": "bin"}, quantity="10").plan())
    assert plan.short(stock_code="BI15") == 2


def test_supplier_owned_pieces_serve_their_own_depot(clean: Plan, desk: Desk, read: type[Reading]) -> None:
    """J03 takes 6 of the 20 supplier-owned lugs and a spare; a job at another depot could not."""
    plan = read(clean)
    assert sum(plan.from_depots(job="J03", stock_code="LUG-750A").values()) == 7
    moved = read(desk.change("jobs", {"job": "J03"}, depot="H").plan())
    assert moved.from_depots(job="J03", stock_code="LUG-750A") == {}
    assert moved.short(job="J03", stock_code="LUG-750A", kind="lug") >= 6


def test_the_window_across_the_clock_change_is_six_hours(clean: Plan, read: type[Reading]) -> None:
    """Trap T36: 23:00 to 06:00 over the spring change."""
    assert read(clean).job("J02").window_hours == "6"


def test_staged_by_counts_working_days_of_the_depot(clean: Plan, read: type[Reading]) -> None:
    """Trap T37: a Sunday 00:30 cutover, and Good Friday closed."""
    assert read(clean).job("J04").staged_by == date(2026, 3, 12)
    assert read(clean).job("J09").staged_by == date(2026, 4, 1)


def test_a_part_with_a_long_lead_is_too_late_to_buy(clean: Plan) -> None:
    """Trap T42: BI35L needs 98 days; order-by was 2026-01-08; the one in reserve is not promised."""
    row = clean.shortages[(clean.shortages["job"] == "J08") & (clean.shortages["stock_code"] == "BI35L")].iloc[0]
    assert (row["short"], row["order_by"], row["too_late"]) == (1, "2026-01-08", "yes")
    assert "reserve" in row["why"] + row["cure"]


def test_the_order_is_rounded_to_pack_and_minimum(clean: Plan) -> None:
    """Trap T43: 3 needed; minimum 6 in threes: order 6, 3 over, by 2026-04-06."""
    row = clean.reorder[clean.reorder["stock_code"] == "EA15-15.3"].iloc[0]
    assert (row["need"], row["order_quantity"] * row["per_purchase_unit"], row["over_by"]) == (3, 6, 3)
    assert row["resulting_quantity"] == 6
    assert row["order_by"] == "2026-04-06"


def test_splices_are_bought_in_kits_of_three_by_depot(clean: Plan, read: type[Reading]) -> None:
    """Trap T47: need 9, have 2; one kit to North Yard, two to Harbor; two pieces over."""
    rows = clean.reorder[clean.reorder["stock_code"] == "CS25-2"].set_index("depot")
    assert dict(rows["need"]) == {"N": 1, "H": 6}
    assert dict(rows["order_quantity"]) == {"N": 1, "H": 2}
    assert sum(rows["over_by"]) == 2
    assert read(clean).from_depots(job="J09", stock_code="CS25-2") == {"H": 2}


def test_drain_wire_is_counted_in_feet(clean: Plan, read: type[Reading]) -> None:
    """Trap T48: three 600 A cable ends take 12 ft of one spool, not 12 spools."""
    lines = read(clean).lines(job="J03", stock_code="DW-14")
    assert (sum(lines["quantity"]), set(lines["unit"])) == (12, {"ft"})
    assert read(clean).from_depots(job="J03", stock_code="DW-14") == {"N": 12}


def test_an_open_question_does_not_cost_a_job_its_place(desk: Desk, read: type[Reading]) -> None:
    """Trap T56: J02's row 5 loses its size: J02 can't tell, still holds six arresters, and J11 stays three short."""
    changed = desk.change("schedule", {"job": "J02", "run": "5"}, cable_type="")
    plan = read(changed.plan())
    assert plan.job("J02").answer == "can't tell"
    assert sum(plan.from_depots(job="J02", stock_code="EA15-15.3").values()) == 6
    assert plan.short(job="J11", stock_code="EA15-15.3") == 3


def test_a_kit_that_nothing_can_complete_takes_nothing_from_the_next(desk: Desk, read: type[Reading]) -> None:
    """Trap T57: with 21 days' lead J06 can't be completed; J10 gets its three, and the refusal names who holds what."""
    without = desk.drop("stock", {"stock code": "0457-BI"})
    plan = read(without.change("items", {"stock code": "BI15"}, lead_days="21").plan())
    assert plan.short(job="J06", stock_code="BI15") == 5
    assert plan.from_depots(job="J10", stock_code="BI15") == {"N": 3}
    refused = plan.made.refusals[plan.made.refusals["job"] == "J06"].iloc[0]
    assert refused["stock_codes"] == "BI15"
    assert refused["competing_jobs"] == "J01"
    assert (refused["stock_pieces"], refused["competing_pieces"], refused["missing_pieces"]) == (12, 6, 2)
