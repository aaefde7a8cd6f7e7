"""Records of planning and of what people decide about it."""

from kitting.models.approvals import (
    COMPARED,
    ENDED,
    EXTEND_DATE,
    RELEASE_HOLD,
    DutyLimit,
    LotRequest,
    ReserveRelease,
    StandInRequest,
)
from kitting.models.asking import APPROVED, ASKED, REFUSED, Asked
from kitting.models.bags import PLAN_TABLES, Bag, BagEntry, BagLine, Borrow, KeptScan, PlanRow
from kitting.models.errands import Errand
from kitting.models.orders import SentLine, SentSheet
from kitting.models.people import Person
from kitting.models.planning import (
    DIGEST_LENGTH,
    LINE_LENGTH,
    AddedLine,
    Answer,
    AppliedPlan,
    Event,
    Pin,
    Policy,
    Promise,
    RuleRevision,
    StandIn,
)
from kitting.models.printings import Printing
from kitting.models.rule_drafts import (
    DRAFT,
    DROPPED,
    EXAMPLES_PASS,
    MUST_GIVE,
    MUST_REFUSE,
    PUBLISHED,
    REVIEWED,
    RuleDraft,
    RuleExample,
)

__all__ = [
    "APPROVED",
    "ASKED",
    "COMPARED",
    "DIGEST_LENGTH",
    "DRAFT",
    "DROPPED",
    "ENDED",
    "EXAMPLES_PASS",
    "EXTEND_DATE",
    "LINE_LENGTH",
    "MUST_GIVE",
    "MUST_REFUSE",
    "PLAN_TABLES",
    "PUBLISHED",
    "REFUSED",
    "RELEASE_HOLD",
    "REVIEWED",
    "AddedLine",
    "Answer",
    "AppliedPlan",
    "Asked",
    "Bag",
    "BagEntry",
    "BagLine",
    "Borrow",
    "DutyLimit",
    "Errand",
    "Event",
    "KeptScan",
    "LotRequest",
    "Person",
    "Pin",
    "PlanRow",
    "Policy",
    "Printing",
    "Promise",
    "ReserveRelease",
    "RuleDraft",
    "RuleExample",
    "RuleRevision",
    "SentLine",
    "SentSheet",
    "StandIn",
    "StandInRequest",
]
