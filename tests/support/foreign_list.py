"""A contractor's list of cable runs, with headings, words and decimal commas of its own: the demo's J05."""

TITLE = "Dock contractor, list of cables\n\n"
HEADINGS = "WO;Cable;Net;Ph;Kind of cable;Ins. dia;From pad;Bushing;To pad;Bushing;Route length;Drawing\n"
RUNS = (
    "J05;1;S20M;3;CT-15;;D1;a;D2;a;84,5;DR-1\n"
    "J05;2;S20M;3;CT-14;23,6;D2;b;D3;a;120,25;DR-1\n"
    "J05;3;S20M;3;CT-14;23,62;D3;b;D4;a;97;DR-2\n"
    "J05;4;S20M;3;CT-14;;D4;b;D5;a;61,0;DR-2\n"
)
LIST = TITLE + HEADINGS + RUNS
# What a person says of each heading: its name on the page -> our column.
COLUMNS = {
    "WO": "job", "Cable": "run", "Net": "system", "Ph": "phases", "Kind of cable": "cable type", "Ins. dia": "DOI low",
    "From pad": "from structure", "Bushing": "from position", "To pad": "to structure", "Bushing #2": "to position",
    "Route length": "length", "Drawing": "not used, on purpose",
}  # fmt: skip
CELLS = {
    "unit-5": "mm", "decimal-5": "comma", "unit-10": "m", "decimal-10": "comma", "word-3-0": "ABC",
    "name": "Dock contractor",
}  # fmt: skip
SAID = {f"is-{at}": target for at, target in enumerate(COLUMNS.values())}
WHERE = {"sheet": "dock list", "row": "3", "holds": "schedule"}
