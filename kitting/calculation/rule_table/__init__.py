"""Decision tables after the OMG open standard DMN: cell tests, tables, three-valued hits, exact coverage."""

from kitting.calculation.rule_table.cell_tests import CellDoubt, CellTest, Fact, parse_cell
from kitting.calculation.rule_table.coverage import Coverage, check_table
from kitting.calculation.rule_table.domains import Domain
from kitting.calculation.rule_table.limits import Limit, Limits, parse_limits
from kitting.calculation.rule_table.reading import CellFault, read_rule_table
from kitting.calculation.rule_table.rule import Rule
from kitting.calculation.rule_table.table import Hits, PossibleHit, RuleTable, hits
from kitting.calculation.rule_table.vocabulary import FORMS, Condition, TableForm

__all__ = [
    "FORMS",
    "CellDoubt",
    "CellFault",
    "CellTest",
    "Condition",
    "Coverage",
    "Domain",
    "Fact",
    "Hits",
    "Limit",
    "Limits",
    "PossibleHit",
    "Rule",
    "RuleTable",
    "TableForm",
    "check_table",
    "hits",
    "parse_cell",
    "parse_limits",
    "read_rule_table",
]
