"""Small books to load into the records, and what a test asks of the records."""

from datetime import UTC, datetime

from django.apps import apps
from small_books import small_sheets

from kitting.calculation.sheets.raw import RawBook
from kitting.services.load_sheets import Loaded, load_sheets

AT = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
POSITIONS = "\n".join(f"P{number},a,integral 200 A,200 A 15 kV,ABC,,in use" for number in range(1, 6))
RUNS = [f"J1,{number},S12,ABC,CT-A,P{number},a,P{number + 1},a" for number in range(1, 5)]
STOCK = "stock code,depot,place,place kind,lot,use by,quantity"
EVERYTHING = {
    "policies": "staging days,2",
    "depots": "depot,name,time zone,closed days\nN,North,America/Chicago,2026-04-03\nH,Harbor,America/Chicago,",
    "transfers": "from,to,days\nN,H,1\nH,N,1",
    "positions": POSITIONS,
    "bag_depots": "job,structure,depot\nJ1,P5,H",
    "schedule": "\n".join(RUNS),
    "levels": "stock code,depot,min,max,reserve floor\nEL-1,N,2,20,1",
    "stock": f"{STOCK}\nEL-1,N,A-1,bin,L-1,2027-01-31,24\nEL-2,N,A-2,bin,,,6\nW,H,B-1,reserve,,,1",
    "orders": "order,line,stock code,quantity,depot,promised,supplier\nPO-1,1,EL-2,24,N,2026-03-18,Larkfield Supply",
    "stand_ins": "wanted,allowed,system,from,to,max quantity,approved by,reason\nEL-1,EL-2,S12,,2026-12-31,5,M. Osei,",
    "pins": "job,line,stock code,lot,depot,quantity,reason,by\nJ1,J1/P1-a/r1-from/ABC/elbow,EL-1,L-1,N,3,ok,R. Tolley",
    "added_lines": "job,structure,position,kind,stock code,quantity,reason,by\nJ1,P1,a,consumable,W,2,dusty,R. Tolley",
}


def everything(**rows: str) -> RawBook:
    """A book with rows on every sheet; a sheet that is named here is another one."""
    return small_sheets(**{**EVERYTHING, **rows})


def load(raw: RawBook, *, by: str = "R. Tolley") -> Loaded:
    """Load a book as it stands."""
    return load_sheets(raw=raw, by=by, at=AT)


def rows_in_every_table() -> dict[str, int]:
    """How many rows each table of the records has."""
    models = [model for name in ("jobs", "inventory", "kitting") for model in apps.get_app_config(name).get_models()]
    return {model.__name__: model._default_manager.count() for model in models}
