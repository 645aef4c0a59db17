"""The order of a lecturer's work: words, names, potencies, then the checklist; one address leads to what is next."""

from __future__ import annotations

from collections.abc import Sequence

from starlette.requests import Request
from starlette.responses import Response

from notesmith.desk.context import Desk, desk_of, numbers, see_other
from notesmith.desk.names import names
from notesmith.desk.potencies import open_potencies
from notesmith.desk.queue import word_queue
from notesmith.store import Store
from notesmith.verdicts import VerdictEntry


def next_address(desk: Desk, store: Store, verdicts: Sequence[VerdictEntry]) -> str:
    """Words come first, because a restored term is no name any more."""
    if not store.lectures():
        return "/"
    if word_queue(desk.vocabulary, store, verdicts):
        return "/words"
    if any(item.open for item in names(store, verdicts)):
        return "/names"
    return "/potencies" if open_potencies(store, verdicts) else "/publish"


def go_on(request: Request) -> Response:
    """GET /next?did=1,2: to the page where something waits; ``did`` are the decisions just made."""
    desk = desk_of(request)
    did = [str(one) for one in numbers(request.query_params.get("did", ""), "a decision")]
    with desk.store() as store:
        address = next_address(desk, store, store.verdicts())
    return see_other(f"{address}?did={','.join(did)}" if did else address)
