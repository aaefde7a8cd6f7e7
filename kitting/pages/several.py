"""One form that does several things: each under a number of its own, each with its answer."""

from collections.abc import Callable

from django.contrib import messages

from kitting.pages.asked import ANY_REFUSAL, Asked, keep_tried, loud
from kitting.selectors.bag_contents import label_code
from kitting.services.scans import Answer, Scan


def said(asked: Asked, deed: Callable[[], Answer], scan: Scan) -> bool:
    """Do one of several things by this scan, say what came of it and keep it among the last; whether it was done."""
    try:
        answer = deed()
    except ANY_REFUSAL as refusal:
        keep_tried(asked, refusal)
        word, sentence = loud(refusal)
        asked.note(word, sentence)
        messages.error(asked.request, sentence, extra_tags=word)
        return False
    asked.note(answer.word, answer.sentence, action=scan["action"], bag=label_code(answer.bag))
    messages.success(asked.request, answer.sentence, extra_tags=answer.word)
    return True


def numbered(asked: Asked, part: object) -> Scan:
    """The scan of one part of a form, under a number of its own."""
    return {**asked.scan(), "action": f"{asked.action}-{part}"}
