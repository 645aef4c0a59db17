"""The pages of the site: from what was kept of the lectures to HTML, captions, cards and the feed."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import uuid
from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import msgspec
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from notesmith.annotations import PointKind
from notesmith.coverage import REMEDY_ASPECTS
from notesmith.extract import STANDING_LINE
from notesmith.lecture import CourseSettings
from notesmith.notes import FINDING_LABELS, KIND_TITLES, PART_TITLES, POINT_KINDS, clock, iso_duration, minutes
from notesmith.site.cards import Card, CarryCard, CautionCard, Head, PointCard, SentenceCard, Share, pair_key
from notesmith.transcribe.captions import vtt_clock
from notesmith.vocabulary import Vocabulary
from notesmith.vocabulary.expand import stems_of, words_of

HERE = Path(__file__).resolve().parent
MOST_SESSIONS = 120  # sessions shown on a course-wide page; more are found by search
MOST_TEXT = 400_000  # characters of them, which a cheap phone can still show
LIST_PAGE = {"cases": 10, "questions": 15, "sessions": 50}  # sessions on a full page, about 100 KB for a cheap phone
LINKED_PAGES = 12  # a list of more pages is linked page to page, so that a new one changes few of the others
INDEX_LINKS = 16  # about as many pages its index links to, evenly spaced
FAR = 10  # pages on and back that each is linked to besides the next
INDEX_PAGE = 500  # entries on a page of an alphabetical index; one of twice as many is not cut
INDEXES = ("remedies", "symptoms", "terms", "compare")
FEED_ENTRIES = 30
CLUES = 6
CLUE_STEMS = 2
CAPTION_WORDS = 14
CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; connect-src 'self';"
    " base-uri 'none'; form-action 'self'"
)
# Controls and direction overrides have no place in print: they can make a line read as what it is not.
_CONTROLS = re.compile(
    r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff\ud800-\udfff\ufffe\uffff]"
)
LISTS = ("cases", "questions", "sessions")
NOTE_PARTS = {**PART_TITLES, "housekeeping": "Housekeeping"}


class Clue(msgspec.Struct, frozen=True):
    """A teaching point with the remedy's names hidden, for revision."""

    text: str
    kind: str
    lecture_id: str
    anchor: str


class Block(msgspec.Struct, frozen=True, array_like=True):
    """A run of rendered HTML (of CSV rows in ``flash``) for one section of a page and one group in it."""

    section: str
    group: str
    count: int
    text: str


class Piece(msgspec.Struct, frozen=True, array_like=True):
    """What one lecture gives to one course-wide page, rendered."""

    blocks: tuple[Block, ...]
    clues: tuple[tuple[bool, Clue], ...] = ()  # the strong ones first, each with whether it is one


class Joined(msgspec.Struct, frozen=True):
    """The blocks of one section and group, one after the other."""

    count: int
    html: Markup


SECTIONS = ("points", "flash", "cases", "given", "compared", "asked", "mentions", "remedies", "loose", "whole")


def join(pieces: Sequence[Piece]) -> dict[str, dict[str, Joined]]:
    """The blocks of pieces by section and group, in the order of the pieces."""
    found: dict[str, dict[str, list[Block]]] = {section: {} for section in SECTIONS}
    for piece in pieces:
        for block in piece.blocks:
            found[block.section].setdefault(block.group, []).append(block)
    return {
        section: {
            group: Joined(sum(b.count for b in blocks), Markup("".join(b.text for b in blocks)))
            for group, blocks in groups.items()
        }
        for section, groups in found.items()
    }


def plain(value: Any) -> Any:
    """Text without control characters and direction overrides; everything else as it is."""
    if isinstance(value, Markup) or not isinstance(value, str) or value.isprintable():
        return value  # what is printable holds none of them
    return _CONTROLS.sub("", value)


