"""Build the site from a library: the same input gives the same bytes, and only changed files are written.

Pages of lectures are made one lecture at a time; what the index pages need of each is gathered on the way. Files of
an earlier build that are not made again are deleted, so that a removed lecture leaves nothing behind.
"""

from __future__ import annotations

import csv
import hashlib
import html
import io
import json
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from importlib import resources
from pathlib import Path
from typing import Any

import msgspec
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from notesmith.extract import STANDING_LINE
from notesmith.extract.privacy import mute_spans
from notesmith.files import write_if_changed
from notesmith.library import Library
from notesmith.recording import encode_web_copy
from notesmith.site.records import write_search
from notesmith.site.views import LectureView, link, shown, slug
from notesmith.transcribe.captions import vtt_clock
from notesmith.vocabulary import Vocabulary

Entry = dict[str, Any]


class SiteReport(msgspec.Struct, frozen=True):
    """``written`` counts files whose bytes changed; ``remarks`` are for the user."""

    folder: Path
    pages: int
    written: int
    remarks: tuple[str, ...] = ()


def clock(ms: int) -> str:
    """Minutes and seconds, hours where there are any.

    >>> clock(3_723_000), clock(65_000)
    ('1:02:03', '1:05')
    """
    seconds = ms // 1000
    if seconds >= 3600:
        return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    return f"{seconds // 60}:{seconds % 60:02d}"


class _Builder:
    def __init__(self, library: Library, folder: Path) -> None:
        self.library = library
        self.vocabulary: Vocabulary = library.vocabulary
        self.folder = folder
        self.made: set[str] = set()
        self.written = 0
        self.pages = 0
        self.remarks: list[str] = []
        self.environment = Environment(
            loader=PackageLoader("notesmith.site"), autoescape=select_autoescape(default=True),
            undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
        )  # fmt: skip
        self.environment.globals.update(clock=clock, standing=STANDING_LINE, settings=library.settings)

    def put(self, name: str, data: str | bytes) -> None:
        self.made.add(name)
        self.written += write_if_changed(self.folder / name, data)

    def page(self, name: str, template: str, **values: Any) -> None:
        empty = dict.fromkeys(("letters", "groups", "cases", "covered", "rx", "compared", "relations", "taught",
                               "passing", "rows"), ())  # fmt: skip
        defaults = {"root": "../" * name.count("/"), "here": "", "date": "", "intro": "", "also": "", **empty}
        text = self.environment.get_template(template).render({**defaults, **values})
        self.put(name, text + "\n")
        self.pages += 1


def build(library: Library, folder: Path, report: Callable[[int, int], None] | None = None) -> SiteReport:
    """Build or refresh the site in a folder. Raises OutputError."""
    builder = _Builder(library, folder)
    entries = list(library.entries())
    views: list[LectureView] = []
    for number, entry in enumerate(entries):
        view = LectureView(library.content(entry.lecture.id), library.vocabulary, library.verdicts)
        views.append(view)
        _session(builder, view)
        if report is not None:
            report(number + 1, len(entries) + 1)
    for name in ("style.css", "session.js", "search.js"):
        builder.put(f"static/{name}", resources.files("notesmith.site").joinpath("static", name).read_bytes())
    _home(builder, views)
    _concepts(builder, views)
    _lists(builder, views)
    _feed(builder, views)
    builder.remarks += write_search(builder.folder, builder.put, views, library.vocabulary)
    _sweep(builder)
    if report is not None:
        report(len(entries) + 1, len(entries) + 1)
    return SiteReport(folder, builder.pages, builder.written, tuple(builder.remarks))


# ---------------------------------------------------------------- a lecture


def _session(b: _Builder, view: LectureView) -> None:
    lecture = view.content.lecture
    audio = _audio(b, view)
    by_kind: dict[str, list[Entry]] = defaultdict(list)
    for point in view.points:
        by_kind[point["kind"]].append(point)
    stem = f"session/{lecture.id}"
    b.page(
        f"{stem}.html", "session.html", title=view.session["title"], here="sessions", date=lecture.date or "",
        session=view.session, remedies=view.remedies, audio=audio, parts=view.parts(), points=list(by_kind.items()),
        comparisons=view.comparisons, cases=view.cases, rx=view.rx, questions=view.questions, carry=view.carry,
        cautions=view.cautions, transcript=view.transcript() if b.library.settings.publish.transcript else (),
    )  # fmt: skip
    b.put(f"{stem}.cards.csv", _cards(view))
    b.put(f"{stem}.vtt", _captions(view))
    b.put(f"{stem}.jsonld", _metadata(b, view, audio))


