"""Words that claim a cure, or an effect that lasts, built from parts as advice against care is (``discouraging.py``).

A claim is heard in the word itself (cure, guarantee, miracle), in a disease said to be gone, in what is said to be gone
wholly, to the root or for ever, in one dose that did it, and in doctors who stand amazed. A plain good end of a case
("she slept from then on", "it did not come back") is an outcome and no claim.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

_NOT_STOP = r"[^.;?!]"
_DISEASE = (
    r"(?:cancers?|tumou?rs?|stones?|gallstones?|fibroids?|cysts?|growths?|polyp\w*|cataracts?|nodules?|lumps?|warts?|keloids?|"
    r"depression|melanchol\w+|diabetes|sugar|asthma|epilepsy|infertility|barrenness|autism|arthritis|psoriasis|eczema|migraines?|sciatica|"
    r"hiv|aids|tb|malaria|endo(?:metriosis)?|ms|adhd|ibs|gout|lupus|vitiligo|deafness|blindness|dementia|parkinson'?s|alzheimer'?s|hepatitis|cirrhosis|prolapse|hernias?|paralysis|thyroid|goitres?|piles|fistula|sinus|p ?c ?o ?[ds]|copd|allerg\w+|"
    r"veins|\w+itis|\w+osis|disease|illness)"
)
_FOREVER = (
    r"(?:for ?ever(?: more)?|for good|for life|for always|for (?:the )?(?:whole|all|rest of)(?: of)? (?:his|her|your|their|my)? ?life|whole life|lifelong|"
    r"once and for (?:all|ever)|permanent(?:ly)?|eternally|until the \w+ generation|(?:in|for) (?:this|his|her|your) (?:life|lifetime))"
)
_WHOLLY = r"(?:totally|completely|fully|entirely|wholly|absolutely|perfectly|(?:one |a )?(?:100|hundred|cent) ?(?:per ?cent|percent|%|by hundred))"
_GONE = (
    r"(?:gone|finish\w*|clear(?:s|ed|ing)?|fixe[sd]|fixed|solve[sd]|sealed|buried|uproot\w*|abolish\w*|banish\w*|eras\w+|dissolve[sd]?|"
    r"melt(?:s|ed)?|vanish\w*|disappear\w*|depart(?:s|ed)|heal(?:s|ed)?|remove[sd]?|unblock(?:s|ed)?|end(?:s|ed)|revers(?:es|ed)|bulletproof)"
)
_AWAY = rf"(?:{_GONE}|took|take[sn]?|washe[sd]|plucks?|plucked|wipe[sd]|pull(?:s|ed))"
_DOSE = (
    r"(?:one|a|the|single|first|two|three|four|five|six|seven|ten|twenty|thirty|forty|\d+)(?: (?:one|little|small|tiny|single|sugar|white|sweet))* "
    r"(?:dose|pill|packet|powder|ball|drop|globule|bottle|tablet|sugar|phial|spoon|capsule)s?"
)
_HEALERS = r"(?:doctors?|surgeons?|specialists?|professors?|hospitals?|consultants?|physicians?|\w+ologists?)"
_TIME = r"(?:days?|nights?|weeks?|hours?|minutes?|sessions?|visits?|sundays?|moons?|months?)"

_PARTS = r"(?:bones?|lungs?|hearts?|liver|kidneys?|brain|fractures?|nerves?|spine|eyes?|valve|dis[ck]|womb|knees?|hip|legs?|joints?|ligaments?|tendons?|ulcers?|stomach|blood|ears?|drum|back)"
#: Somebody or a part of the body made whole, the dead raised, what others could not do, an operation no more needed.
_MADE_WHOLE = (
    r"resurrect\w*|(?:rais|rose|risen|back|bring|brought|pull|snatch)\w* (?:\w+ ){0,3}?from (?:the )?(?:dead|death|grave)|"
    r"(?:g[ai]ve|gives|given|giving|return(?:s|ed)|handed) (?:\w+ ){0,3}?back (?:\w+ ){0,2}?(?:li(?:fe|ves)|sight|eyes?|legs?|hearing|speech|voice|youth|breath|child|son|daughter|husband|wife|health)|"
    r"(?:g[ai]ve|gives|given) (?:him|her|me|them|us) (?:(?:his|her|my|their|our) )?(?:new )?(?:life|sight|hearing|legs|youth|health)(?: back| again)|"
    r"(?:wash|flush|clean|clear|pull|draw|suck|driv|push|throw)\w* (?:\w+ ){0,4}?(?:poisons?|toxins?|chemicals?|disease|sickness|injections?|vaccines?) (?:\w+ ){0,4}?(?:out|away)\b|"
    r"(?:heal|cur|mend|fix|did|manag|succeed|solv)\w* (?:\w+ )?(?:what|where) (?:\w+ ){1,5}?(?:failed|fails|fail|could not|couldn't|can't|cannot|gave up|did not|didn't)|"
    r"sav(?:es|ed|ing) (?:\w+ ){0,3}?(?:from )?(?:the |an? |any |his |her )?(?:surgery|operations?|knife|amputation|transplant|dialysis|scalpel|\w+ectomy|death|grave|wheelchair)|"
    r"permanent(?:ly)?,? (?:and )?(?:no|without) (?:surgery|operation|knife|medicines?|tablets?)|(?:did|does|made|makes) it permanent|"
    rf"(?:heal(?:s|ed)|mend(?:s|ed)|solder(?:s|ed)|knit(?:s|ted)?|glue[sd]|weld(?:s|ed)|rebuil(?:ds|t)|re-?gr[eo]ws?|repair(?:s|ed)) (?:the|his|her|my|their|your) (?:\w+ )?{_PARTS}(?= (?:by|with|in|without|and|of)\b|[,.;?!]|$)|"
    r"heal(?:s|ed) (?:him|her|them|me|us|people|everybody|everyone|thousands|hundreds|(?:my|his|her|our) \w+|the (?:child|boy|girl|man|woman|baby|lady|patient|whole \w+))(?! by| up| well)\b|"
    r"finish(?:es|ed)? (?:off )?(?:the|all the|with the|with) (?:doctors?|diseases?|sickness|hospitals?|illness)|"
    r"(?:ma[dk]es?|making|got|had) (?:the |him |her |an? )?(?:lame|blind|deaf|paraly[sz]ed|cripples?|crippled|dumb)(?: \w+)? (?:to )?(?:walk|see|hear|run|speak|whole)|"
    r"(?:threw|thrown|throws?) (?:away )?(?:his|her|their|the) (?:crutch\w*|glasses|spectacles|sticks?|wheelchair|hearing aids?)|"
    r"(?:disease|illness|sickness|cancer|sugar|tumour|it) (?:has |had )?(?:left|leaves|fled|flees|ran|runs) (?:from |out of )?(?:the|his|her|my|your|their) body|"
    rf"(?:conquer|defeat|beat|crush|kill|chas|driv|drov|wip|burn|shr[aiu]nk|dri|swallow|smash|clos|defeat|sen[dt])(?:e?s|e?d|ied|ies|ing|e)? (?:out |up |off |away )?(?:the |his |her |my |their |your |any |every |all )?(?:\w+ )?{_DISEASE} ?(?:packing|away|out|for good|in (?:\w+ )?(?:days|weeks)|completely|like)\b|"
    rf"(?:conquer|defeat|crush|smash|shrink)(?:e?s|e?d|ing) (?:the |his |her |my |their |your |any |every |all )?(?:\w+ )?{_DISEASE}|"
    rf"{_DISEASE} (?:is|are|was|were) (?:now )?(?:history|a thing of the past|a memory|no more|dead|beaten|defeated|conquered|sent packing)|"
    r"(?:works?|worked|helps?|acts?) (?:every (?:single )?time|in every case|without fail|for every(?:body|one)|in all cases)|(?:has |have )?never (?:once )?fail(?:s|ed)|"
    r"(?:there is|there's|there are|i know) no (?:disease|illness|sickness|case|cancer|stones?|pain|fever|tumou?r)s? (?:\w+ ){0,3}?(?:cannot|can't|does not|doesn't|will not|won't|could not|resists?|withstands?)|"
    r"(?:(?:does|do|did|will|would)(?: not|n't) (?:ever )?need|no longer (?:needs?|takes?|uses?)|never (?:again )?need(?:s|ed)?) (?:\w+ )?(?:\w+ )?(?:doctors?|hospitals?|operations?|insulin|inhalers?|glasses|tablets|injections?|surgery|crutch\w*|wheelchair|dialysis)(?: (?:any ?more|again|ever|any longer))|"
    r"(?:as good as new|like (?:a )?new(?:born)?|born again|new again|(?:another|a new) (?:man|woman|heart|liver|kidney|knee) (?:now|since))|"
    r"(?:nine(?:ty)?(?:[- ]nine)?|ten|hundred|every (?:one|case)) (?:out of|in) (?:every )?(?:ten|an? hundred|hundred)(?: \w+){0,3} (?:well|recover\w*|heal\w*)"
)

CURES = re.compile(
    rf"\b(?:{_MADE_WHOLE})\b|"
    r"\b(?:cure[sd]?|curative|curing|curable|completely (?:gone|disappeared|dissolved|well|healed|removed|vanished)|"
    r"permanent(?:ly)? (?:cure\w*|gone|removed|relie\w+|well)|(?:100|hundred|cent) per ?cent|100 ?%|miracle\w*|miraculous\w*|"
    r"guarantee\w*|never fails?|will (?:certainly|surely|definitely|always|never fail to) (?:cure|remove|dissolve|help|work|heal)|"
    rf"(?:dissolve[sd]?|melt(?:s|ed)?|vanish\w*|disappear\w*|gone|shr[aiu]nk){_NOT_STOP}{{0,30}}\b(?:tumou?rs?|"
    r"stones?|fibroids?|cysts?|cancers?|warts?|growths?|polyp\w*|cataracts?|nodules?|lumps?)|"
    r"(?:tumou?rs?|stones?|fibroids?|cysts?|cancers?|growths?|polyp\w*|cataracts?|nodules?|lumps?|"
    rf"diabetes|arthritis|asthma|psoriasis|eczema|epilepsy){_NOT_STOP}{{0,40}}\b(?:dissolv\w+|melt\w+|vanish\w*|"
    r"disappear\w*|(?:was|were|is|are|has|completely) gone|cured?|went away|reversed)|"
    r"(?:heals?|cures?|removes?|banish\w*|conquers?|erases?|dissolves?|ends) (?:every|any|all) \w+|"
    r"mak(?:es?|ing) (?:[\w-]+ ){1,4}(?:vanish|disappear|melt away)\b|"
    r"works? like magic|magic(?:al)?(?: remedy)?|wonder (?:drug|remedy)|specific for|sure (?:shot|cure)|"
    r"saved (?:her|his|the|their) (?:life|leg|eye|tonsils|uterus|limb|kidney|child|baby)|restored|"
    r"(?:(?<!\bof )heal(?:s|ed|ing)?\b|eliminat\w+|eradicat\w+|banish\w*|abolish\w*|remov(?:es|ed)|finish(?:es|ed|ing) (?:off )?|ended|reverse[sd]?|get(?:s)? rid of)"
    rf"{_NOT_STOP}{{0,40}}\b(?:{_DISEASE}|forever|for ever|for good|for life|permanently|completely|totally|"
    r"(?:\d+|ninety|hundred|\w+ty) ?(?:per ?cent|%))|"
    rf"(?:unblock|open|clear|dissolv|melt|remov|out|gone)\w*{_NOT_STOP}{{0,45}}\bwithout (?:any |an? |the )?(?:surgery|operations?|knife)|"
    r"(?:free|safe|protected|healthy|immune) for life|never (?:be |fall |get )(?:ill|sick) again|"
    r"totally well|free of the disease|complete (?:cure|recovery|remission)|reversed|"
    # gone for ever, wholly, to the root
    rf"(?:{_AWAY}|saved|safe|free|dry|well){_NOT_STOP}{{0,40}}\b{_FOREVER}|{_FOREVER}{_NOT_STOP}{{0,12}}\b(?:gone|well|free|safe|healed|dry)|"
    rf"no more [\w'’ -]{{2,40}}\b(?:{_FOREVER}|ever)|"
    rf"{_WHOLLY} (?:\w+ )?(?:okay|ok|well|fine|gone|heal(?:ed|thy)|normal|clear(?:ed)?|free|dry|new)|"
    rf"clear(?:s|ed)? {_NOT_STOP}{{0,25}}\b{_WHOLLY}|(?:all|everything) (?:fixed|healed|solved)\b|"
    rf"(?:{_AWAY}|go|goes|going){_NOT_STOP}{{0,40}}\b(?:to|from|at|by|till|until|with|out by) (?:the |its |their |his |her )?(?:very )?roots?\b|"
    r"uproot(?:s|ed|ing)? (?:the|his|her|their|your|every|all)|dead and buried|"
    rf"(?:took|takes?|taken|pluck(?:s|ed)|wash(?:es|ed)|wip(?:es|ed)|swept|sweeps) {_NOT_STOP}{{1,45}}\b(?:years?|decades) (?:off|of)\b|"
    # never to come back, and not a trace of it
    rf"(?:gone|finished|vanish\w*|disappear\w*|out|cured|over|clean\w*|{_DISEASE}){_NOT_STOP}{{0,30}}\b(?:and|never|to)? ?never (?:to )?(?:\w+ ){{0,3}}?(?:seen|come|came|return\w*|relapse\w*|show\w*|dirty|again|back|needed)|"
    r"(?:never|no \w+ was ever|nobody will ever|nothing (?:that )?(?:can|will)) (?:\w+ ){0,3}?(?:sprout\w*|grow|come back|return|relapse) ?(?:again|back)?\b|"
    rf"(?:the|these|those|his|her|no|none) (?:{_DISEASE} )?(?:don't|doesn't|do not|does not|won't|will not|can't|cannot|never) (?:ever )?(?:return|come back|recur|relapse)|"
    r"(?:say |said |wave )?(?:good ?|bye[- ]?)bye (?:to|forever)\b|not even an? (?:mark|trace|scar|shadow|spot)|"
    r"(?:not|no|\w+n't) (?:\w+ ){0,2}?(?:a )?single (?:cell|trace|shadow)|(?:no|none of the|not one) (?:[\w-]+ ){0,2}(?:stones?|tumou?rs?|cysts?|disease) (?:survives?|stays?|resists?)|(?:no|without(?: an?y?| one)?) (?:relapse|recurrence)s?[,.!]? (?:guarantee|in|hundred|for)|"
    # one dose did it, doctors stand amazed, money back
    rf"(?:{_GONE}|saved|cured){_NOT_STOP}{{0,30}}\b(?:by|with|in|after|through|from) (?:just |only |but )?{_DOSE}\b|"
    rf"{_DOSE}[,:]? (?:and )?(?:all |it's |it is |everything |he's |she's )*(?:fixed|cured|healed|gone|finished|bulletproof|over)\b|"
    rf"{_HEALERS} (?:\w+ ){{0,2}}?(?:baffled|amazed|astonished|astounded|speechless|dumbfounded|(?:could not|couldn't|cannot|can't) (?:believe|explain|understand it))|"
    r"money[- ](?:back|return\w*)|(?:no|without) (?:op|operation|surgery|knife)\b(?: needed)?,? ever|"
    # a notice: "gone in twenty one days"
    rf"(?<!\bwas )(?<!\bwere )(?<!\bhad )(?<!\bhas )(?<!\bbeen )(?<!\bit )(?:gone|finish(?:es|ed)?|buried|departs?|unblock\w*|dissolves?|melts?|heals?|healed|vanish(?:es)?|solved) (?:\w+ )?(?:in|within|by) "
    rf"(?:(?:seven|one|two|three|four|five|six|eight|nine|ten|eleven|twelve|fifteen|twenty|thirty|forty|fifty|sixty|seventy|ninety|hundred|\d+)[ -]?)+ {_TIME}|"
    rf"(?:heals?|clears?|ends?|removes?|dissolves?|melts?|shrinks?|banish(?:es)?|abolish(?:es)?|fix(?:es)?) (?:\w+ )?{_DISEASE} (?:in|within|after) (?:only |just |as little as )?(?:a |one |two |three |four |five |six |seven |eight |nine |ten |\d+ )(?:{_TIME}|cycles?|periods?|doses?|weeks?)|"
    r"(?:valve|bone|nerve|cartilage|organ|kidney|liver|tooth|finger)s? (?:\w+ )?(?:grew|grown|grows|regrew|regrown|regrows?)(?: (?:again|back|anew))?)\b"
)
_DENIED = re.compile(
    r"\b(?:law of|laws of|hering's (?:law|rule)|direction of|rules? of|not a|no|cannot|can't|never|don't|"
    r"do not|did not|didn't|will not|won't|not|nobody|nothing|incurable|obstacles? to) "
    r"(?:\w+ ){0,3}?(?:cure|cured|curing|guarantee|promise|claim|dissolved|magic|miracle)\b|\bwithout (?:an? |any |the )?(?:cure|guarantee|promise|claim)\b"
)


#: Characters around a claim within which a denial is one of it: without stops a sentence may be very long.
_DENIAL_REACH = 45
#: Characters from one claim to the next that is flagged for itself.
_APART_CHARS = 80


def claims_in(low: str) -> Iterator[re.Match[str]]:
    """The words of a lower-case sentence that claim a cure and are not denied, well apart from each other."""
    last = -_APART_CHARS
    for match in CURES.finditer(low):
        beside = low[max(0, match.start() - _DENIAL_REACH) : match.end() + _DENIAL_REACH]
        if match.start() - last >= _APART_CHARS and not _DENIED.search(beside):
            last = match.end()
            yield match
