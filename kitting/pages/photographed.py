"""A code that is photographed where it could be scanned: read from the picture, then it goes on as if it were typed.

``{% photograph %}`` draws the control on a form; ``read_photograph`` is asked before a page sees the form. A form that
looks something up is sent with its picture, and then shown with the code in its address.
"""

from collections.abc import Sequence
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, QueryDict

from kitting.errors import Refusal
from kitting.pages.asked import NOT_KEPT, SECRETS, Asked, done, go_to, loud, page
from kitting.pages.bag_forms import Field
from kitting.pages.typed import NOT_TYPED
from kitting.services.photographed_codes import PhotographedCode, codes_in
from kitting.services.picture_files import check_size

PHOTO, OF, PHOTOGRAPHED = "photo", "photo-of", "photographed"
PHOTO_FIELDS = (PHOTO, OF, PHOTOGRAPHED)
# What becomes of the form: a page is looked up; the form is sent as after a scan; it is shown again with the code.
LOOK, ACT, FILL = "look", "act", "fill"
_MARK = ":"  # between one of these and the field, where the form has but one to photograph
_WAY_OUT = "Go closer until the code fills half of the picture, give it light from the side, hold still; or type it."


def is_photograph(request: HttpRequest) -> bool:
    """Whether a form was sent for the code in its picture."""
    return request.method == "POST" and (PHOTOGRAPHED in request.GET or PHOTOGRAPHED in request.POST)


def way_to_go_on(fields: Sequence[Field]) -> str:
    """What becomes of a form with these fields once a code is photographed: it is sent when nothing else is missing."""
    empty = [one for one in fields if one.required and not one.value]
    return ACT if len(empty) <= 1 and all(one.scans for one in empty) else FILL


def read_photograph(asked: Asked) -> HttpResponse | None:
    """Read the code of a picture into the form: None where its page goes on with it, as after a scan.

    No code, several codes, or no picture at all are asked about on a page that holds all that was typed.
    """
    request = asked.request
    if not is_photograph(request):
        return None
    way, _, name = (request.POST.get(PHOTOGRAPHED) or request.GET[PHOTOGRAPHED]).partition(_MARK)
    way = FILL if way == FILL or (way == ACT and PHOTOGRAPHED in request.GET) else ACT if way == ACT else LOOK
    name = name or asked.text(OF)
    typed: QueryDict = request.POST.copy()
    for one in PHOTO_FIELDS:
        typed.pop(one, None)
    typed.setlist(name, typed.getlist(name)[:-1])  # without what was typed there; bags before it were scanned
    try:
        codes = _photographed(request)
    except Refusal as refusal:
        return _which(asked, name, typed, way, refused=loud(refusal))
    if len(codes) != 1:
        return _which(asked, name, typed, way, codes)
    typed.appendlist(name, codes[0].text)
    if way == ACT:
        request.POST = QueryDict(typed.urlencode())
        return None
    address = f"{request.path}?{urlencode(_to_look_at(request, typed))}"
    return done(asked, "READ", codes[0].words, address) if way == FILL else go_to(address)


def _photographed(request: HttpRequest) -> list[PhotographedCode]:
    """The codes of the picture that was sent.

    Raises:
        Refusal: ``no-picture``, ``no-code``; what ``codes_in`` refuses.
    """
    sent = request.FILES.get(PHOTO)
    if sent is None:
        raise Refusal("no-picture", "NO PICTURE: take a photograph of the code, or type it.", {})
    name = str(sent.name)
    check_size(name, sent.size or 0)
    found = codes_in(name, sent.read())
    if not found:
        raise Refusal("no-code", f"NO CODE FOUND: {_WAY_OUT}", {"file": name})
    return found


def _to_look_at(request: HttpRequest, typed: QueryDict) -> list[tuple[str, str]]:
    """What the address of the page is to say: what was typed, and what else it said before."""
    said = {**{name: texts for name, texts in request.GET.lists() if name != PHOTOGRAPHED}, **dict(typed.lists())}
    return [(name, text) for name, texts in said.items() if name not in NOT_TYPED for text in texts if text]


def _which(
    asked: Asked, name: str, typed: QueryDict, way: str, codes: Sequence[PhotographedCode] = (), *,
    refused: tuple[str, str] = ("", ""),
) -> HttpResponse:  # fmt: skip
    """Ask which code is meant, or for another picture; all else that was typed goes along, and no secret."""
    request, looks = asked.request, way != ACT
    sent = [(one, text) for one, texts in typed.lists() if one not in (*NOT_KEPT, *SECRETS) for text in texts]
    context = {
        "name": name, "codes": codes, "way": way, "looks": looks, "word": refused[0], "sentence": refused[1],
        "kept": _to_look_at(request, typed) if looks else sent,
        "to": request.path if looks else request.get_full_path(),
    }  # fmt: skip
    return page(asked, "photographed.html", context)