def _audio(b: _Builder, view: LectureView) -> str | None:
    """The published copy of the recording, made again only when what is silenced in it changes."""
    lecture = view.content.lecture
    source = b.library.media_path(lecture)
    if not b.library.settings.publish.audio or source is None or not source.is_file():
        return None
    spans = mute_spans(view.content.extraction.persons, view.content.transcript.words, view.rulings)
    silenced = ";".join(f"{span.start_ms}-{span.end_ms}" for span in spans)
    key = hashlib.sha256(f"{lecture.recording_sha256} {silenced}".encode()).hexdigest()[:10]
    name = f"media/{lecture.id}-{key}.mp3"
    b.made.add(name)
    if not (b.folder / name).is_file():
        encode_web_copy(source, b.folder / name, spans)
        b.written += 1
    return name


def _cards(view: LectureView) -> str:
    """Flashcards: the point in front, the remedy behind; cells that a spreadsheet would run are disarmed."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["front", "back", "kind", "session", "time"])
    for point in view.points:
        if point["remedy"]:
            name = point["remedy"]["label"]
            front = point["text"].replace(name, "…").replace(name.split()[0], "…")
            cells = [front, name, point["kind"], view.session["title"], clock(point["start_ms"])]
            writer.writerow([f"'{cell}" if cell[:1] in "=+-@\t" else cell for cell in cells])
    return out.getvalue()


def _captions(view: LectureView) -> str:
    blocks = ["WEBVTT"]
    for line in view.transcript():
        said = " ".join(token["text"] for token in line["tokens"])
        if said:
            end = max(line["end_ms"], line["start_ms"] + 1)
            blocks.append(f"{vtt_clock(line['start_ms'])} --> {vtt_clock(end)}\n{html.escape(said, quote=False)}")
    return "\n\n".join(blocks) + "\n"


def _metadata(b: _Builder, view: LectureView, audio: str | None) -> str:
    """schema.org: a LearningResource with Clips for its parts."""
    lecture, settings = view.content.lecture, b.library.settings
    value: dict[str, Any] = {
        "@context": "https://schema.org",
        "@type": ["LearningResource", "AudioObject"] if audio else "LearningResource",
        "name": view.session["title"],
        "inLanguage": settings.language,
        "learningResourceType": "lecture",
        "isPartOf": {"@type": "Course", "name": settings.title},
        "teaches": [remedy["label"] for remedy in view.remedies],
        "hasPart": [
            {"@type": "Clip", "name": part.kind, "startOffset": part.time.start_ms // 1000,
             "endOffset": part.time.end_ms // 1000}
            for part in view.content.extraction.parts if part.kind != "housekeeping"
        ],
    }  # fmt: skip
    if lecture.date:
        value["datePublished"] = lecture.date
    if settings.publish.base_url:
        value["url"] = f"{settings.publish.base_url.rstrip('/')}/session/{lecture.id}.html"
    return json.dumps(value, ensure_ascii=False, indent=1, sort_keys=True) + "\n"


# ---------------------------------------------------------------- the course


def _session_entry(view: LectureView) -> Entry:
    return {"href": view.session["href"], "label": view.session["title"], "note": view.session["line"]}


def _home(b: _Builder, views: list[LectureView]) -> None:
    latest = sorted(views, key=lambda v: (v.session["date"], v.session["stem"]), reverse=True)
    series: dict[str, list[Entry]] = defaultdict(list)
    for view in views:
        series[view.content.lecture.series or "Other sessions"].append(_session_entry(view))
    coming = [
        {"label": carry["text"], "href": f"{view.session['href']}#t={carry['start_ms'] // 1000}", "note": ""}
        for view in latest[:3] for carry in view.carry if carry["direction"] == "promised"
    ]  # fmt: skip
    groups: list[tuple[str, list[Entry]]] = [("Latest", [_session_entry(view) for view in latest[:5]])]
    groups += [(f"Series: {name}", entries) for name, entries in series.items()]
    if coming:
        groups.append(("Promised for later", coming[:8]))
    b.page("index.html", "list.html", title=b.library.settings.title, intro=b.library.settings.subject, groups=groups)
    b.page("sessions.html", "list.html", title="Sessions", here="sessions",
           groups=[("All sessions", [_session_entry(view) for view in latest])])  # fmt: skip
    paragraphs = (
        STANDING_LINE,
        "These notes are made from recordings on the lecturer's own machine: speech is written down by a speech model, "
        "misheard terms are restored against a controlled vocabulary, and points and cases are picked out by rules. "
        "Nothing is added that was not said. Restored words are underlined in each transcript with what was heard.",
        "Names of students, patients, relatives and small places are replaced by roles, and those words are silent in "
        "the published sound. A voice is itself an identifier: taking names out does not make a recording anonymous.",
        "Search works where the site is served from a web address. Opened as a file from a disk or stick, everything "
        "else works: pages, sound, indexes and revision; browsers do not let a page opened as a file read the index.",
    )
    b.page("about.html", "page.html", title="About these notes", paragraphs=paragraphs)


def _concepts(b: _Builder, views: list[LectureView]) -> None:
    """A page for each remedy and each rubric or symptom, and one for each pair that was compared."""
    points: dict[str, list[Entry]] = defaultdict(list)
    cases: dict[str, list[Entry]] = defaultdict(list)
    rx: dict[str, list[Entry]] = defaultdict(list)
    moments: dict[str, list[tuple[Entry, int, str, bool]]] = defaultdict(list)
    pairs: dict[tuple[str, str], list[Entry]] = defaultdict(list)
    for view in views:
        for point in view.points:
            for concept_id in sorted({point["remedy_id"], *point["rubric_ids"]} - {None}):
                points[concept_id].append(point)
        for case in view.cases:
            for concept_id in case["remedy_ids"]:
                cases[concept_id].append(case)
        for row in view.rx:
            if row["remedy_id"]:
                rx[row["remedy_id"]].append(row)
        for mention in view.content.extraction.mentions:
            said = view.clean(mention.said, mention.words)
            moments[mention.concept_id].append((view.session, mention.time.start_ms, said, mention.taught))
        for comparison in view.comparisons:
            first, second = sorted((comparison["left_id"], comparison["right_id"]))
            swapped = comparison["left_id"] != first
            for row in comparison["rows"]:
                left, right = (row["right"], row["left"]) if swapped else (row["left"], row["right"])
                pairs[first, second].append({**row, "left": left, "right": right})
    wanted = sorted(
        one for one in {*points, *cases, *rx, *moments}
        if one in b.vocabulary and b.vocabulary[one].scheme in ("remedy", "family", "rubric", "medical")
    )  # fmt: skip
    for concept_id in wanted:
        concept = b.vocabulary[concept_id]
        by_kind: dict[str, list[Entry]] = defaultdict(list)
        for point in points[concept_id]:
            by_kind[point["kind"]].append(point)
        name = link(b.vocabulary, concept_id)["href"]
        chapter = f"{b.vocabulary.label('chapter/' + concept_id.split('/')[1])}. " if concept.scheme == "rubric" else ""
        also = (*concept.fact("abbreviation"), *concept.alt_labels[:6], *concept.fact("common"))
        b.page(
            name, "concept.html", title=concept.pref_label,
            here="remedies" if name.startswith("remedy/") else "symptoms",
            also=chapter + ", ".join(dict.fromkeys(also)), groups=list(by_kind.items()), cases=cases[concept_id],
            covered=[(kind, len(group)) for kind, group in by_kind.items()], rx=rx[concept_id],
            compared=[
                {"href": _pair_page(*pair), "label": b.vocabulary.label(pair[1] if pair[0] == concept_id else pair[0])}
                for pair in sorted(pairs) if concept_id in pair
            ],
            relations=[
                {"relation": r.relation, "other": b.vocabulary.label(r.other), "book": r.book,
                 "memory": "memory" in r.source}
                for r in b.vocabulary.relations_of.get(concept_id, ())
            ],
            taught=[m[:3] for m in moments[concept_id] if m[3]],
            passing=[m[:3] for m in moments[concept_id] if not m[3]],
        )  # fmt: skip
    for pair, rows in sorted(pairs.items()):
        left, right = (b.vocabulary.label(one) for one in pair)
        b.page(_pair_page(*pair), "concept.html", here="remedies", rows=rows, title=f"{left} and {right}", left=left,
               right=right)  # fmt: skip
    remedies = [one for one in wanted if link(b.vocabulary, one)["href"].startswith("remedy/")]
    count = Counter({one: len(points[one]) for one in wanted})
    _letters(b, "remedies", "Remedies", remedies, count)
    _letters(b, "symptoms", "Symptoms and conditions", (one for one in wanted if one not in set(remedies)), count)


def _pair_page(first: str, second: str) -> str:
    return f"compare/{slug(first)}-and-{slug(second)}.html"


def _letters(b: _Builder, here: str, title: str, ids: Iterable[str], count: Counter[str]) -> None:
    groups: dict[str, list[Entry]] = defaultdict(list)
    for one in sorted(ids, key=lambda i: (b.vocabulary.label(i).casefold(), i)):
        chapter = f"{b.vocabulary.label('chapter/' + one.split('/')[1])}. " if one.startswith("rubric/") else ""
        note = chapter + (f"{count[one]} points" if count[one] else "in passing")
        groups[b.vocabulary.label(one)[:1].upper()].append({**link(b.vocabulary, one), "note": note})
    b.page(f"{here}.html", "list.html", title=title, here=here, letters=sorted(groups), groups=sorted(groups.items()))


def _lists(b: _Builder, views: list[LectureView]) -> None:
    b.page("cases.html", "list.html", title="Cases", here="cases",
           intro="Cases as they were told. They prove nothing about a remedy.",
           cases=[case for view in views for case in view.cases])  # fmt: skip
    asked = [
        (view.session["title"],
         [{"href": f"{view.session['href']}#{q['anchor']}", "label": q["text"],
           "note": "" if q["answer"] else "not answered yet"} for q in view.questions])
        for view in views if view.questions
    ]  # fmt: skip
    b.page("questions.html", "list.html", title="Questions", here="questions", groups=asked)
    used = {m.concept_id for view in views for m in view.content.extraction.mentions}
    words = [
        {"href": "", "label": shown(concept.pref_label), "note": "; ".join(concept.fact("gloss"))}
        for concept in sorted(b.vocabulary.in_scheme("idea"), key=lambda c: c.pref_label.casefold())
        if concept.id in used and concept.fact("gloss")
    ]
    b.page("glossary.html", "list.html", title="Glossary", here="glossary",
           groups=[("Terms used in the sessions", words)])  # fmt: skip
    b.page(
        "search.html", "search.html", title="Search", here="search", kinds=("case", "moment", "point", "question"),
        remedies=sorted({p["remedy"]["label"] for view in views for p in view.points if p["remedy"]}),
        sessions=[view.session["title"] for view in views],
    )  # fmt: skip


def _feed(b: _Builder, views: list[LectureView]) -> None:
    """Atom (RFC 4287); dates are the lectures', so that the same input gives the same bytes."""
    base = (b.library.settings.publish.base_url or "").rstrip("/")
    root = base or "urn:notesmith:site"
    dated = sorted((v for v in views if v.session["date"]), key=lambda v: v.session["date"], reverse=True)
    newest = dated[0].session["date"] if dated else "1970-01-01"
    lines = [
        '<?xml version="1.0" encoding="utf-8"?>', '<feed xmlns="http://www.w3.org/2005/Atom">',
        f"<title>{html.escape(b.library.settings.title)}</title>", f"<id>{html.escape(root)}/feed</id>",
        f"<updated>{newest}T00:00:00Z</updated>",
        f"<author><name>{html.escape(b.library.settings.lecturer)}</name></author>",
    ]  # fmt: skip
    for view in dated[:20]:
        where = view.session["href"]
        lines += [
            "<entry>", f"<title>{html.escape(view.session['title'])}</title>", f"<id>{html.escape(root)}/{where}</id>",
            f'<link href="{html.escape(f"{base}/{where}" if base else where)}"/>',
            f"<updated>{view.session['date']}T00:00:00Z</updated>", "</entry>",
        ]  # fmt: skip
    b.put("feed.xml", "\n".join([*lines, "</feed>"]) + "\n")


def _sweep(b: _Builder) -> None:
    """Delete what this build did not make."""
    for path in sorted(b.folder.rglob("*"), reverse=True):
        name = path.relative_to(b.folder).as_posix()
        if path.is_dir():
            if not any(path.iterdir()):
                path.rmdir()
        elif name not in b.made and not name.startswith("pagefind/"):
            path.unlink()
