"""What a page may load: only what this server sends, and no script or style written into a page."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
Answering = Callable[[HttpRequest], HttpResponseBase]


def content_policy(answering: Answering) -> Answering:
    """Send the policy (W3C Content Security Policy Level 3) with every answer."""

    def with_policy(request: HttpRequest) -> HttpResponseBase:
        response = answering(request)
        response.headers["Content-Security-Policy"] = POLICY
        return response

    return with_policy
