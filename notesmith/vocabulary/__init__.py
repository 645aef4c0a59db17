"""The controlled vocabulary: load, validate, look up, expand."""

from notesmith.vocabulary.concept import Concept, Relation, RelationKind, Scheme
from notesmith.vocabulary.load import load_vocabulary, packaged_vocabulary_dir
from notesmith.vocabulary.vocabulary import Vocabulary, label_key

__all__ = [
    "Concept", "Relation", "RelationKind", "Scheme", "Vocabulary",
    "label_key", "load_vocabulary", "packaged_vocabulary_dir",
]  # fmt: skip
