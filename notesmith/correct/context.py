"""What the talk around a stretch speaks for: remedies, authors, miasms, or plain English.

Cues are classes of words of the trade and of everyday speech (common practice), never the garbles themselves.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left
from collections.abc import Sequence

from notesmith.correct.candidates import NUMBER_WORDS, HeardWord

REMEDY_BEFORE = frozenset(
    (
        "remedy remedies gave give given giving prescribe prescribed dose doses compare compared like unlike "
        "than called named drug drugs nosode study studied take received got put between differentiate versus "
        "while whereas but and or of in by after before with then is think typical"
    ).split()
)
STRONG_REMEDY_BEFORE = frozenset(
    (
        "gave prescribed remedy remedies compare prescribe dose doses nosode give giving differentiate "
        "potency study repeated repeat antidotes complementary inimical follows"
    ).split()
)
REMEDY_AFTER = frozenset(
    (
        "is has patient patients child person wants desires will follows remedy potency single once twice "
        "thrice daily dose doses headache pain cough in also and like type constitution picture case woman "
        "man fever comes stands feels complaints pains"
    ).split()
)
POTENCY_AFTER = frozenset("thirty hundred thousand potency centesimal six twelve lm cm m mother tincture q x c".split())
AUTHOR_AFTER = frozenset(
    (
        "says said writes wrote mentions mentioned describes described gives puts calls told tells teaches "
        "taught recommends observes adds lectures lecture repertory keynotes materia book guiding dictionary "
        "advises warns insists used himself states noted reports praises"
    ).split()
)
AUTHOR_BEFORE = frozenset(
    (
        "doctor dr master old author authors says by read consult quote quoting to from great like in and or "
        "of writes professor teacher repertory father"
    ).split()
)
MIASM_NEAR = frozenset(
    (
        "miasm miasms miasmatic taint background psora psoric sycosis sycotic syphilis syphilitic tubercular "
        "antipsoric antisycotic antisyphilitic inherited hereditary dyscrasia suppressed suppression "
        "gonorrhoea gonorrhea warts condylomata itch layer chronic nosode diathesis hahnemann discharge "
        "vaccination remedy remedies constitution wart syphilitics sycotics patient tendency"
    ).split()
)
PSYCHIATRY_NEAR = frozenset(
    (
        "psychiatrist psychiatric psychiatry episode episodes hallucinations voices hospital schizophrenia "
        "antipsychotic breakdown ward medication lithium drugs emergency admitted admission crisis illness depression "
        "disorder police olanzapine risperidone delusional"
    ).split()
)
TRADE = frozenset(
    (
        "remedy remedies potency repertory rubric modalities modality aggravation amelioration keynote "
        "keynotes miasm homeopathic homoeopathic homeopathy prescribe prescribed polychrest materia "
        "constitutional complementary antidote simillimum nosode symptoms symptom worse better proving"
    ).split()
)
ADVERBS = frozenset("also always too once never often only even himself then again still clearly rightly".split())
THIRD_PERSON = frozenset(
    "has is was thinks orders wants finds warns stayed edited explains compares uses used agrees".split()
)
PRONOUNS = frozenset("i you he she it we they who that this there".split())
COUNTED = frozenset("o oclock am pm years months days weeks hours times percent".split())
NEAR = 12


class Surroundings:
    """The talk of one session: cue words near each place, and how much of the trade it speaks at all."""

    def __init__(self, words: Sequence[HeardWord]) -> None:
        self.words = words
        self._places: dict[frozenset[str], list[int]] = {}
        trade = sum(word.plain in TRADE for word in words)
        self.trade_share = min(1.0, 40.0 * trade / max(40, len(words)))

    def _near(self, start: int, end: int, cues: frozenset[str], reach: int = NEAR) -> int:
        return self._count(cues, (max(0, start - reach), start), (end, end + reach))

    def _in_sentence(self, start: int, end: int, cues: frozenset[str]) -> int:
        """Cue words of the same sentence, at most ``NEAR`` words away."""
        first, last = start, end
        while first > max(0, start - NEAR) and not self.words[first].starts_sentence:
            first -= 1
        while last < min(len(self.words), end + NEAR) and not self.words[last].starts_sentence:
            last += 1
        return self._count(cues, (first, start), (end, last))

    def _count(self, cues: frozenset[str], *stretches: tuple[int, int]) -> int:
        """How many words of some stretches are cues."""
        places = self._places.get(cues)
        if places is None:
            places = [i for i, word in enumerate(self.words) if not cues.isdisjoint(word.plain.split())]
            self._places[cues] = places
        return sum(bisect_left(places, end) - bisect_left(places, start) for start, end in stretches)

    def miasm_words(self, start: int, end: int) -> int:
        """Miasm talk in the sentence and, half as telling, around it."""
        return self._in_sentence(start, end, MIASM_NEAR) + self._near(start, end, MIASM_NEAR) // 2

    def psychiatry_words(self, start: int, end: int) -> int:
        return self._in_sentence(start, end, PSYCHIATRY_NEAR)

    def before(self, start: int) -> str:
        """The word before, within the sentence."""
        return "" if start == 0 or self.words[start].starts_sentence else self.words[start - 1].plain

    def after(self, end: int) -> str:
        """The word after, within the sentence."""
        return "" if end >= len(self.words) or self.words[end].starts_sentence else self.words[end].plain

    def potency_follows(self, end: int) -> bool:
        """A number and not a clock or a count right after it: thirty, 200, 1M, LM."""
        after = self.after(end)
        if re.fullmatch(r"\d+[a-z]{0,2}", after) or after in POTENCY_AFTER or after in NUMBER_WORDS:
            following = self.words[end + 1].plain if end + 1 < len(self.words) else ""
            return following not in COUNTED
        return False

    def cues(self, start: int, end: int, heard: str, scheme: str, concept_id: str) -> float:
        """How much the words around speak for a term of this kind; about 0 to 3."""
        before, after = self.before(start), self.after(end)
        if concept_id.startswith("author/"):
            if after in ADVERBS:
                after = self.after(end + 1)
            speaks = after in AUTHOR_AFTER or (after in THIRD_PERSON and before not in PRONOUNS)
            score = 1.6 * speaks + 0.5 * (before in AUTHOR_BEFORE)
            if heard.rstrip(".,;:?!").endswith(("'s", "’s")) and after in AUTHOR_AFTER:
                score += 0.6
            return score
        if scheme in ("remedy", "family"):
            score = (
                0.9 * (before in STRONG_REMEDY_BEFORE) + 0.3 * (before in REMEDY_BEFORE) + 0.4 * (after in REMEDY_AFTER)
            )
            score += 1.6 * self.potency_follows(end)
            return score + 0.3 * (self.words[start].starts_sentence and after in REMEDY_AFTER)
        return min(1.0, 0.25 * self._near(start, end, TRADE))


def doubt(words: Sequence[HeardWord]) -> float:
    """How unsure the recogniser was: mean -log of the word probabilities, 0.5 where it did not say."""
    given = [-math.log(max(0.02, word.probability)) for word in words if word.probability is not None]
    return sum(given) / len(given) if given else 0.5
