from django.http import HttpResponse

from academy.transfer.downloads import Download


def as_response(made: Download, *, name: str) -> HttpResponse:
    """A download under a file name of our own making: ``name`` without its ending."""
    headers = {"Content-Disposition": f'attachment; filename="{name}.{made.ending}"'}
    return HttpResponse(made.content, content_type=made.content_type, headers=headers)
