"""The local routes: how the command line and scripts of this computer ask the process that owns the file."""

import logging
import secrets
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.routing import Route

from core.errors import Refused
from core.log.store import Log
from dashboard.commands.desk import perform
from dashboard.server.guard import LOCAL_NAMES, host_name, ip


def local_routes(log: Log, token: str) -> list[Route]:
    """`POST /local/<job>` with the job's arguments as JSON.

    Answers 200 with the answer, 400 with `rule` and `sentence` where the job refuses, 403 to
    anybody but a program of this computer that could read the owner's note.
    """

    async def answer(request: Request) -> JSONResponse:
        if not _may_ask(request, token):
            return _refusal(403, Refused("not_allowed", "Only a program of this computer with the token may ask."))
        try:
            arguments = await _arguments(request)
            return JSONResponse(await run_in_threadpool(perform, log, request.path_params["job"], arguments))
        except Refused as refused:
            return _refusal(400, refused)
        except Exception as error:
            logging.getLogger(__name__).exception("The job %s broke", request.path_params["job"])
            return _refusal(500, Refused("unexpected", f"The server met something unexpected ({error!r})."))

    return [Route("/local/{job}", answer, methods=["POST"])]


def _may_ask(request: Request, token: str) -> bool:
    client = ip(request.client.host) if request.client else None
    given = request.headers.get("authorization", "")
    return (
        client is not None
        and client.is_loopback
        and host_name(request.headers.get("host")) in LOCAL_NAMES
        and "origin" not in request.headers
        and secrets.compare_digest(given.encode(), f"Bearer {token}".encode())
    )


async def _arguments(request: Request) -> dict[str, Any]:
    try:
        arguments = await request.json()
    except ValueError:
        arguments = None
    if not isinstance(arguments, dict):
        raise Refused("bad_arguments", "The arguments must be one JSON object.")
    return arguments


def _refusal(status: int, refused: Refused) -> JSONResponse:
    return JSONResponse({"rule": refused.rule, "sentence": refused.sentence}, status)
