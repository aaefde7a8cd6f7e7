"""Small hand-made books: one depot, one job, a handful of items; a test names only the rows that matter to it."""

import csv
import io
from dataclasses import dataclass
from datetime import date

import pandas as pd

from kitting.calculation.plan_result import Plan
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import Book, read_book
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, raw_sheet

AS_OF = date(2026, 3, 2)

BASE = {
    "policies": "policy,value",
    "depots": "depot,name,time zone\nN,North,America/Chicago",
    "systems": (
        "system,nominal kV,earthing,wires,connector class kV\n"
        "S12,12.47,multigrounded wye,4,15\n"
        "S25,24.94,multigrounded wye,4,25\n"
        "S35,34.5,multigrounded wye,4,35\n"
        "S13D,13.2,ungrounded delta,3,15"
    ),
    "cable types": (
        "cable type,conductor size,metal,insulation,wall (mil),cable class kV,DOI low (in),DOI high (in),jacketed,"
        "jacket low (in),jacket high (in)\n"
        "CT-A,1/0,Al,TR-XLPE,175,15,0.730,0.790,yes,1.00,1.08\n"
        "CT-B,1/0,Al,TR-XLPE,220,15,0.820,0.880,yes,1.09,1.17\n"
        "CT-C,4/0,Al,TR-XLPE,220,15,0.971,1.031,yes,1.27,1.36"
    ),
    "reels": "reel,cable type,origin,DOI low (in),DOI high (in)\nR-1,CT-A,gauge,0.745,0.775\nR-2,CT-B,,,",
    "positions": "structure,position,kind,interface,phases,insert fitted,state",
    "jobs": "job,title,depot,cutover\nJ1,First,N,2026-03-20 08:00\nJ2,Second,N,2026-04-20 08:00",
    "schedule": "job,run,system,phases,cable type,from structure,from position,to structure,to position",
    "items": (
        "stock code,description,kind,class kV,interface,gives interface,DOI low (in),DOI high (in),conductor sizes,"
        "conductor sizes 2,metal,jacket low (in),jacket high (in),MCOV kV,phase to phase,ways,contains,lead days\n"
        "EL-1,Elbow small,elbow,15,200 A 15 kV,,0.600,0.800,,,,,,,yes,,,10\n"
        "EL-2,Elbow large,elbow,15,200 A 15 kV,,0.780,1.100,,,,,,,yes,,,10\n"
        "EL-K,Elbow set,elbow,15,200 A 15 kV,,0.600,0.800,1/0,,Al,,,,yes,,CC-10; PB; JS-1,10\n"
        "CC-10,Connector 1/0,elbow connector,,,,,,1/0,,Al,,,,,,,10\n"
        "CC-40,Connector 4/0,elbow connector,,,,,,4/0,,Al,,,,,,,10\n"
        "PB,Probe,probe,,200 A 15 kV,,,,,,,,,,,,,10\n"
        "BI,Insert,bushing insert,15,200 A 15 kV,,,,,,,,,,yes,,,10\n"
        "FT,Insert feed-through,feed-through insert,15,200 A 15 kV,,,,,,,,,,yes,,,10\n"
        "BI-25,Insert 25,bushing insert,25,200 A 25 kV,,,,,,,,,,yes,,,10\n"
        "PC,Cap,insulated cap,,200 A 15 kV,,,,,,,,,,,,,10\n"
        "SB,Standoff,standoff bushing,,200 A 15 kV,,,,,,,,,,,,,10\n"
        "EA-8,Arrester,elbow arrester,15,200 A 15 kV,,,,,,,,,8.4,,,,10\n"
        "EA-15,Arrester,elbow arrester,15,200 A 15 kV,,,,,,,,,15.3,,,,10\n"
        "JC-3,Junction 3 way,junction,15,200 A 15 kV,,,,,,,,,,yes,3,,10\n"
        "TEE,Tee,tee,15; 25,600 A 15/25 kV,,,,,,,,,,yes,,,10\n"
        "CA,Adapter,cable adapter,,600 A 15/25 kV,,0.700,1.200,,,,,,,,,,10\n"
        "LUG-10,Lug,lug,,,,,,1/0,,Al,,,,,,,10\n"
        "STUD,Stud,stud,,,,,,,,,,,,,,,10\n"
        "IP,Plug,insulating plug,,600 A 15/25 kV,,,,,,,,,,,,,10\n"
        "CP,Plug,connecting plug,,600 A 15/25 kV,,,,,,,,,,,,,10\n"
        "RT,Tap plug,reducing tap plug,,600 A 15/25 kV,200 A 15 kV,,,,,,,,,,,,10\n"
        "CS,Splice,splice,15,,,0.700,1.100,,,,,,,,,,10\n"
        "SC-10,Connector,splice connector,,,,,,1/0,,Al,,,,,,,10\n"
        "RC,Reducer,splice connector,,,,,,4/0,1/0,Al,,,,,,,10\n"
        "JS-1,Seal,jacket seal,,,,,,,,,0.90,1.25,,,,,10\n"
        "JS-2,Seal,jacket seal,,,,,,,,,1.20,1.60,,,,,10\n"
        "GK,Ground set,shield ground set,,,,,,,,,0.90,1.70,,,,,10\n"
        "RJ,Sleeve,rejacketing sleeve,,,,,,,,,0.90,1.70,,,,,10\n"
        "SA,Shield set,shield continuity set,,,,,,,,,0.90,1.70,,,,,10\n"
        "TAG,Tag,phase tag,,,,,,,,,,,,,,,10\n"
        "W,Wipes,consumable,,,,,,,,,,,,,,,10\n"
        "TM,Termination,termination,15,,,0.600,1.200,,,,,,,,,,10\n"
        "RP,Arrester riser,riser arrester,,,,,,,,,,,8.4,,,,10"
    ),
    "stock": "stock code,depot,place,place kind,quantity",
}


@dataclass(frozen=True)
class Small:
    """A small book and its plan, read by kind."""

    book: Book
    made: Plan

    def kinds(self, **facts: str) -> dict[str, tuple[str, object]]:
        """kind (or the line's answer where no kind is known) -> (first stock code, quantity) of the lines."""
        frame = self.lines(**facts)
        names = [kind or answer for kind, answer in zip(frame["kind"], frame["answer"], strict=True)]
        return dict(zip(names, zip(frame["stock_code"], frame["quantity"], strict=True), strict=True))

    def lines(self, **facts: str) -> pd.DataFrame:
        """Lines with these facts, spares apart."""
        frame = self.made.requirements
        for column, value in {"spare": "no", **facts}.items():
            frame = frame[(frame[column] == value).to_numpy()]
        return frame


def small(**rows: str) -> Small:
    """The book and plan of ``small_sheets``."""
    book = read_book(small_sheets(**rows))
    return Small(book, plan(book, as_of=AS_OF))


def small_sheets(**rows: str) -> RawBook:
    """BASE with rows added to sheets (underscores for spaces); a text with its own header replaces the sheet."""
    sheets = {name: _sheet(name, text) for name, text in BASE.items()}
    for name, text in rows.items():
        label = name.replace("_", " ")
        own_header = label not in BASE or text.lstrip().split(",")[0] == BASE[label].split(",")[0]
        sheets[label] = _sheet(label, text.strip() if own_header else f"{BASE[label]}\n{text.strip()}")
    return raw_book(sheets.values())


def _sheet(name: str, text: str) -> RawSheet:
    header, *rows = csv.reader(io.StringIO(text))
    return raw_sheet(name, header, rows)