@lru_cache(maxsize=1)
def environment() -> Environment:
    env = Environment(
        loader=FileSystemLoader(HERE / "templates"), autoescape=True, trim_blocks=True, lstrip_blocks=True,
        undefined=StrictUndefined, finalize=plain,
    )  # fmt: skip
    env.filters.update(clock=clock, minutes=minutes, seconds=seconds_of, first_upper=first_upper, day=day)
    env.globals.update(
        csp=CSP, standing_line=STANDING_LINE, kind_titles=KIND_TITLES, part_titles=NOTE_PARTS, point_kinds=POINT_KINDS,
        finding_labels=FINDING_LABELS,
    )  # fmt: skip
    return env


def seconds_of(ms: int) -> str:
    """Seconds with a tenth where there is one, as Media Fragments have it.

    >>> seconds_of(95_000), seconds_of(95_370)
    ('95', '95.3')
    """
    tenths = ms // 100
    return f"{tenths // 10}.{tenths % 10}" if tenths % 10 else str(tenths // 10)


def first_upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def initial(label: str) -> str:
    """The letter under which a label is listed; ``#`` where it begins with none."""
    letter = (words_of(label) or ["#"])[0][:1].upper()
    return letter if letter.isalpha() else "#"


def label_of(vocabulary: Vocabulary, concept_id: str) -> str:
    """A concept's name, a symptom's with its chapter: ``Generalities: Morning``."""
    label = vocabulary.label(concept_id)
    if concept_id.startswith("rubric/"):
        chapter = vocabulary.label(f"chapter/{concept_id.split('/')[1]}")
        return label if chapter.startswith("chapter/") else f"{chapter}: {label}"
    return first_upper(label)


MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")  # fmt: skip


def day(date: str | None) -> str:
    """A date as read: ``9 March 2026``."""
    match = re.match(r"^(\d{4})-(\d\d)-(\d\d)$", date or "")
    if match is None or not 1 <= int(match[2]) <= 12:
        return date or "no date"
    return f"{int(match[3])} {MONTHS[int(match[2]) - 1]} {match[1]}"


@lru_cache(maxsize=1)
def static_files() -> tuple[tuple[str, bytes], ...]:
    return tuple((path.name, path.read_bytes()) for path in sorted((HERE / "static").iterdir()) if path.is_file())


@lru_cache(maxsize=1)
def templates_digest() -> str:
    """Changes with anything that shapes a page."""
    body = hashlib.sha256()
    for path in sorted([*HERE.glob("templates/*"), *HERE.glob("static/*"), *HERE.glob("*.py"),
                        HERE.parent / "search.py", HERE.parent / "vocabulary" / "expand.py"]):  # fmt: skip
        body.update(path.name.encode() + path.read_bytes())
    return body.hexdigest()


def path_of(key: str) -> str:
    """The address of a page in the site, from its key."""
    scheme, _, rest = key.partition("/")
    flat = re.sub(r"[^A-Za-z0-9._-]", "-", rest.replace("/", "--"))
    if scheme == "session":
        return f"sessions/{rest}.html"
    if scheme == "pair":
        return "compare/" + re.sub(r"[^A-Za-z0-9._-]", "-", rest.replace("+", "--")) + ".html"
    if scheme in LISTS:
        return f"{scheme}/{rest}.html"
    if scheme == "remedy":
        return f"remedies/{flat}.html"
    if scheme == "rubric":
        return f"symptoms/{flat}.html"
    if scheme == "chapter":
        return f"symptoms/chapter--{flat}.html"
    return f"terms/{scheme}--{flat}.html"


def lecture_files(lecture_id: str) -> tuple[str, ...]:
    stem = f"sessions/{lecture_id}"
    return (f"{stem}.html", f"{stem}.vtt", f"{stem}.jsonld", f"{stem}.flashcards.csv")


def captions(sentences: Sequence[SentenceCard]) -> str:
    """WebVTT captions of the published reading; a long sentence is shared out over its time by its words."""
    blocks = ["WEBVTT"]
    for sentence in sentences:
        words = " ".join(token.text for token in sentence.tokens).split()
        pieces = [words[i : i + CAPTION_WORDS] for i in range(0, len(words), CAPTION_WORDS)]
        span = max(1, sentence.end_ms - sentence.start_ms)
        done = 0
        for piece in pieces:
            start = sentence.start_ms + span * done // len(words)
            done += len(piece)
            end = max(start + 1, sentence.start_ms + span * done // len(words))
            text = plain(" ".join(piece)).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
            blocks.append(f"{vtt_clock(start)} --> {vtt_clock(end)}\n{text}")
    return "\n\n".join(blocks) + "\n"


def csv_text(rows: Iterable[Sequence[str]]) -> str:
    """RFC 4180, CRLF; a cell that a spreadsheet would take for a formula begins with an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    for row in rows:
        writer.writerow([("'" + cell if cell[:1] in "=+-@\t\r" else cell) for cell in map(plain, row)])
    return out.getvalue()


def list_pages(kind: str, lectures: int) -> dict[str, tuple[int, int]]:
    """The pages of a list of so many lectures, by name, with the places (from 0) that each shows.

    The latest, which is the index, has up to two pages' worth; the others are full and stay as they are.

    >>> list_pages("sessions", 70), list_pages("sessions", 130)
    ({'index': (0, 70)}, {'index': (50, 130), 'page-1': (0, 50)})
    """
    size = LIST_PAGE[kind]
    full = max(1, lectures // size) - 1
    older = {f"page-{n}": (size * (n - 1), size * n) for n in range(full, 0, -1)}
    return {"index": (size * full, lectures), **older}


def list_links(name: str, listed: Mapping[str, tuple[int, int]]) -> list[tuple[str, str, bool]]:
    """The links from one page of a list to others: label, address and whether it is the page itself.

    >>> [label for label, _, _ in list_links("page-2", list_pages("sessions", 1000))]
    ['Latest', 'Sessions 551 to 600', 'Sessions 101 to 150', 'Sessions 51 to 100', 'Sessions 1 to 50']
    >>> [label for label, _, _ in list_links("index", list_pages("cases", 10_000))][:3]
    ['Latest', 'Sessions 9981 to 9990', 'Sessions 9351 to 9360']
    """
    names = list(listed)
    if len(names) > LINKED_PAGES:
        at = names.index(name)
        step = -(-len(names) // INDEX_LINKS)
        near = range(1, len(names), step) if name == "index" else (at - FAR, at - 1, at, at + 1, at + FAR)
        names = [names[n] for n in sorted({0, *near, len(names) - 1}) if 0 <= n < len(names)]
    label = {one: "Latest" if one == "index" else f"Sessions {listed[one][0] + 1} to {listed[one][1]}" for one in names}
    return [(label[one], f"{one}.html", one == name) for one in names]


def index_part(folder: str, number: int) -> str:
    """The address of a page of an alphabetical index that is too long for one; numbers count from 1."""
    return f"{folder}/index-{number}.html"


def parts_of_index(files: Collection[str], folder: str) -> int:
    """How many such pages there are among files."""
    number = 0
    while index_part(folder, number + 1) in files:
        number += 1
    return number


class Entry(msgspec.Struct, frozen=True):
    label: str
    href: str
    count: int
    note: str = ""


class SiteView:
    """What every page may need to know of the course: its settings, which pages there are, its sessions."""

    def __init__(
        self, settings: CourseSettings, vocabulary: Vocabulary, counts: Mapping[str, int], heads: Sequence[Head],
    ) -> None:  # fmt: skip
        self.settings = settings
        self.vocabulary = vocabulary
        self.counts = counts
        self.heads = heads

    # ------------------------------------------------------------ small pieces

    def label(self, concept_id: str) -> str:
        return label_of(self.vocabulary, concept_id)

    def short(self, concept_id: str) -> str:
        return first_upper(self.vocabulary.label(concept_id))

    def href(self, concept_id: str, root: str) -> str | None:
        return root + path_of(concept_id) if concept_id in self.counts else None

    def pair_href(self, left: str, right: str, root: str) -> str | None:
        return self.href(pair_key(left, right), root)

    def render(self, template: str, root: str, **values: Any) -> str:
        return environment().get_template(template).render(site=self, settings=self.settings, root=root, **values)

    # ------------------------------------------------------------ what one lecture gives

    @cached_property
    def _blocks(self) -> Any:
        """The macros that render a lecture's blocks."""
        template = environment().get_template("lecture.html")
        return template.make_module({"site": self, "settings": self.settings, "root": "../"})

    def piece(self, key: str, share: Share) -> Piece:
        """A lecture's part in a course-wide page. The site need only know of the pages that the lecture stands on."""
        make, head = self._blocks, share.head
        if key.startswith("pair/"):
            return Piece((Block("whole", "", 1, str(make.comparisons(share))),))
        if key == "cases":
            return Piece((Block("whole", "", 1, str(make.told_cases(share))),))
        if key == "questions":
            return Piece((Block("whole", "", 1, str(make.answered(share))),))
        of_remedy = key.startswith("remedy/")
        groups: dict[tuple[str, str], list[PointCard]] = {}
        for point in share.points:
            place = ("points", point.kind) if of_remedy else ("remedies", point.remedy_id) if point.remedy_id else None
            groups.setdefault(place or ("loose", ""), []).append(point)
        blocks = [
            Block(section, group, len(points), str(make.points(head, points, of_remedy)))
            for (section, group), points in groups.items()
        ]
        if of_remedy:
            blocks += [Block("flash", kind, len(points), self._flash(key, head, points))
                       for (_, kind), points in groups.items()]  # fmt: skip
            compared: dict[str, list[int]] = {}
            for comparison in share.comparisons:
                other = comparison.right_id if comparison.left_id == key else comparison.left_id
                compared.setdefault(other, []).append(comparison.start_ms)
            blocks += [Block("compared", o, len(times), str(make.places(head, times))) for o, times in compared.items()]
        if of_remedy and share.prescriptions:
            blocks.append(Block("given", "", len(share.prescriptions), str(make.given(share))))
        if share.cases:
            blocks.append(Block("cases", "", len(share.cases), str(make.cases(share))))
        if share.questions:
            blocks.append(Block("asked", "", len(share.questions), str(make.asked(share))))
        blocks.append(Block("mentions", "", 1, str(make.mentions(share))))
        return Piece(tuple(blocks), self._clues(key, share) if of_remedy else ())

    def _flash(self, key: str, head: Head, points: Sequence[PointCard]) -> str:
        return csv_text(
            (
                f"{self.short(key)}: {KIND_TITLES[point.kind].lower()}",
                point.text,
                head.title,
                seconds_of(point.start_ms),
            )
            for point in points
        )

    def _clues(self, key: str, share: Share) -> tuple[tuple[bool, Clue], ...]:
        """The strongest points about a remedy, with its names hidden; no page shows more of one lecture."""
        concept = self.vocabulary.get(key)
        if concept is None:
            return ()
        names = {w for label in (concept.pref_label, *concept.alt_labels, *concept.fact("common"))
                 for w in words_of(label) if len(w) > 3}  # fmt: skip
        names.update(w for w in words_of(concept.pref_label) if len(w) == 3)
        found: dict[str, tuple[bool, Clue]] = {}
        for point in sorted((p for p in share.points if p.remedy_id == key), key=lambda p: not p.strong):
            text = hide_names(point.text, names)
            if tells(text):
                clue = Clue(text, KIND_TITLES[point.kind], share.head.id, point.anchor)
                found.setdefault(text, (point.strong, clue))
            if len(found) >= CLUES:
                break
        return tuple(found.values())

    # ------------------------------------------------------------ course-wide pages

    def near(self, moved: Collection[str]) -> set[str]:
        """The pages that link, beside what was taught, to one of those that came or went."""
        found: set[str] = set()
        for key in moved:
            concept = self.vocabulary.get(key)
            found.update(self.vocabulary.narrower.get(key, ()), concept.broader if concept else ())
        for key in self.counts:
            if key.startswith("remedy/") and any(r.other in moved for r in self.vocabulary.relations_of.get(key, ())):
                found.add(key)
        return found & self.counts.keys()

    def concept_page(self, key: str, pieces: Sequence[Piece]) -> dict[str, str]:
        """The files of a course-wide page, from the pieces of the latest lectures, latest first."""
        path = path_of(key)
        sections = join(pieces)
        common = {"key": key, "sections": sections, "sessions": self.counts[key], "shown": len(pieces)}
        if key.startswith("remedy/"):
            return self._remedy(key, path, sections, common)
        if key.startswith("pair/"):
            ids = [f"remedy/{slug}" for slug in key.removeprefix("pair/").split("+")]
            return {path: self.render("pair.html", "../", ids=ids, **common)}
        by_remedy = sorted((self.short(remedy), remedy, held.html) for remedy, held in sections["remedies"].items())
        concept = self.vocabulary.get(key)
        return {
            path: self.render(
                "concept.html", "../", by_remedy=[(remedy, html) for _, remedy, html in by_remedy],
                gloss=" ".join(concept.fact("gloss")) if concept else "",
                other_names=concept.alt_labels if concept else (),
                wider=[c for c in (concept.broader if concept else ()) if c in self.counts],
                narrower=[c for c in self.vocabulary.narrower.get(key, ()) if c in self.counts], **common,
            )
        }  # fmt: skip

    def list_page(self, kind: str, name: str, pieces: Sequence[Piece] = ()) -> dict[str, str]:
        """A page of cases, questions or sessions; of sessions the heads are printed."""
        listed = list_pages(kind, len(self.heads))
        links = list_links(name, listed)
        first, last = listed[name]
        return {
            path_of(f"{kind}/{name}"): self.render(
                f"{kind}.html", "../", pages=links, sections=join(pieces), heads=list(reversed(self.heads[first:last]))
            )
        }

    def _remedy(
        self, key: str, path: str, sections: Mapping[str, Mapping[str, Joined]], common: dict[str, Any]
    ) -> dict[str, str]:
        relations: dict[str, dict[str, list[str]]] = {}
        for relation in self.vocabulary.relations_of.get(key, ()):
            book = relations.setdefault(relation.book, {})
            book.setdefault(relation.relation, []).append(relation.other)
        compared = sorted((self.short(other), other, held.html) for other, held in sections["compared"].items())
        concept = self.vocabulary.get(key)
        aspects = [kind for kind in REMEDY_ASPECTS if kind in sections["points"]]
        page = self.render(
            "remedy.html", "../", aspects=aspects,
            missing=[kind for kind in REMEDY_ASPECTS if kind not in aspects], relations=relations,
            compared=[(other, html) for _, other, html in compared],
            other_names=concept.alt_labels if concept else (),
            abbreviations=concept.fact("abbreviation") if concept else (),
            common_names=concept.fact("common") if concept else (), **common,
        )  # fmt: skip
        flash = csv_text([("Question", "Answer", "Session", "Seconds")])
        flash += "".join(sections["flash"][kind].html for kind in aspects)
        return {path: page, path.removesuffix(".html") + ".flashcards.csv": flash}

    def moved_page(self, key: str) -> str:
        """What stands at an address under which a remedy was known."""
        return self.render("moved.html", "../", target=path_of(key).split("/")[1], label=self.short(key))

    def aliases(self) -> dict[str, str]:
        """Addresses under which a remedy may have been known: earlier ids and the slug of its printed name."""
        owners: dict[str, str] = {}
        for key in sorted(self.counts):
            concept = self.vocabulary.get(key) if key.startswith("remedy/") else None
            if concept is None:
                continue
            names = (*concept.fact("formerly"), "remedy/" + "-".join(words_of(concept.pref_label)))
            for name in names:
                full = name if name.startswith("remedy/") else f"remedy/{name}"
                if full not in self.counts and full != "remedy/":
                    owners.setdefault(path_of(full), key)
        return owners

    # ------------------------------------------------------------ a session

    def session_pages(
        self, card: Card, sentences: Sequence[SentenceCard], vtt: str, audio: str | None, before: Head | None,
        after: Head | None,
    ) -> dict[str, str]:  # fmt: skip
        stem = f"sessions/{card.head.id}"
        own = [r for r in card.head.remedy_ids if any(p.remedy_id == r for p in card.points)]
        others = [p.remedy_id for p in card.points if p.remedy_id]
        groups: list[tuple[str | None, dict[PointKind, list[PointCard]]]] = []
        method = [p for p in card.points if p.remedy_id is None]
        for remedy in (*dict.fromkeys((*own, *others)), None):
            chosen = method if remedy is None else [p for p in card.points if p.remedy_id == remedy]
            by_kind = {kind: [p for p in chosen if p.kind == kind] for kind in POINT_KINDS}
            by_kind = {kind: points for kind, points in by_kind.items() if points}
            if by_kind:
                groups.append((remedy, by_kind))
        index: dict[str, list[tuple[str, Any]]] = {}
        for mention in card.mentions:
            scheme = self.vocabulary[mention.concept_id].scheme
            title = {"remedy": "Remedies", "rubric": "Symptoms", "chapter": "Symptoms", "idea": "Ideas",
                     "canon": "Authors and books"}.get(scheme)  # fmt: skip
            if title:
                index.setdefault(title, []).append((self.label(mention.concept_id), mention))
        files = {
            f"{stem}.html": self.render(
                "session.html", "../", card=card, head=card.head, sentences=sentences, audio=audio, before=before,
                after=after, groups=groups, has_vtt=bool(vtt),
                index={title: sorted(items, key=lambda item: item[0].casefold()) for title, items in index.items()},
            ),
            f"{stem}.jsonld": self._json_ld(card, audio),
        }  # fmt: skip
        if vtt:
            files[f"{stem}.vtt"] = vtt
        flash = [("Question", "Answer", "Session", "Seconds")]
        for remedy, kinds in groups:
            for kind, points in kinds.items():
                subject = self.short(remedy) if remedy else "Method"
                flash += [
                    (f"{subject}: {KIND_TITLES[kind].lower()}", p.text, card.head.title, seconds_of(p.start_ms))
                    for p in points
                ]
        files[f"{stem}.flashcards.csv"] = csv_text(flash)
        return files

    def _json_ld(self, card: Card, audio: str | None) -> str:
        """schema.org LearningResource, AudioObject and Clip; addresses are relative unless the course has one."""
        head = card.head
        base = (self.settings.publish.base_url or "").rstrip("/")
        page = f"{base}/sessions/{head.id}.html" if base else f"{head.id}.html"
        value: dict[str, Any] = {
            "@context": "https://schema.org",
            "@type": ["LearningResource", *(["AudioObject"] if audio else [])],
            "name": plain(head.title),
            "url": page,
            "inLanguage": card.language or self.settings.language,
            "learningResourceType": "lecture",
            "author": {"@type": "Person", "name": plain(self.settings.lecturer)},
            "isPartOf": {"@type": "Course", "name": plain(self.settings.title)},
            "teaches": [self.short(r) for r in head.remedy_ids],
            "duration": iso_duration(head.duration_ms),
        }
        if head.date:
            value["dateCreated"] = head.date
        if audio:
            value["contentUrl"] = f"{base}/{audio}" if base else f"../{audio}"
            value["encodingFormat"] = "audio/mpeg"
        named = {p: f": {self.short(p.remedy_id)}" if p.remedy_id else "" for p in card.parts}
        value["hasPart"] = [
            {
                "@type": "Clip", "name": plain(NOTE_PARTS[p.kind] + named[p]),
                "startOffset": p.start_ms // 1000, "endOffset": p.end_ms // 1000,
                "url": f"{page}#t={p.start_ms // 1000}",
            }
            for p in card.parts
        ]  # fmt: skip
        return json.dumps(value, ensure_ascii=True, indent=1, sort_keys=True) + "\n"

    # ------------------------------------------------------------ home and indexes

    def overview_pages(self, coming: Sequence[tuple[Head, CarryCard]]) -> dict[str, str]:
        latest = list(reversed(self.heads))
        series: dict[str, list[Head]] = {}
        for head in self.heads:
            if head.series:
                series.setdefault(head.series, []).append(head)
        ordered = sorted(series.items(), key=lambda item: item[1][-1].date or "", reverse=True)
        return {
            "index.html": self.render(
                "home.html", "", latest=latest[:6], series=ordered[:40], series_count=len(ordered), coming=coming[:6],
                remedies=sum(key.startswith("remedy/") for key in self.counts),
                symptoms=sum(key.startswith(("rubric/", "chapter/")) for key in self.counts),
            ),
            "about.html": self.render("about.html", ""),
            "search.html": self.render("search.html", ""),
            **self._az("Remedies A to Z", ("remedy/",), "remedies"),
            **self._az("Symptoms and rubrics A to Z", ("rubric/", "chapter/"), "symptoms"),
            **self._az("Glossary", ("idea/", "author/", "book/", "journal/"), "terms"),
            **self._pairs(),
            "feed.xml": self.feed(latest[:FEED_ENTRIES]),
        }  # fmt: skip

    def _az(self, title: str, prefixes: tuple[str, ...], folder: str) -> dict[str, str]:
        entries = []
        for key, count in self.counts.items():
            if not key.startswith(prefixes):
                continue
            concept = self.vocabulary.get(key)
            note = ""
            if concept is not None:
                note = " ".join(concept.fact("abbreviation")[:1]) if folder == "remedies" else ""
                note = " ".join(concept.fact("gloss")) if folder == "terms" else note
            entries.append(Entry(self.label(key), path_of(key).split("/")[1], count, note))
        return self._index(title, entries, folder)

    def _index(self, title: str, entries: Sequence[Entry], folder: str) -> dict[str, str]:
        """The pages of an alphabetical index: one, or where it is long the parts and one that leads to them."""
        placed = sorted((initial(e.label), e.label.casefold(), e.href, e) for e in entries)
        size = INDEX_PAGE if len(placed) > 2 * INDEX_PAGE else len(placed) + 1
        parts = [placed[at : at + size] for at in range(0, len(placed), size)]
        names = [index_part(folder, n) if len(parts) > 1 else f"{folder}/index.html" for n in range(1, len(parts) + 1)]
        begins: dict[str, str] = {}
        for name, part in zip(names, parts, strict=True):
            for letter, *_ in part:
                begins.setdefault(letter, name.split("/")[1] if len(parts) > 1 else "")
        files = {}
        for name, part in zip(names, parts, strict=True):
            letters: dict[str, list[Entry]] = {}
            for letter, _, _, entry in part:
                letters.setdefault(letter, []).append(entry)
            files[name] = self.render(
                "az.html", "../", title=title, folder=folder, begins=begins, letters=list(letters.items()), parts=[]
            )
        if len(parts) != 1:
            listed = [(part[0][3].label, part[-1][3].label, name.split("/")[1])
                      for name, part in zip(names, parts, strict=True)]  # fmt: skip
            files[f"{folder}/index.html"] = self.render(
                "az.html", "../", title=title, folder=folder, begins=begins, letters=[], parts=listed
            )
        return files

    def _pairs(self) -> dict[str, str]:
        entries = []
        for key, count in self.counts.items():
            if key.startswith("pair/"):
                left, right = (f"remedy/{slug}" for slug in key.removeprefix("pair/").split("+"))
                entries.append(Entry(f"{self.short(left)} and {self.short(right)}", path_of(key).split("/")[1], count))
        if len(entries) > 2 * INDEX_PAGE:
            return self._index("Remedies compared", entries, "compare")
        entries.sort(key=lambda entry: entry.label.casefold())
        return {"compare/index.html": self.render("pairs.html", "../", entries=entries)}

    def feed(self, heads: Sequence[Head]) -> str:
        """Atom (RFC 4287). Ids are made from the lecture ids, so they stay when the address changes."""
        base = (self.settings.publish.base_url or "").rstrip("/")
        entries = []
        for head in heads:
            number = uuid.uuid5(uuid.NAMESPACE_URL, f"notesmith:{self.settings.title}:{head.id}")
            entries.append(
                {"id": f"urn:uuid:{number}", "title": head.title, "updated": stamp(head.date),
                 "href": f"{base}/sessions/{head.id}.html" if base else f"sessions/{head.id}.html",
                 "summary": ", ".join(self.short(r) for r in head.remedy_ids)}
            )  # fmt: skip
        number = uuid.uuid5(uuid.NAMESPACE_URL, f"notesmith:{self.settings.title}")
        return self.render(
            "feed.xml", "", entries=entries, id=f"urn:uuid:{number}", base=base,
            updated=max((entry["updated"] for entry in entries), default=stamp(None)),
        )  # fmt: skip

    # ------------------------------------------------------------ revision

    def revision_pages(self, cards: Sequence[tuple[str, Sequence[Clue]]]) -> dict[str, str]:
        # Ordered by a hash, so that the alphabet gives nothing away and two builds agree.
        mixed = sorted(cards, key=lambda card: hashlib.sha256(card[0].encode()).hexdigest())
        return {"revise.html": self.render("revise.html", "", cards=mixed)}


def strongest(pieces: Sequence[Piece]) -> list[Clue]:
    """The clues that revision shows of a remedy: of all pieces, latest first, the strong ones before the others."""
    every = sorted((held for piece in pieces for held in piece.clues), key=lambda held: not held[0])
    found: dict[str, Clue] = {}
    for _, clue in every:
        if len(found) < CLUES:
            found.setdefault(clue.text, clue)
    return list(found.values())


def page_files(key: str) -> tuple[str, ...]:
    """The files of a course-wide page."""
    path = path_of(key)
    return (path, path.removesuffix(".html") + ".flashcards.csv") if key.startswith("remedy/") else (path,)


def hide_names(text: str, names: set[str]) -> str:
    """Words of a remedy's names replaced by a blank; several in a row by one.

    >>> hide_names("Thuja occidentalis has warts.", {"thuja", "occidentalis"})
    'This remedy has warts.'
    """

    def swap(match: re.Match[str]) -> str:
        return "\0" if any(w in names for w in words_of(match[0])) else match[0]

    hidden = re.sub(r"\0(?:[\s-]+\0)*", "this remedy", re.sub(r"[^\W_]+(?:'[^\W_]+)?", swap, text))
    hidden = hidden.replace("this remedy's", "its")
    return first_upper(hidden)


def tells(clue: str) -> bool:
    """Whether a clue says enough to guess from, besides that it is of a remedy."""
    return len(stems_of(clue.casefold().replace("this remedy", ""))) >= CLUE_STEMS


def stamp(date: str | None) -> str:
    return f"{date}T00:00:00Z" if date and re.match(r"^\d{4}-\d\d-\d\d$", date) else "1970-01-01T00:00:00Z"


__all__ = ["CautionCard", "Clue", "SiteView", "captions", "path_of"]
