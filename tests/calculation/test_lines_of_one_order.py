"""Pieces promised from several lines of one order stay with them in a new plan."""

from small_books import AS_OF, small

from kitting.calculation.planning import plan

POSITIONS = "P1,a,integral 200 A,200 A 15 kV,ABC,,in use\nP2,a,integral 200 A,200 A 15 kV,ABC,,in use"
RUN = "J1,1,S12,ABC,CT-A,P1,a,P2,a"
ORDERS = "order,line,stock code,quantity,depot,promised\nPO-1,1,EL-1,3,N,2026-03-05\nPO-1,2,EL-1,3,N,2026-03-09"


def test_pieces_of_both_lines_of_an_order_stay_though_others_turn_up_on_the_shelf() -> None:
    before = small(positions=POSITIONS, schedule=RUN, orders=ORDERS).made
    now = small(positions=POSITIONS, schedule=RUN, orders=ORDERS, stock="EL-1,N,A-1,bin,6").made
    kept = plan(now.book, as_of=AS_OF, earlier=before.promises)
    assert kept.moved is not None
    assert kept.moved["why"].tolist() == []
    for made, sources in ((before, {"order"}), (now, {"shelf"}), (kept, {"order"})):
        elbows = made.promises[(made.promises["stock_code"] == "EL-1").to_numpy()]
        assert (sum(elbows["quantity"]), set(elbows["source"])) == (6, sources)
