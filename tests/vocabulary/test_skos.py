"""The SKOS export against outside judges: rdflib parses it, pySHACL checks shapes for SKOS S9 to S14 and S27."""

import pytest
from pyshacl import validate as shacl
from rdflib import Graph
from rdflib.namespace import SKOS

from notesmith.vocabulary import Concept, Vocabulary, load_vocabulary
from notesmith.vocabulary.skos import concept_uri, to_glossary, to_graph, to_turtle

# S9 ConceptScheme and Concept are disjoint; S10 inScheme; S11/S12 labels are plain literals; S13 labels are disjoint;
# S14 one prefLabel a language; S27 related and broader are disjoint. After W3C SKOS Reference, sections 4 and 5, 8.
SHAPES = """
@prefix sh: <http://www.w3.org/ns/shacl#> . @prefix skos: <http://www.w3.org/2004/02/skos/core#> .
@prefix rdf: <http://www.w3.org/1999/02/22-rdf-syntax-ns#> . @prefix x: <urn:x:> .
x:Concept a sh:NodeShape ; sh:targetClass skos:Concept ;
  sh:not [ sh:class skos:ConceptScheme ] ;
  sh:property [ sh:path skos:prefLabel ; sh:minCount 1 ; sh:uniqueLang true ; sh:datatype rdf:langString ;
                sh:disjoint skos:altLabel ] ;
  sh:property [ sh:path skos:prefLabel ; sh:disjoint skos:hiddenLabel ] ;
  sh:property [ sh:path skos:altLabel ; sh:disjoint skos:hiddenLabel ; sh:datatype rdf:langString ] ;
  sh:property [ sh:path skos:hiddenLabel ; sh:datatype rdf:langString ] ;
  sh:property [ sh:path skos:inScheme ; sh:minCount 1 ; sh:class skos:ConceptScheme ] ;
  sh:property [ sh:path skos:broader ; sh:disjoint skos:related ; sh:class skos:Concept ] ;
  sh:property [ sh:path skos:related ; sh:class skos:Concept ] .
"""


def conforms(graph: Graph) -> bool:
    shapes = Graph().parse(data=SHAPES, format="turtle")
    return bool(shacl(graph, shacl_graph=shapes, inference="none")[0])


def small(*concepts: Concept) -> Vocabulary:
    return Vocabulary({c.id: c for c in concepts}, (), "0")


def test_the_shapes_catch_what_skos_forbids() -> None:
    good = Concept("remedy/a", "remedy", "Alpha", ("Al",), ("Alfa",))
    assert conforms(to_graph(small(good)))
    assert not conforms(to_graph(small(Concept("remedy/a", "remedy", "Alpha", ("Al",), ("Alpha",)))))
    assert not conforms(to_graph(small(Concept("remedy/a", "remedy", "Alpha", ("Al",), ("Al",)))))
    other = Concept("remedy/b", "remedy", "Beta", broader=("remedy/a",), related=("remedy/a",))
    assert not conforms(to_graph(small(good, other)))


@pytest.mark.slow
def test_the_whole_vocabulary_conforms() -> None:
    graph = Graph().parse(data=to_turtle(load_vocabulary()), format="turtle")
    assert conforms(graph)


def test_the_export_keeps_every_label() -> None:
    vocabulary = load_vocabulary()
    graph = to_graph(vocabulary)
    labels = {str(label) for label in graph.objects(concept_uri("remedy/kali-bichromicum"), SKOS.altLabel)}
    assert set(vocabulary["remedy/kali-bichromicum"].alt_labels) <= labels


def test_the_glossary_names_each_remedy_once() -> None:
    text = to_glossary(small(Concept("remedy/a", "remedy", "Alpha", ("Al",)), Concept("idea/b", "idea", "beta")))
    assert text.count("**Alpha**") == 1
    assert "— also: Al" in text
