"""The desk as an ASGI application: its addresses, its guard, and errors told in plain words."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from notesmith.course import Course
from notesmith.desk import (
    coverage_page,
    editor,
    flow,
    home,
    label,
    names,
    notes_editor,
    potencies,
    publication,
    recorder,
    removal,
    settings,
    sound,
    uploads,
    words,
)
from notesmith.desk.context import HERE, Desk, came_from, desk_of, error_status
from notesmith.desk.guard import App, Guard, Keys, new_keys
from notesmith.desk.opening import OPENING_FILE, Openings
from notesmith.desk.suggest import warm
from notesmith.desk.worker import Worker
from notesmith.errors import NotesmithError

PLAIN_STATUS = {404: "There is no such page at the desk.", 405: "That page does not take this kind of request."}


def make_app(course: Course, *, port: int, keys: Keys | None = None, who: str = "", work: bool = True) -> App:
    """The desk over one course, behind its guard. ``work`` starts the background worker with the application."""
    desk = Desk(course, keys or new_keys(), who or "a person at the desk")
    worker = Worker(desk) if work else None

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        if worker is not None:
            worker.start()
            threading.Thread(target=warm, args=(desk.vocabulary,), name="desk-sounds", daemon=True).start()
        yield
        if worker is not None:
            worker.stop()

    previewed, published = (
        StaticFiles(directory=folder, html=True, check_dir=False) for folder in (desk.preview, course.site)
    )
    previewed.config_checked = published.config_checked = True  # nothing built yet is a page not there, not a fault
    app = Starlette(
        routes=[
            Route("/", home.home),
            Route("/jobs", home.job_list),
            Route("/applying", home.applying),
            Route("/jobs/{id}/cancel", uploads.cancel, methods=["POST"]),
            Route("/jobs/{id}/retry", uploads.retry, methods=["POST"]),
            Route("/jobs/{id}/forget", uploads.forget, methods=["POST"]),
            Route("/uploads", uploads.begin, methods=["POST"]),
            Route("/record", recorder.page),
            Route("/record", recorder.begin, methods=["POST"]),
            Route("/record/{id}/finish", recorder.finish, methods=["POST"]),
            Route("/sample", uploads.add_samples, methods=["POST"]),
            Route("/uploads/{id}", uploads.state),
            Route("/uploads/{id}", uploads.put, methods=["PUT"]),
            Route("/clip/{lecture}.wav", sound.clip_wav),
            Route("/words", words.words),
            Route("/words", words.decide, methods=["POST"]),
            Route("/words/other", words.other, methods=["POST"]),
            Route("/words/new", words.new_term, methods=["POST"]),
            Route("/words/suggest", words.suggestions),
            Route("/undo", words.undo, methods=["POST"]),
            Route("/names", names.page),
            Route("/names", names.decide, methods=["POST"]),
            Route("/potencies", potencies.page),
            Route("/potencies", potencies.decide, methods=["POST"]),
            Route("/next", flow.go_on),
            Route("/lectures/{lecture}/remove", removal.page),
            Route("/lectures/{lecture}/remove", removal.remove, methods=["POST"]),
            Route("/removed/{lecture}/back", removal.bring_back, methods=["POST"]),
            Route("/removed/{lecture}/delete", removal.delete, methods=["POST"]),
            Route("/notes", notes_editor.overview),
            Route("/notes/{lecture}", notes_editor.page),
            Route("/notes/{lecture}", notes_editor.decide, methods=["POST"]),
            Route("/notes/{lecture}/label", label.label, methods=["POST"]),
            Route("/notes/{lecture}/around", notes_editor.around),
            Route("/coverage", coverage_page.page),
            Route("/settings", settings.page),
            Route("/settings", settings.save, methods=["POST"]),
            Route("/settings/text", settings.add_text, methods=["POST"]),
            Route("/settings/profile", settings.save_profile, methods=["POST"]),
            Route("/history", notes_editor.history),
            Route("/terms", editor.browse),
            Route("/terms/one", editor.term),
            Route("/terms/spellings", editor.spellings),
            Route("/terms/effect", editor.effect),
            Route("/terms/label", editor.add_label, methods=["POST"]),
            Route("/terms/edit", editor.edit, methods=["POST"]),
            Route("/terms/heard", editor.heard_form),
            Route("/publish", publication.page),
            Route("/publish", publication.publish, methods=["POST"]),
            Route("/publish/state", publication.state),
            Route("/preview", publication.preview, methods=["POST"]),
            Mount("/preview", previewed),
            Mount("/site", published),
            Mount("/static", StaticFiles(directory=Path(HERE) / "static")),
        ],
        exception_handlers={NotesmithError: _told, HTTPException: _told_http, Exception: _told_defect},
        lifespan=lifespan,
    )
    app.state.desk = desk
    openings = Openings(desk.keys.opening, course.folder / OPENING_FILE)
    return Guard(app, keys=desk.keys, port=port, refuse=desk.refuse, openings=openings)


def _told(request: Request, error: Exception) -> Response:
    assert isinstance(error, NotesmithError)
    message = str(error).replace(f"{desk_of(request).course.folder}/", "")
    return desk_of(request).refuse(error_status(error), message, came_from(request))


def _told_http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return desk_of(request).refuse(error.status_code, PLAIN_STATUS.get(error.status_code, "That cannot be done."))


def _told_defect(request: Request, error: Exception) -> Response:
    noted = desk_of(request).note_defect(error)
    message = (
        f"A defect of the program ({type(error).__name__}), noted in {noted}. Nothing was lost; go back and try again."
    )
    return desk_of(request).refuse(500, message, came_from(request))
