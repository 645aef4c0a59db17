"""The vocabulary as W3C SKOS in Turtle, and as a printable glossary."""

from __future__ import annotations

from typing import Any, cast
from urllib.parse import quote

from rdflib import RDF, Graph, Literal, Namespace, URIRef
from rdflib.namespace import DCTERMS, SKOS

from notesmith.vocabulary.concept import Concept, Scheme
from notesmith.vocabulary.vocabulary import Vocabulary

BASE = "urn:notesmith:"
OWN = Namespace(BASE + "terms:")  # properties SKOS has no finer word for: relations between remedies, by book
SCHEME_TITLES: dict[Scheme, str] = {
    "remedy": "Remedies",
    "family": "Families of remedies",
    "rubric": "Rubrics",
    "chapter": "Chapters of the repertory",
    "canon": "Authors, books and journals",
    "idea": "Miasms, philosophy and case-taking",
    "medical": "Anatomy, physiology, pathology and investigations",
    "potency": "Potencies",
    "prescription": "Prescription abbreviations",
}
# Latin names are marked as Latin, so that a reader program says them so (BCP 47).
_LANGUAGE: dict[Scheme, str] = {"remedy": "la"}
_NOTES = {"abbreviation": SKOS.notation, "gloss": SKOS.definition}


def concept_uri(concept_id: str) -> URIRef:
    return URIRef(BASE + quote(concept_id, safe="/-"))


def to_graph(vocabulary: Vocabulary) -> Graph:
    """The whole vocabulary as one RDF graph."""
    graph = Graph()
    for prefix, namespace in (("skos", SKOS), ("dcterms", DCTERMS), ("nst", OWN)):
        graph.bind(prefix, namespace)
    for scheme, title in SCHEME_TITLES.items():
        graph.add((_scheme_uri(scheme), RDF.type, SKOS.ConceptScheme))
        graph.add((_scheme_uri(scheme), DCTERMS.title, Literal(title, lang="en")))
    for concept in vocabulary.concepts.values():
        _add(graph, vocabulary, concept)
    for relation in vocabulary.relations:
        # Books disagree, so a relation is a statement of a book, never a bare link.
        statement = URIRef(f"{concept_uri(relation.remedy)}#{quote(relation.relation)}:{quote(relation.other, safe='')}"
                           f":{quote(relation.book, safe='')}")  # fmt: skip
        graph.add((statement, RDF.type, OWN.RelationStatement))
        graph.add((statement, OWN.remedy, concept_uri(relation.remedy)))
        graph.add((statement, OWN.relation, Literal(relation.relation)))
        other = concept_uri(relation.other) if relation.other in vocabulary else Literal(relation.other)
        graph.add((statement, OWN.other, other))
        graph.add((statement, DCTERMS.source, Literal(relation.book)))
    return graph


def _scheme_uri(scheme: Scheme) -> URIRef:
    return URIRef(BASE + "scheme:" + scheme)


def _add(graph: Graph, vocabulary: Vocabulary, concept: Concept) -> None:
    uri = concept_uri(concept.id)
    language = _LANGUAGE.get(concept.scheme, "en")
    graph.add((uri, RDF.type, SKOS.Concept))
    graph.add((uri, SKOS.inScheme, _scheme_uri(concept.scheme)))
    graph.add((uri, SKOS.prefLabel, Literal(concept.pref_label, lang=language)))
    for label in (*concept.alt_labels, *concept.ambiguous_labels):
        graph.add((uri, SKOS.altLabel, Literal(label, lang=language)))
    for label in concept.hidden_labels:
        graph.add((uri, SKOS.hiddenLabel, Literal(label, lang=language)))
    for wider in concept.broader:
        if wider in vocabulary:
            graph.add((uri, SKOS.broader, concept_uri(wider)))
            graph.add((concept_uri(wider), SKOS.narrower, uri))
    for other in concept.related:
        if other in vocabulary:
            graph.add((uri, SKOS.related, concept_uri(other)))
            graph.add((concept_uri(other), SKOS.related, uri))
    for source in concept.source:
        graph.add((uri, DCTERMS.source, Literal(source)))
    for name, values in concept.facts.items():
        for value in values:
            graph.add((uri, _NOTES.get(name, OWN[name]), Literal(value)))


def to_turtle(vocabulary: Vocabulary) -> str:
    """The SKOS graph in Turtle; the same vocabulary gives the same text."""
    return cast(Any, to_graph(vocabulary)).serialize(format="turtle")  # type: ignore[no-any-return]


def to_glossary(vocabulary: Vocabulary) -> str:
    """A printable glossary in Markdown: a section a scheme, terms in order, with what they are also called."""
    lines = ["# Glossary", ""]
    for scheme, title in SCHEME_TITLES.items():
        concepts = sorted(vocabulary.in_scheme(scheme), key=lambda one: (one.pref_label.casefold(), one.id))
        if not concepts:
            continue
        lines += [f"## {title}", ""]
        for concept in concepts:
            also = ", ".join((*concept.alt_labels, *concept.ambiguous_labels))
            facts = "; ".join(
                ", ".join(concept.fact(name)) for name in ("abbreviation", "common", "gloss", "meaning", "latin")
                if concept.fact(name)
            )  # fmt: skip
            chapter = f" ({vocabulary.label('chapter/' + concept.id.split('/')[1])})" if scheme == "rubric" else ""
            line = f"- **{concept.pref_label}**{chapter}"
            line += f": {facts}" if facts else ""
            line += f" — also: {also}" if also else ""
            lines.append(line)
        lines.append("")
    return "\n".join(lines)
