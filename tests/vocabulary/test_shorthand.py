"""The shorthand of prescriptions against a published table, and each collision with and without its context.

Sources: Latin prescription abbreviations and potency scales as taught (secondary sources; our reference lists
rx_abbrev.tsv and potency_scales.tsv, copied here as tables); what decides a collision is common practice.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from notesmith.vocabulary import load_vocabulary
from notesmith.vocabulary.potency import parse_potency
from notesmith.vocabulary.shorthand import read_shorthand

VOCABULARY = load_vocabulary()

# sign(s), Latin, meaning, and whether the table says that it collides: rx_abbrev.tsv.
ABBREVIATIONS = [
    ("OD, o.d.", "omni die", "once a day", True),
    ("BD, b.d., BID", "bis die", "twice a day", False),
    ("TDS, t.d.s., TID", "ter die sumendus", "three times a day", False),
    ("QDS, q.d.s., QID", "quater die sumendus", "four times a day", False),
    ("HS, h.s.", "hora somni", "at bedtime", True),
    ("SOS, s.o.s.", "si opus sit", "if necessary", False),
    ("PRN, p.r.n.", "pro re nata", "as needed", False),
    ("STAT", "statim", "at once", False),
    ("AC, a.c.", "ante cibum", "before food", None),  # the table has no collision; -ac. is also acidum
    ("PC, p.c.", "post cibum", "after food", None),  # nor here; also a presenting complaint
    ("OM", "omni mane", "every morning", None),
    ("ON", "omni nocte", "every night", False),
    ("CM, C.M.", "cras mane", "tomorrow morning", True),
    ("CN, C.N.", "cras nocte", "tomorrow night", None),
    ("alt. hor.", "alternis horis", "every other hour", False),
    ("q.q.h.", "quarta quaque hora", "every four hours", False),
    ("gtt.", "guttae", "drops", False),
    ("q.s.", "quantum sufficiat", "as much as is enough", False),
    ("M.", "misce", "mix", True),
    ("Rx", "recipe", "take", False),
]


@pytest.mark.parametrize(("signs", "latin", "meaning", "collides"), ABBREVIATIONS)
def test_each_sign_of_the_table(signs: str, latin: str, meaning: str, collides: bool | None) -> None:
    for sign in signs.split(", "):
        (one,) = read_shorthand(sign, VOCABULARY)
        assert any(meaning in sense.meaning for sense in one.senses), one
        assert any(latin in VOCABULARY[s.concept_id].fact("latin") for s in one.senses if s.concept_id), one
        if collides is not None:
            assert bool(one.doubt) is collides, one


# The scales of potency_scales.tsv: as written, scale, nominal 10^-n (arithmetic).
SCALES = [
    ("D6", "decimal", 6), ("6X", "decimal", 6), ("4DH", "decimal", 4), ("30C", "centesimal", 60),
    ("30CH", "centesimal", 60), ("200", "centesimal", 400), ("200K", "Korsakovian", 400),
    ("200CK", "Korsakovian", 400), ("1M", "centesimal", 2000), ("10M", "centesimal", 20_000),
    ("50M", "centesimal", 100_000), ("CM", "centesimal", 200_000), ("1CM", "centesimal", 200_000),
    ("DM", "centesimal", 1_000_000), ("MM", "centesimal", 2_000_000), ("LM1", "fifty-millesimal", 10.699),
    ("Q2", "fifty-millesimal", 15.398), ("0/1", "fifty-millesimal", 10.699), ("1/0", "fifty-millesimal", 10.699),
    ("2C", "centesimal", 4), ("4X", "decimal", 4), ("12C", "centesimal", 24),
    ("Q", "mother tincture", None), ("θ", "mother tincture", None), ("MT", "mother tincture", None),
    ("TM", "mother tincture", None),
]  # fmt: skip


@pytest.mark.parametrize(("written", "scale", "exponent"), SCALES)
def test_each_scale_of_the_table(written: str, scale: str, exponent: float | None) -> None:
    parsed = parse_potency(written)
    assert parsed is not None
    assert parsed.senses[0].scale == scale
    assert parsed.senses[0].dilution_log10 == exponent


DECIDED = [
    ("Sulphur M, one dose", "M", "potency/1m"),
    ("Sulphur in the M potency", "M potency", "potency/1m"),
    ("Pulv. rhei gr. x, M. ft. pulv.", "M.", "rx/misce"),
    ("Lycopodium CM, single dose", "CM", "potency/cm"),
    ("10M, and after a year CM", "CM", "potency/cm"),
    ("haust. C.M. repetatur", "C.M.", "rx/cras-mane"),
    ("a wart of 3 cm on the hand", "cm", ""),
    ("Thuja 200 for a wart of 3 cm", "cm", ""),
    ("Crataegus Q ten drops TDS", "Q", "potency/mother-tincture"),
    ("Hydrastis Q locally as a gargle", "Q", "potency/mother-tincture"),
    ("the Q scale is succussed before each dose", "Q", "potency/fifty-millesimal"),
    ("q. hora", "q.", "rx/quaque"),
    ("Sulphur 30 OD", "OD", "rx/od"),
    ("4 pills OD for five days", "OD", "rx/od"),
    ("OD vision 6/6, OS 6/9", "OD", "rx/oculus-dexter"),
    ("OD vision 6/6, OS 6/9", "OS", "rx/oculus-sinister"),
    ("cataract OD", "OD", "rx/oculus-dexter"),
    ("poisoned by an OD of sleeping tablets", "OD", ""),
    ("Nux vomica 30 HS", "HS", "rx/hs"),
    ("peroxide HS as a wash", "HS", "rx/half-strength"),
    ("10M, LM, CM in turn", "LM", "potency/50m"),
    ("the LM scale, daily in water", "LM", "potency/fifty-millesimal"),
    ("Thuja 200, then SL BD", "SL", "rx/sac-lac"),
    ("one tablet SL under the tongue", "SL", "rx/sublingual"),
    ("CN VII palsy", "CN", ""),
    ("pil. ii C.N.", "C.N.", "rx/cras-nocte"),
    ("4 pills PC", "PC", "rx/pc"),
    ("PC: cough since a week", "PC", "idea/presenting-complaint"),
    ("type 2 DM since ten years", "DM", ""),
    ("Sepia DM", "DM", "potency/dm"),
    ("Sepia IM", "IM", "potency/1m"),
    ("IM vaccination", "IM", "rx/im"),
    ("discharge AD, otitis", "AD", "rx/auris-dextra"),
]


@pytest.mark.parametrize(("line", "sign", "concept"), DECIDED)
def test_the_context_decides(line: str, sign: str, concept: str) -> None:
    one = next(one for one in read_shorthand(line, VOCABULARY) if one.written == sign)
    assert one.doubt == ""
    assert [sense.concept_id for sense in one.senses] == [concept]


@pytest.mark.parametrize("sign", ["M", "CM", "MM", "DM", "CN", "Q", "LM", "OD", "OS", "AD", "HS", "SL", "PC", "OM"])
def test_without_context_it_is_marked_ambiguous(sign: str) -> None:
    (one,) = read_shorthand(sign, VOCABULARY)
    assert len(one.senses) >= 2
    assert all(sense.meaning in one.doubt for sense in one.senses)


@pytest.mark.parametrize(
    "line", ["She went on as before, no better in the morning at home.", "I am sad and he is at ease, om ad on no.",
             "The pain is worse at night and from cold."]
)  # fmt: skip
def test_plain_english_holds_no_signs(line: str) -> None:
    assert read_shorthand(line, VOCABULARY) == ()


def test_a_whole_line() -> None:
    read = read_shorthand("Rx Thuja 200 1 dose HS, then SL BD for a week; Bryonia 6X QDS SOS, LM1 o.d.", VOCABULARY)
    assert [one.senses[0].concept_id for one in read] == [
        "rx/rx", "potency/200c", "rx/single-dose", "rx/hs", "rx/sac-lac", "rx/bd", "potency/6x", "rx/qds", "rx/sos",
        "potency/lm1", "rx/od",
    ]  # fmt: skip
    assert "10^-400" in read[1].senses[0].meaning


@given(st.text(max_size=60) | st.lists(st.sampled_from(["M", "CM", "Q", "OD", "Thuja", "30", "cm", "x"])).map(" ".join))
def test_anything_can_be_asked(line: str) -> None:
    for one in read_shorthand(line, VOCABULARY):
        assert one.senses
        assert 0 <= one.words.start < one.words.end <= len(line.split())
