"""What shows that somebody new is told of: an age, a person not known yet, the other sex, a count of cases, after a
story in which something was given and came out. A case that follows another without a word between is found by these.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import product

from notesmith.extract.case_person import AGE, bare_ages
from notesmith.extract.cases import ANYONE, PERSON, tells
from notesmith.extract.sentences import Look

_SHE = re.compile(r"\b(?:she|her|hers|lady|woman|girl|lassie|wife)\b")
_HE = re.compile(r"\b(?:he|him|his|man|boy|gentleman|fella|fellow|lad)\b")
_COUNTED = re.compile(
    r"^(?:(?:so|now|and|okay|then|but|right|well|yes|the|my|a|also),? )*(?:first|second|third|fourth|fifth|last|next|another|other|"
    r"number (?:one|two|three|four|five)|one more|case (?:one|two|three|four)|here'?s? (?:is )?(?:another|one))\b"
)
_TITLED = re.compile(r"\b(?:mr|mrs|miss|ms|mister|madam|master|baby|little|old|young)\b\.? ")
_SOME_PERSON = re.compile(rf"\b(?:an?|one|another|some) (?:[\w-]+,? ){{0,3}}?(?:{PERSON}|{ANYONE})\b")
_PERSON_FIRST = re.compile(
    rf"^(?:(?:so|now|and|then|okay),? )*(?:an? |one |old |young |the )*(?:[\w-]+ ){{0,2}}?(?:{PERSON}|{ANYONE}|male|female)\b[,.]"
)
_KIN_OF = re.compile(
    r"\b(?:his|her|their|my|our) (?:own )?(?:neighbou?r|cousin|sister|brother|nephew|niece|colleague|friend|daughter|son|"
    r"aunt|uncle|wife|husband|mother|father)\b"
)
_CAME_OUT = re.compile(
    r"\b(?:never (?:came|saw|heard)|no more|since then|to date|till date|till now|until now|now (?:he|she)|years? (?:later|on)|still|"
    r"discharged|lost (?:sight|to)|that's all|that is all|to be continued|closed|the end|went home|back (?:to|at) (?:work|school)|well|fine)\b"
)
_TIME = re.compile(r"\b(?:days?|weeks?|months?|years?|visit|morning|follow)\b")
_GIVING = re.compile(r"\b(?:gave|given|give|got|had|took|prescribed|repeated|dose|single|drops|potency)\b")
_DOSE = re.compile(r"\b(?:dose|thirty|two hundred|200|30|1m|10m|one m|potency|gave|prescribed|repeated)\b")

_SIGNS = frozenset(("age soon", "switch", "ordinal", "person first", "person first+1", "some person", "some person+1", "few words", "same", "age before"))  # fmt: skip
_SETTINGS = frozenset(("gave before", "gave just before", "told before", "ended before", "told after", "times before", "switch", "age soon", "same"))  # fmt: skip


def newcomer_features(looks: Sequence[Look]) -> list[dict[str, float]]:
    """For each sentence, features for whether somebody new is told of from here on."""
    lows = [look.sentence.low for look in looks]
    gives = [bool(_DOSE.search(low)) or (bool(look.remedies) and bool(_GIVING.search(low)))
             for low, look in zip(lows, looks, strict=True)]  # fmt: skip
    age = [2 if AGE.search(low) else int(bare_ages(low, given)) for low, given in zip(lows, gives, strict=True)]
    she, he = ([len(pattern.findall(low)) for low in lows] for pattern in (_SHE, _HE))
    telling = [tells(look) > 0.9 for look in looks]
    first, some = ([bool(pattern.search(low)) for low in lows] + [False] for pattern in (_PERSON_FIRST, _SOME_PERSON))
    found = []
    for index, low in enumerate(lows):
        before, after = slice(max(0, index - 4), index), slice(index, index + 4)
        brief = len(low.split())
        soon = any(age[index : index + (3 if brief < 8 else 2)])
        just = any(age[max(0, index - 2) : index])
        was, will = _one_sex(sum(she[before]), sum(he[before])), _one_sex(sum(she[after]), sum(he[after]))
        flags = {
            "age": age[index] > 0, "sure age": age[index] == 2, "age+1": any(age[index + 1 : index + 2]), "age+2": any(age[index + 2 : index + 3]),
            "age before": just, "age soon": soon and not just, "switch": was * will < 0, "same": was * will > 0, "ordinal": bool(_COUNTED.search(low)),
            "person first": first[index], "person first+1": first[index + 1], "some person": some[index], "some person+1": some[index + 1],
            "titled": bool(_TITLED.search(low)), "kin of": bool(_KIN_OF.search(low)), "gave before": any(gives[max(0, index - 8) : index]),
            "gave just before": any(gives[before]), "times before": any(_TIME.search(text) for text in lows[max(0, index - 3) : index]),
            "ended before": index > 0 and bool(_CAME_OUT.search(lows[index - 1])), "told before": sum(telling[before]) >= 2,
            "told after": sum(telling[after]) >= 2, "few words": brief <= 5,
        }  # fmt: skip
        on = [name for name, true in flags.items() if true]
        pairs = product([name for name in on if name in _SIGNS], [name for name in on if name in _SETTINGS])
        found.append({f"n:{name}": 1.0 for name in on} | {f"n:{a}&{b}": 1.0 for a, b in pairs if a != b})
    return found


def _one_sex(she: int, he: int) -> int:
    """1 where women are spoken of, -1 where men are, 0 where both or nobody."""
    return 1 if she >= 2 and she > 2 * he else -1 if he >= 2 and he > 2 * she else 0
