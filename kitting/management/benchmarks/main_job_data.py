"""Made-up planning sheets of any size, repeatable from a seed; all of it is invented, only the shape matters.

Jobs of about fifty runs, one chain of structures each, over a year at four depots; three systems; wells, integral
bushings, 600 A bushings, risers and joints; forty cable types, a fifth of the runs on measured reels; items whose
ranges overlap.
"""

from collections.abc import Iterable, Mapping
from datetime import date, timedelta

import numpy as np
import pandas as pd

from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book

AS_OF = date(2026, 3, 2)
RUNS_A_JOB = 50
DEPOTS = ("N", "H", "M", "K")
SYSTEMS = (("S12", "12.47", "15"), ("S25", "24.94", "25"), ("S35", "34.5", "35"))
INTERFACES = {"15": "200 A 15 kV", "25": "200 A 25 kV", "35": "200 A 35 kV large"}
BIG_INTERFACES = {"15": "600 A 15/25 kV", "25": "600 A 15/25 kV", "35": "600 A 35 kV"}
# Nominal diameters in thousandths of an inch, invented but in the usual places.
SIZES = {"2": 620, "1/0": 700, "2/0": 750, "4/0": 860, "350": 1010, "500": 1140, "750": 1340, "1000": 1500}
EXTRA = {"15": 60, "25": 180, "35": 350}

Columns = Mapping[str, Iterable[str] | np.ndarray]


def _sheet(name: str, columns: Columns) -> RawSheet:
    frame = pd.DataFrame({at: np.asarray(list(column), dtype=object) for at, column in enumerate(columns.values())})
    frame.index = pd.RangeIndex(2, len(frame) + 2)
    return RawSheet(name, tuple(columns), frame)


def _rows(name: str, headers: tuple[str, ...], rows: list[tuple[str, ...]]) -> RawSheet:
    return _sheet(name, dict(zip(headers, zip(*rows, strict=True), strict=True)))


def cable_types() -> list[tuple[str, ...]]:
    """Forty cable types: code, size, metal, class, band over insulation and over the jacket in inches."""
    types: list[tuple[str, ...]] = []
    for class_kv, extra in EXTRA.items():
        for size, diameter in SIZES.items():
            for variant in range(2):
                low = diameter + extra + 30 * variant
                code = f"C{class_kv}-{size.replace('/', '')}-{variant}"
                band = (
                    f"{low / 1000:.3f}",
                    f"{(low + 45) / 1000:.3f}",
                    f"{(low + 250) / 1000:.3f}",
                    f"{(low + 330) / 1000:.3f}",
                )
                types.append(
                    (code, f"{size} {'AWG' if diameter < 900 else 'kcmil'}", "Al", "XLPE", class_kv, "yes", *band)
                )
    return types[:40]


def made_up_book(
    runs: int, *, items: int = 3_000, lots: int = 50_000, runs_a_job: int = RUNS_A_JOB, seed: int = 7
) -> RawBook:
    """All sheets of a made-up book with so many cable runs.

    Args:
        runs: rows of the schedule.
        items: about so many stock codes.
        lots: rows of stock.
        runs_a_job: how many runs each job has.
        seed: the same seed gives the same book.
    """
    random = np.random.default_rng(seed)
    types = cable_types()
    stock_codes = _items(items)
    return raw_book(
        [
            _rows("policies", ("policy", "value"), [("spares", "yes")]),
            _rows("depots", ("depot", "name", "time zone"), [(d, f"Depot {d}", "America/Chicago") for d in DEPOTS]),
            _rows("transfers", ("from", "to", "days"), [(a, b, "1") for a in DEPOTS for b in DEPOTS if a != b]),
            _rows(
                "systems",
                ("system", "nominal kV", "earthing", "wires", "connector class kV"),
                [(code, kv, "multigrounded wye", "4", class_kv) for code, kv, class_kv in SYSTEMS],
            ),
            _rows("cable types", _TYPE_HEADERS, types),
            _rows("items", _ITEM_HEADERS, stock_codes),
            _stock(stock_codes, lots, runs, random),
            *_network(runs, types, random, runs_a_job),
        ]
    )


