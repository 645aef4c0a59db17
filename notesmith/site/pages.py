"""The pages of the site: from what was kept of the lectures to HTML, captions, cards and the feed."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import uuid
from collections.abc import Iterable, Mapping, Sequence
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
LIST_PAGE = 200
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
NOTE_PARTS = {**PART_TITLES, "housekeeping": "Housekeeping"}


class Clue(msgspec.Struct, frozen=True):
    """A teaching point with the remedy's names hidden, for revision."""

    text: str
    kind: str
    lecture_id: str
    anchor: str


def plain(value: Any) -> Any:
    """Text without control characters and direction overrides; everything else as it is."""
    if isinstance(value, Markup) or not isinstance(value, str):
        return value
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
    if scheme in ("cases", "questions"):
        return f"{scheme}/index.html" if rest == "1" else f"{scheme}/page-{rest}.html"
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


class Entry(msgspec.Struct, frozen=True):
    label: str
    href: str
    count: int
    note: str = ""


class SiteView:
    """What every page may need to know of the course: its settings, which pages there are, its sessions."""

    def __init__(
        self, settings: CourseSettings, vocabulary: Vocabulary, counts: Mapping[str, int], heads: Sequence[Head],
        summaries: Mapping[str, tuple[int, int, int]],
    ) -> None:  # fmt: skip
        self.settings = settings
        self.vocabulary = vocabulary
        self.counts = counts
        self.heads = heads
        self.summaries = summaries

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

    # ------------------------------------------------------------ course-wide pages

    def related_pages(self, key: str) -> list[str]:
        """Pages whose coming or going changes this one."""
        if key.startswith("remedy/"):
            others = (r.other for r in self.vocabulary.relations_of.get(key, ()))
            return sorted({other for other in others if other in self.counts})
        if key.startswith(("rubric/", "chapter/", "idea/")):
            concept = self.vocabulary.get(key)
            near = (*self.vocabulary.narrower.get(key, ()), *(concept.broader if concept else ()))
            return sorted({other for other in near if other in self.counts})
        return []

    def concept_page(self, key: str, shares: Sequence[Share], sessions: int) -> dict[str, str]:
        """The files of a course-wide page."""
        path = path_of(key)
        latest_first = list(reversed(shares))
        common = {"key": key, "shares": latest_first, "sessions": sessions, "shown": len(shares)}
        if key.startswith("remedy/"):
            return self._remedy(key, path, latest_first, common)
        if key.startswith("pair/"):
            ids = [f"remedy/{slug}" for slug in key.removeprefix("pair/").split("+")]
            return {path: self.render("pair.html", "../", ids=ids, **common)}
        if key.startswith("cases/"):
            return {path: self.render("cases.html", "../", pages=self._pager("cases", key), **common)}
        if key.startswith("questions/"):
            return {path: self.render("questions.html", "../", pages=self._pager("questions", key), **common)}
        remedies: dict[str, list[tuple[Share, PointCard]]] = {}
        loose: list[tuple[Share, PointCard]] = []
        for share in latest_first:
            for point in share.points:
                (remedies.setdefault(point.remedy_id, []) if point.remedy_id else loose).append((share, point))
        concept = self.vocabulary.get(key)
        return {
            path: self.render(
                "concept.html", "../", by_remedy=sorted(remedies.items(), key=lambda item: self.short(item[0])),
                loose=loose, gloss=" ".join(concept.fact("gloss")) if concept else "",
                other_names=concept.alt_labels if concept else (),
                wider=[c for c in (concept.broader if concept else ()) if c in self.counts],
                narrower=[c for c in self.vocabulary.narrower.get(key, ()) if c in self.counts], **common,
            )
        }  # fmt: skip

    def _pager(self, kind: str, key: str) -> list[tuple[str, str, bool]]:
        numbers = sorted(int(k.partition("/")[2]) for k in self.counts if k.startswith(kind + "/"))
        return [
            (f"Sessions {100 * (n - 1) + 1} to {min(100 * n, len(self.heads))}", path_of(f"{kind}/{n}").split("/")[1],
             key == f"{kind}/{n}")
            for n in numbers
        ]  # fmt: skip

    def _remedy(self, key: str, path: str, shares: Sequence[Share], common: dict[str, Any]) -> dict[str, str]:
        by_kind: dict[PointKind, list[tuple[Share, PointCard]]] = {}
        for share in shares:
            for point in share.points:
                by_kind.setdefault(point.kind, []).append((share, point))
        relations: dict[str, dict[str, list[str]]] = {}
        for relation in self.vocabulary.relations_of.get(key, ()):
            book = relations.setdefault(relation.book, {})
            book.setdefault(relation.relation, []).append(relation.other)
        compared: dict[str, list[tuple[Head, int]]] = {}
        for share in shares:
            for comparison in share.comparisons:
                other = comparison.right_id if comparison.left_id == key else comparison.left_id
                compared.setdefault(other, []).append((share.head, comparison.start_ms))
        concept = self.vocabulary.get(key)
        aspects = [kind for kind in REMEDY_ASPECTS if kind in by_kind]
        files = {
            path: self.render(
                "remedy.html", "../", by_kind=by_kind, aspects=aspects,
                missing=[kind for kind in REMEDY_ASPECTS if kind not in by_kind], relations=relations,
                compared=sorted(compared.items(), key=lambda item: self.short(item[0])),
                other_names=concept.alt_labels if concept else (),
                abbreviations=concept.fact("abbreviation") if concept else (),
                common_names=concept.fact("common") if concept else (), **common,
            )
        }  # fmt: skip
        flash = [("Question", "Answer", "Session", "Seconds")]
        for kind in aspects:
            for share, point in by_kind[kind]:
                flash.append(
                    (f"{self.short(key)}: {KIND_TITLES[kind].lower()}", point.text, share.head.title,
                     seconds_of(point.start_ms))
                )  # fmt: skip
        files[path.removesuffix(".html") + ".flashcards.csv"] = csv_text(flash)
        for alias in self.aliases(key):
            files[alias] = self.render("moved.html", "../", target=path.split("/")[1], label=self.short(key))
        return files

    @cached_property
    def _alias_owners(self) -> dict[str, str]:
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

    def aliases(self, key: str) -> list[str]:
        return [path for path, owner in self._alias_owners.items() if owner == key]

    def files_of(self, key: str) -> tuple[str, ...]:
        """Every file that a page which is gone may have left."""
        if key.startswith("session/"):
            return lecture_files(key.partition("/")[2])
        path = path_of(key) if "/" in key else ""
        if key.startswith("remedy/"):
            concept = self.vocabulary.get(key)
            old = ["-".join(words_of(concept.pref_label)), *concept.fact("formerly")] if concept else []
            return (path, path.removesuffix(".html") + ".flashcards.csv",
                    *(path_of(f"remedy/{name.removeprefix('remedy/')}") for name in old
                      if f"remedy/{name.removeprefix('remedy/')}" not in self.counts))  # fmt: skip
        return (path,) if path else ()

    def linkable(self, _: Mapping[str, str]) -> str:
        return ""

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

    def overview_pages(
        self, coming: Sequence[tuple[Head, CarryCard]], old: Mapping[str, str], wanted: Mapping[str, str]
    ) -> dict[str, str]:
        latest = list(reversed(self.heads))
        series: dict[str, list[Head]] = {}
        for head in self.heads:
            if head.series:
                series.setdefault(head.series, []).append(head)
        ordered = sorted(series.items(), key=lambda item: item[1][-1].date or "", reverse=True)
        files = {
            "index.html": self.render(
                "home.html", "", latest=latest[:6], series=ordered[:40], series_count=len(ordered), coming=coming[:6],
                remedies=sum(key.startswith("remedy/") for key in self.counts),
                symptoms=sum(key.startswith(("rubric/", "chapter/")) for key in self.counts),
            ),
            "about.html": self.render("about.html", ""),
            "search.html": self.render("search.html", ""),
            "remedies/index.html": self._az("Remedies A to Z", ("remedy/",), "remedies"),
            "symptoms/index.html": self._az("Symptoms and rubrics A to Z", ("rubric/", "chapter/"), "symptoms"),
            "terms/index.html": self._az("Glossary", ("idea/", "author/", "book/", "journal/"), "terms"),
            "compare/index.html": self._pairs(),
            "feed.xml": self.feed(latest[:FEED_ENTRIES]),
        }  # fmt: skip
        pages = [latest[i : i + LIST_PAGE] for i in range(0, len(latest), LIST_PAGE)] or [[]]
        names = ["index.html", *(f"list-{n}.html" for n in range(2, len(pages) + 1))]
        for number, heads in enumerate(pages):
            files[f"sessions/{names[number]}"] = self.render(
                "sessions.html", "../", heads=heads, names=names, number=number
            )
        for kind in ("cases", "questions"):
            if f"{kind}/1" not in self.counts:
                files[f"{kind}/index.html"] = self.render(
                    f"{kind}.html", "../", shares=[], sessions=0, shown=0, key=f"{kind}/1", pages=self._pager(kind, "")
                )
        return files

    def _az(self, title: str, prefixes: tuple[str, ...], folder: str) -> str:
        letters: dict[str, list[Entry]] = {}
        for key, count in self.counts.items():
            if not key.startswith(prefixes):
                continue
            concept = self.vocabulary.get(key)
            note = ""
            if concept is not None:
                note = " ".join(concept.fact("abbreviation")[:1]) if folder == "remedies" else ""
                note = " ".join(concept.fact("gloss")) if folder == "terms" else note
            label = self.label(key)
            initial = (stems_of(label) or words_of(label) or ["#"])[0][:1].upper()
            initial = (words_of(label) or ["#"])[0][:1].upper()
            letters.setdefault(initial if initial.isalpha() else "#", []).append(
                Entry(label, path_of(key).split("/")[1], count, note)
            )
        ordered = [
            (letter, sorted(held, key=lambda e: (e.label.casefold(), e.href)))
            for letter, held in sorted(letters.items())
        ]
        return self.render("az.html", "../", title=title, letters=ordered, folder=folder)

    def _pairs(self) -> str:
        entries = []
        for key, count in self.counts.items():
            if key.startswith("pair/"):
                left, right = (f"remedy/{slug}" for slug in key.removeprefix("pair/").split("+"))
                entries.append(Entry(f"{self.short(left)} and {self.short(right)}", path_of(key).split("/")[1], count))
        entries.sort(key=lambda entry: entry.label.casefold())
        return self.render("pairs.html", "../", entries=entries)

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

    def clues(self, key: str, shares: Sequence[Share]) -> list[Clue]:
        """The strongest points about a remedy, with its names hidden."""
        concept = self.vocabulary.get(key)
        if concept is None:
            return []
        names = {w for label in (concept.pref_label, *concept.alt_labels, *concept.fact("common"))
                 for w in words_of(label) if len(w) > 3}  # fmt: skip
        names.update(w for w in words_of(concept.pref_label) if len(w) == 3)
        points = [(share, p) for share in reversed(shares) for p in share.points if p.remedy_id == key]
        points.sort(key=lambda item: not item[1].strong)
        found: dict[str, Clue] = {}
        for share, point in points:
            text = hide_names(point.text, names)
            if not tells(text):
                continue
            found.setdefault(text, Clue(text, KIND_TITLES[point.kind], share.head.id, point.anchor))
            if len(found) >= CLUES:
                break
        return list(found.values())

    def revision_pages(self, cards: Sequence[tuple[str, Sequence[Clue]]]) -> dict[str, str]:
        # Ordered by a hash, so that the alphabet gives nothing away and two builds agree.
        mixed = sorted(cards, key=lambda card: hashlib.sha256(card[0].encode()).hexdigest())
        return {"revise.html": self.render("revise.html", "", cards=mixed)}


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
