"""Spellings that no list holds. Pairs as pharmacopoeias and books write them; names from memory unless said."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from notesmith.vocabulary import Concept, Vocabulary, label_key, load_vocabulary
from notesmith.vocabulary.variants import plainer, resolve_remedy, skeleton

VOCABULARY = load_vocabulary()


@pytest.mark.parametrize(
    ("first", "second"),
    [
        # Registered by the French agency ANSM (shared/reference/check_values.tsv) beside the older English spelling.
        ("Sulfur", "Sulphur"), ("Kalium bichromicum", "Kali bichromicum"), ("Thuya occidentalis", "Thuja occidentalis"),
        # Pharmacopoeia practice: the order of acidum, the endings, ae and e, i and j and y, k and c, ph and f.
        ("Acidum nitricum", "Nitricum acidum"), ("Nitric acid", "Acidum nitricum"), ("Iodum", "Jodum"),
        ("Psorinum", "Psorinium"), ("Caesium", "Cesium"), ("Hyemalis", "Hiemalis"), ("Camomilla", "Chamomilla"),
        ("Phytolacca", "Fitolacca"), ("Natrium sulfuricum", "Natrum sulphuricum"), ("Calcium fluoratum", "Calcarea fluorica"),
        ("Barium carbonicum", "Baryta carbonica"), ("Evonymus", "Euonymus"), ("Lachesis mutus", "Lachesis muta"),
        ("Natrium chloratum", "Natrum muriaticum"), ("Rauwolfia", "Rauvolfia"), ("Zanthoxylum", "Xanthoxylum"),
    ],
)  # fmt: skip
def test_spellings_of_one_name_have_one_skeleton(first: str, second: str) -> None:
    assert skeleton(first) == skeleton(second)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("Kali chloricum", "Kali chloratum"),  # chlorate and chloride
        ("Sulphuricum acidum", "Sulphurosum acidum"), ("Natrum nitricum", "Natrum nitrosum"),
        ("Ferrum phosphoricum", "Ferrum picricum"), ("Calcium", "Calcarea"), ("Mercurius", "Mercurialis"),
        ("Euphorbia", "Euphrasia"), ("Anthracinum", "Anthrachinonum"), ("Arnica", "Aranea"),
    ],
)  # fmt: skip
def test_other_remedies_have_other_skeletons(first: str, second: str) -> None:
    assert skeleton(first) != skeleton(second)


@pytest.mark.parametrize(
    ("written", "plain"),
    [("Arnica montana L., radix", "Arnica montana"), ("Ruta graveolens ex herba", "Ruta graveolens"),
     ("Abrus precatorius L.", "Abrus precatorius"), ("Arum triphyllum Schott", "Arum triphyllum"),
     ("Azadirachta indica A. Juss.", "Azadirachta indica"), ("Schoenocaulon officinale (Schltdl.) A. Gray",
                                                              "Schoenocaulon officinale")],
)  # fmt: skip
def test_botanists_and_parts_of_the_plant_are_left_out(written: str, plain: str) -> None:
    assert plain in plainer(written)


@pytest.mark.parametrize(
    ("name", "identifier"),
    [
        ("Lachnantes tinctoria", "remedy/lachnanthes-tinctoria"), ("Atropa belladonna L.", "remedy/belladonna"), ("Belladonna, radix", "remedy/belladonna"),
        ("Senega officinalis", "remedy/senega"), ("Cerebellum", "remedy/cerebellum-suis"),
        ("Chamomilla, radix", "remedy/chamomilla"), ("Delphinium staphysagria", "remedy/staphysagria"),
    ],
)  # fmt: skip
def test_a_name_in_a_spelling_never_seen_is_resolved(name: str, identifier: str) -> None:
    assert not VOCABULARY.find(name, "remedy")
    resolved = resolve_remedy(VOCABULARY, name)
    assert [one.id for one in resolved.concepts] == [identifier]
    assert resolved.how == "spelling"
    assert not resolved.ambiguous


def test_what_two_remedies_share_is_ambiguous() -> None:
    two = Vocabulary({c.id: c for c in (Concept("remedy/a", "remedy", "Columbo"), Concept("remedy/b", "remedy", "Columbium"))},
                     (), "0")  # fmt: skip
    resolved = resolve_remedy(two, "Kolumbum")
    assert resolved.ambiguous
    assert {one.id for one in resolved.concepts} == {"remedy/a", "remedy/b"}


@pytest.mark.parametrize("name", ["table", "The patient", "morning", "Zzyzx", "", "  ", "Doctor Who", "potency"])
def test_what_is_no_remedy_stays_unknown(name: str) -> None:
    assert resolve_remedy(VOCABULARY, name).how == "unknown"


def test_every_label_still_resolves_to_its_own_remedy() -> None:
    for concept in VOCABULARY.in_scheme("remedy"):
        assert concept in resolve_remedy(VOCABULARY, concept.pref_label).concepts


@given(st.text(max_size=50))
def test_anything_can_be_asked(name: str) -> None:
    resolve_remedy(VOCABULARY, name)
    assert skeleton(skeleton(name)) is not None
    assert all(label_key(one) != "" or one for one in plainer(name))