_TYPE_HEADERS = (
    "cable type", "conductor size", "metal", "insulation", "cable class kV", "jacketed", "DOI low (in)",
    "DOI high (in)", "jacket low (in)", "jacket high (in)",
)  # fmt: skip
_ITEM_HEADERS = (
    "stock code", "description", "kind", "class kV", "interface", "DOI low (in)", "DOI high (in)", "conductor sizes",
    "metal", "jacket low (in)", "jacket high (in)", "MCOV kV", "phase to phase", "lead days", "rank", "shelf months",
)  # fmt: skip


def _item(code: str, kind: str, **facts: str) -> tuple[str, ...]:
    given = {"stock code": code, "description": f"{kind} {code}", "kind": kind, "lead days": "28", **facts}
    return tuple(given.get(header.partition(" (")[0], "") for header in _ITEM_HEADERS)


def _items(count: int) -> list[tuple[str, ...]]:
    """Stock codes whose ranges overlap; every fact that a selectable item needs is given."""
    found = [
        _item(name, kind)
        for name, kind in (("TAG", "phase tag"), ("STUD", "stud"), ("BRK", "bracket"), ("SUP", "cable support"),
                           ("GL", "ground lead"), ("NC", "neutral connector"), ("EC", "end cap"))
    ]  # fmt: skip
    for class_kv, interface in INTERFACES.items():
        big = BIG_INTERFACES[class_kv]
        found.append(
            _item(
                f"BI{class_kv}",
                "bushing insert",
                **{"class kV": class_kv, "interface": interface, "phase to phase": "yes"},
            )
        )
        found.append(_item(f"PB{class_kv}", "probe", interface=interface))
        found.append(_item(f"RA{class_kv}", "riser arrester", **{"MCOV kV": "24.4"}))
        found.append(_item(f"T{class_kv}", "tee", **{"class kV": class_kv, "interface": big, "phase to phase": "yes"}))
        found.append(_item(f"IP{class_kv}", "insulating plug", interface=big))
    for size, diameter in SIZES.items():
        sized = {"conductor sizes": f"{size} {'AWG' if diameter < 900 else 'kcmil'}", "metal": "Al"}
        found += [
            _item(f"{kind[:2].upper()}-{size}", kind, **sized)
            for kind in ("elbow connector", "lug", "splice connector")
        ]
    ranged = list(_ranged(count - len(found)))
    return found + ranged


# Most codes of a real item master are for other gear: they must be passed over, not chosen.
OTHER_GEAR = tuple((class_kv, f"200 A deadbreak {class_kv} kV") for class_kv in EXTRA) + tuple(
    (class_kv, letter) for class_kv in ("6/10(12)", "12/20(24)", "18/30(36)") for letter in "ABC"
)
KINDS_WITH_RANGE = ("elbow", "cable adapter", "splice", "termination", "jacket seal", "shield")


