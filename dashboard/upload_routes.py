"""The way in for files: ``/api/uploads``.

``POST`` begins or goes on (201 with ``id`` and ``offset``); ``PUT /api/uploads/ID`` with ``Upload-Offset`` takes a piece (200 with the new
offset; 409 with the right one); ``GET`` tells the offset; ``DELETE`` stops.
"""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from flask import Flask, Response, jsonify, request

from dashboard.workspace import Workspace, uploads
from dashboard.workspace.errors import NotThereError, WorkspaceError
from dashboard.workspace.uploads import BrokenError, OffsetError, TooLargeError, Upload

STATUS: dict[type[WorkspaceError], HTTPStatus] = {
    NotThereError: HTTPStatus.NOT_FOUND,
    OffsetError: HTTPStatus.CONFLICT,
    TooLargeError: HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    BrokenError: HTTPStatus.UNPROCESSABLE_ENTITY,
}


def register(server: Flask, ws: Workspace) -> None:
    """Add the routes to a server."""

    @server.errorhandler(WorkspaceError)
    def told(error: WorkspaceError) -> tuple[Response, HTTPStatus]:
        body: dict[str, Any] = {"error": str(error)}
        if isinstance(error, OffsetError):
            body["offset"] = error.offset
        return jsonify(**body), STATUS.get(type(error), HTTPStatus.BAD_REQUEST)

    @server.post("/api/uploads")
    def begin() -> tuple[Response, HTTPStatus]:
        given = request.get_json(silent=True)
        wanted = {"building": str, "name": str, "size": int, "by": str}
        if not isinstance(given, dict) or any(not isinstance(given.get(k), t) for k, t in wanted.items()):
            return jsonify(error=f"JSON with {', '.join(wanted)} is needed."), HTTPStatus.BAD_REQUEST
        modified, sha256 = given.get("modified", 0), given.get("sha256")
        upload = uploads.begin(
            ws,
            given["building"],
            given["name"],
            given["size"],
            by=given["by"],
            modified=modified if isinstance(modified, int) else 0,
            sha256=sha256 if isinstance(sha256, str) else None,
        )
        return _told(upload), HTTPStatus.CREATED

    @server.get("/api/uploads/<token>")
    def look(token: str) -> Response:
        return _told(uploads.get(ws, token))

    @server.put("/api/uploads/<token>")
    def piece(token: str) -> Response | tuple[Response, HTTPStatus]:
        offset, length = request.headers.get("Upload-Offset", ""), request.content_length
        if not offset.isascii() or not offset.isdigit() or length is None:
            return jsonify(error="Upload-Offset and Content-Length are needed."), HTTPStatus.BAD_REQUEST
        return _told(uploads.add(ws, token, int(offset), request.stream, length))

    @server.delete("/api/uploads/<token>")
    def stop(token: str) -> tuple[str, HTTPStatus]:
        uploads.stop(ws, token)
        return "", HTTPStatus.NO_CONTENT


def _told(upload: Upload) -> Response:
    return jsonify(
        id=upload.id, name=upload.name, size=upload.size, offset=upload.received, ended=upload.ended, file=upload.file
    )
