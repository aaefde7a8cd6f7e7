"""Complete sets, spares, lines added by hand, the owner's own rules."""

from small_books import small

AT = "P,a,well 200 A,200 A 15 kV,ABC,yes,\nQ,a,integral 200 A,200 A 15 kV,ABC,,"
RUN = "J1,1,S12,ABC,CT-A,P,a,Q,a"
PIN = "job,line,stock code,lot,depot,quantity,reason,by"


def test_a_complete_set_is_never_chosen_by_itself() -> None:
    """EL-K has EL-1's range; without a pin the connector, probe and seal are lines."""
    made = small(positions=AT, schedule=RUN)
    assert "EL-K" not in set(made.made.requirements["stock_code"])


def test_a_pinned_set_cancels_what_it_holds_at_its_own_end_only() -> None:
    """Pinned at P, three sets hold three connectors, probes and seals; Q keeps its own."""
    made = small(positions=AT, schedule=RUN, pins=f"{PIN}\nJ1,J1/P-a/r1-from/ABC/elbow,EL-K,,,3,in stock,planner")
    assert made.kinds(structure="P") == {
        "elbow": ("EL-K", 3), "shield ground set": ("GK", 3), "phase tag": ("TAG", 3),
    }  # fmt: skip
    assert made.kinds(structure="Q")["probe"] == ("PB", 3)
    assert "pinned by planner: in stock" in made.lines(structure="P", kind="elbow").iloc[0]["reason"]


def test_a_set_whose_content_does_not_serve_there_is_refused() -> None:
    """EL-K holds a 1/0 connector; the cable is 4/0 and too large besides."""
    made = small(
        positions=AT,
        schedule=RUN.replace("CT-A", "CT-C"),
        pins=f"{PIN}\nJ1,J1/P-a/r1-from/ABC/elbow,EL-K,,,3,in stock,planner",
    )
    assert made.lines(structure="P", kind="elbow").iloc[0]["answer"] == "short"
    assert made.kinds(structure="P")["elbow connector"] == ("CC-40", 3)


def test_a_pin_that_names_no_line_is_told() -> None:
    """The planner must hear that the pin holds nothing."""
    made = small(positions=AT, schedule=RUN, pins=f"{PIN}\nJ1,J1/P-a/r9-from/ABC/elbow,EL-1,,,3,why not,planner")
    assert [(q.sheet, q.column) for q in made.made.questions] == [("pins", "line")]


def test_a_job_has_one_spare_of_each_connector_and_seal_it_uses() -> None:
    """Spares are lines of their own; the policy can turn them off."""
    made = small(positions=AT, schedule=RUN)
    spares = made.made.requirements[made.made.requirements["spare"] == "yes"]
    assert sorted(spares["line"]) == ["J1/job/elbow connector/CC-10/spare", "J1/job/jacket seal/JS-1/spare"]
    none = small(positions=AT, schedule=RUN, policies="policy,value\nspares,no")
    assert "yes" not in set(none.made.requirements["spare"])


def test_a_line_added_by_hand_says_by_whom_and_why() -> None:
    """It has a place, a quantity, a stock code, and its sentence names the person."""
    made = small(
        positions=AT,
        schedule=RUN,
        added_lines="job,structure,position,kind,stock code,quantity,reason,by\nJ1,P,,consumable,W,2,wet vault,M. Osei",
    )
    line = made.lines(kind="consumable").iloc[0]
    assert (line["line"], line["stock_code"], line["quantity"]) == ("J1/P/location/consumable", "W", 2)
    assert "added by hand by M. Osei: wet vault" in line["reason"]


def test_an_owners_table_replaces_its_own_table_only() -> None:
    """The owner's location rules add wipes once an outage; the end rules stay the default ones."""
    made = small(
        positions=AT,
        schedule=RUN,
        rules_location_accessories=(
            "rule,give kind,give quantity,give per,give limits,note,source\n"
            "O1,consumable,1,outage,stock code = W,wipes,owner\nO2,consumable,1,location,stock code = W,wipes,owner"
        ),
    )
    lines = made.lines(kind="consumable")
    assert sorted(lines["line"]) == ["J1/P/location/consumable", "J1/Q/location/consumable", "J1/job/consumable"]
    assert set(lines["rule_revision"]) != {"default 1"}
    assert set(made.lines(kind="elbow")["rule_revision"]) == {"default 1"}


def test_equal_rules_that_disagree_are_a_conflict_that_shows_both() -> None:
    """Two location rules of one rank give different counts: the line is blocked and both are told."""
    rules = "rule,give kind,give quantity,give per,give rank,note,source\n"
    disagreeing = f"{rules}O1,ground lead,1,location,1,one,owner\nO2,ground lead,2,location,1,two,owner"
    made = small(positions=AT, schedule=RUN, rules_location_accessories=disagreeing)
    line = made.lines(kind="ground lead", structure="P").iloc[0]
    assert (line["answer"], line["stock_code"]) == ("conflict", "")
    assert "O1" in line["reason"]
    assert "O2" in line["reason"]
    assert made.made.jobs[0].answer == "conflict"
    ranked = small(
        positions=AT, schedule=RUN, rules_location_accessories=disagreeing.replace("2,location,1", "1,location,2")
    )
    assert "conflict" not in set(ranked.made.requirements["answer"])


def test_a_job_without_a_cutover_is_expanded_and_promised_nothing() -> None:
    """Every line is there; the answer is can't tell."""
    made = small(
        positions=AT,
        schedule=RUN,
        jobs="job,title,depot,cutover\nJ1,First,N,",
        stock="TAG,N,A-1,bin,99",
    )
    assert len(made.lines(kind="phase tag")) == 2
    assert set(made.lines(kind="phase tag")["answer"]) == {"can't tell"}
    assert made.made.promises.empty
    assert made.made.shortages.empty
