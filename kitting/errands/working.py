"""The worker: one errand after the other, and what each kind of errand does."""

import threading
import time
from collections.abc import Callable, Mapping

from django.conf import settings

import inventory.errors
from kitting.errands.lending import LENDING, look_at_lending
from kitting.errands.loading import LOAD, LOOK, load_file, look_at_file
from kitting.errands.looking import LOOK_AT_DRAFT, RECHECK, check_again, look_at_rules
from kitting.errands.pinning import PIN, pin
from kitting.errands.planning import (
    APPLY,
    MOST_KITS,
    PLAN,
    WHAT_IF,
    apply_reviewed,
    ask_what_if,
    count_most_kits,
    make_plan,
)
from kitting.errors import Refusal
from kitting.models import Errand
from kitting.selectors.clock import books_now
from kitting.services.ask_errands import fail_errand, refuse_errand, take_up
from kitting.services.device_loads import tell_silent_devices
from kitting.services.devices import WORKER, Device, acting_on
from kitting.services.mail_notices import Postman

KINDS: Mapping[str, Callable[[Errand], None]] = {
    PIN: pin,
    PLAN: make_plan, APPLY: apply_reviewed, WHAT_IF: ask_what_if, MOST_KITS: count_most_kits,
    LOOK: look_at_file, LOAD: load_file,
    LENDING: look_at_lending, LOOK_AT_DRAFT: look_at_rules, RECHECK: check_again,
}  # fmt: skip
PAUSE_S = 0.5
LOOK_AT_DEVICES_S = 600
MAIL_S = 60


def do_next() -> bool:
    """Do the next errand; False where none waits. A refusal is kept with it; so is a fault, which ends the worker."""
    errand = take_up()
    if errand is None:
        return False
    try:
        with acting_on(Device(WORKER)):
            KINDS[errand.kind](errand)
    except (Refusal, inventory.errors.Refusal) as refusal:
        refuse_errand(errand, refusal.message, {})
    except Exception:
        fail_errand(errand, "The server made a mistake; nothing was stored. Tell the administrator.")
        raise
    return True


def work_until(stop: threading.Event) -> None:
    """Do errands as they come, look now and then for silent devices, and mail what is new, until told to stop."""
    look_at = mail_at = time.monotonic()
    postman = Postman()
    while not stop.is_set():
        if time.monotonic() >= look_at:
            look_at = time.monotonic() + LOOK_AT_DEVICES_S
            with acting_on(Device(WORKER)):
                tell_silent_devices(at=books_now())
        if settings.MAILS_NOTICES and time.monotonic() >= mail_at:
            mail_at = time.monotonic() + MAIL_S
            postman.send_new(at=books_now())
        if not do_next():
            stop.wait(PAUSE_S)