def _ranged(count: int) -> Iterable[tuple[str, ...]]:
    """Housings, adapters, splices, terminations and jacket parts; of each kind and class some two hold a cable."""
    gear = (*((class_kv, interface) for class_kv, interface in INTERFACES.items()), *OTHER_GEAR)
    for number in range(count):
        class_kv, interface = gear[number % len(gear)]
        step = number // len(gear) // len(KINDS_WITH_RANGE)
        low, width = 520 + 95 * (step % 20), 210 + 20 * (step // 20)
        band = {"DOI low": f"{low / 1000:.3f}", "DOI high": f"{(low + width) / 1000:.3f}"}
        jacket = {"jacket low": f"{low / 1000 + 0.2:.3f}", "jacket high": f"{(low + width) / 1000 + 0.35:.3f}"}
        kind = KINDS_WITH_RANGE[number // len(gear) % len(KINDS_WITH_RANGE)]
        code = f"{kind[:2].upper()}{number % len(gear)}-{number}"
        if kind == "elbow":
            place = {"class kV": class_kv, "interface": interface, "phase to phase": "yes"}
            yield _item(code, kind, **place, **band)
        elif kind == "cable adapter":
            yield _item(code, kind, interface=BIG_INTERFACES.get(class_kv, interface), **band)
        elif kind in ("splice", "termination"):
            yield _item(code, kind, **{"class kV": class_kv, "shelf months": "36"}, **band)
        elif number % len(gear) >= len(INTERFACES):  # jacket parts know no class: only a few of them
            yield _item(code, "fused elbow", **{"class kV": class_kv, "interface": interface}, **band)
        elif kind == "jacket seal":
            yield _item(code, kind, **jacket)
        else:
            several = ("shield ground set", "shield continuity set", "rejacketing sleeve")
            yield _item(code, several[number % len(gear)], **jacket)


def _weight(item: tuple[str, ...]) -> int:
    """How many times more of it lies on a shelf than of a housing: one tag serves every end, one lug one size."""
    sized, ranged = bool(item[7]), bool(item[5] or item[9])
    return 2 if ranged else 12 if sized else 60


def _stock(items: list[tuple[str, ...]], lots: int, runs: int, random: np.random.Generator) -> RawSheet:
    """Lots over items, depots and bins; quantities grow with the demand, small parts lie in greater numbers."""
    codes = np.array([row[0] for row in items], dtype=object)
    own_gear = [at for at, row in enumerate(items) if row[4] in ("", *INTERFACES.values(), *BIG_INTERFACES.values())]
    used = np.array(own_gear)[random.integers(0, len(own_gear), lots)]
    picked = np.where(random.random(lots) < 0.9, used, random.integers(0, len(codes), lots))
    weight = np.array([_weight(row) for row in items])[picked]
    dated = np.array([bool(row[-1]) for row in items])[picked]
    mean = max(runs * 90 // lots, 5)
    quantity = random.integers(1, 2 * mean + 1, lots) * weight
    days = random.integers(60, 1500, lots)
    depot = np.array(DEPOTS, dtype=object)[random.integers(0, len(DEPOTS), lots)]
    number = np.arange(lots)
    return _sheet(
        "stock",
        {
            "stock code": codes[picked],
            "depot": depot,
            "place": [f"{d}-{n % 90 + 1:02}-{n // 90 % 40 + 1}" for d, n in zip(depot, number, strict=True)],
            "place kind": np.where(random.random(lots) < 0.03, "reserve", "bin"),
            "lot": [f"L-{n}" for n in number],
            "use by": np.where(dated, [(AS_OF + timedelta(days=int(day))).isoformat() for day in days], ""),
            "quantity": quantity.astype(str),
        },
    )


def _network(runs: int, types: list[tuple[str, ...]], random: np.random.Generator, runs_a_job: int) -> list[RawSheet]:
    """Jobs, positions, reels and the schedule: a chain of structures a job, one position at each end of each run."""
    number = np.arange(runs)
    job = number // runs_a_job
    jobs = int(job[-1]) + 1
    system = random.choice(len(SYSTEMS), jobs, p=(0.7, 0.2, 0.1))[job]
    by_class = [[t[0] for t in types if t[4] == class_kv] for _, _, class_kv in SYSTEMS]
    cable = np.array(
        [by_class[s][c % len(by_class[s])] for s, c in zip(system, random.integers(0, 99, runs), strict=True)],
        dtype=object,
    )
    phases = np.where(
        random.random(runs) < 0.6, "ABC", np.array(["A", "B", "C"], dtype=object)[random.integers(0, 3, runs)]
    )
    from_structure = np.array([f"J{j}-{n}" for j, n in zip(job, number, strict=True)], dtype=object)
    to_structure = np.array([f"J{j}-{n + 1}" for j, n in zip(job, number, strict=True)], dtype=object)
    reels = np.where(random.random(runs) < 0.2, np.char.add("R-", (number // 5).astype(str)).astype(object), "")
    reel_types = dict(zip(reels, cable, strict=True))
    kept = [reel_types.get(reel) == type_ for reel, type_ in zip(reels, cable, strict=True)]
    reels = np.where(kept, reels, "")
    schedule = _sheet(
        "schedule",
        {
            "job": [f"J{j}" for j in job],
            "run": (number % runs_a_job + 1).astype(str),
            "system": np.array([s[0] for s in SYSTEMS], dtype=object)[system],
            "phases": phases,
            "cable type": cable,
            "reel": reels,
            "length (ft)": random.integers(80, 900, runs).astype(str),
            "from structure": from_structure,
            "from position": np.full(runs, "out", dtype=object),
            "to structure": to_structure,
            "to position": np.full(runs, "in", dtype=object),
            "remarks": np.full(runs, "", dtype=object),
        },
    )
    return [
        _jobs(jobs, random),
        _positions(from_structure, to_structure, cable, random),
        _reels(reel_types, types),
        schedule,
    ]


def _jobs(count: int, random: np.random.Generator) -> RawSheet:
    days = random.integers(10, 365, count)
    return _sheet(
        "jobs",
        {
            "job": [f"J{n}" for n in range(count)],
            "title": [f"Job {n}" for n in range(count)],
            "depot": np.array(DEPOTS, dtype=object)[random.integers(0, len(DEPOTS), count)],
            "cutover": [f"{(AS_OF + timedelta(days=int(day))).isoformat()} 08:00" for day in days],
        },
    )


def _positions(start: np.ndarray, end: np.ndarray, cable: np.ndarray, random: np.random.Generator) -> RawSheet:
    kinds = np.array(["well 200 A", "integral 200 A", "bushing 600 A", "riser pole", "joint"], dtype=object)
    chosen = kinds[random.choice(len(kinds), 2 * len(start), p=(0.45, 0.3, 0.12, 0.05, 0.08))]
    class_kv = np.array([code[1:3] for code in np.concatenate([cable, cable])], dtype=object)
    interface = [
        INTERFACES[c] if "200 A" in kind else BIG_INTERFACES[c] if "600 A" in kind else ""
        for kind, c in zip(chosen, class_kv, strict=True)
    ]
    fitted = np.where(chosen == "well 200 A", np.where(random.random(len(chosen)) < 0.5, "yes", "no"), "")
    return _sheet(
        "positions",
        {
            "structure": np.concatenate([start, end]),
            "position": np.repeat(np.array(["out", "in"], dtype=object), len(start)),
            "kind": chosen,
            "interface": interface,
            "insert fitted": fitted,
            "environment": np.full(len(chosen), "dry", dtype=object),
            "existing cable type": np.where(chosen == "joint", np.concatenate([cable, cable]), ""),
        },
    )


def _reels(reel_types: Mapping[str, str], types: list[tuple[str, ...]]) -> RawSheet:
    """Measured reels: a band of a few thousandths inside that of the type."""
    low_of = {row[0]: float(row[6]) for row in types}
    named = [(reel, code) for reel, code in reel_types.items() if reel]
    return _sheet(
        "reels",
        {
            "reel": [reel for reel, _ in named],
            "cable type": [code for _, code in named],
            "origin": ["gauge"] * len(named),
            "DOI low (in)": [f"{low_of[code] + 0.005 + n % 9 * 0.002:.3f}" for n, (_, code) in enumerate(named)],
            "DOI high (in)": [f"{low_of[code] + 0.015 + n % 9 * 0.002:.3f}" for n, (_, code) in enumerate(named)],
        },
    )
