"""Every address of the server."""

from kitting.pages.errors import failed, not_found, refused_request
from kitting.pages.routes import addresses

urlpatterns = addresses()
handler400, handler404, handler500 = refused_request, not_found, failed
