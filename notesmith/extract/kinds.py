"""What kind of teaching a sentence is, by the words in it; the order of revision in materia medica."""

from __future__ import annotations

import re

from notesmith.annotations import PointKind
from notesmith.extract.contrast import relates
from notesmith.extract.lexicon import BODY_CHAPTERS, MIND_WORDS, MODALITY_WORDS

_CUE_WORDS: tuple[tuple[PointKind, float, str], ...] = (
        ("clinical use", 4.1,
            r"indicat(?:ed|ion|ions)|been (?:useful|used|given|found useful|tried)|is useful|useful in|one of the remedies for|remedy for|(?:first|second|last) stage only|"
            r"for the (?:first|second|acute|early) stage|first (?:ones?|remed\w+) you(?:'d| would) think of"),
        ("generals", 3.6,
            r"whole patient|all (?:the )?(?:mucous membranes|discharges|complaints|secretions|symptoms)|everything (?:begins|is|comes|goes)|(?:everything|all)(?:'s| is) (?:slow|worse|left|right)|"
            r"in every form|right to left|left to right|fur cap|(?:kicks?|throws?) off|wants? to be (?:covered|uncovered)|warm[- ]blooded|clothing"),
        ("essence", 4.1, r"(?:think of|see|picture|imagine|call) (?:\w+ )?(?:it |her |him )?as an?|the (?:type|build|figure) (?:is|of)|is the (?:type|remedy of the)"),
        ("modalities", 2.6,
            r"(?:three|four|two|one|eleven|ten|nine|five|six|seven|eight|\d+)(?: (?:or|to|and) \w+)? (?:in the|at) (?:morning|evening|night|afternoon)|wakes? (?:him |her )?(?:at|about|between)|"
            r"come(?:s)? (?:on )?(?:suddenly|slowly|gradually|in the (?:hot|cold|wet|damp))|bring(?:s|ing)? on|after exposure|except in|any (?:motion|uncovering|draught)"),
        ("potency and repetition", 2.6,
            r"thirtieth|two hundredth|(?:i|we|you) give (?:it|the|one|thirty|two)|(?:thirty|two hundred|lm|1m|30|200) is|higher ones?|step higher|three or four doses|not (?:to )?give it|i stop when|"
            r"(?:forty|four|six) (?:to|or) \w+ (?:days|weeks)|fresh look|when the improvement"),
        ("case-taking", 3.5,
            r"(?:you(?:\'ll| should| must| can| have to)? )(?:watch|ask|put|feel|notice|observe|listen|know "
            r"(?:him|her) by)|put your|see (?:what|how|whether|who)|sit back|write (?:down )?the "
            r"(?:actual )?words|ask (?:him|her|them|the|about|for|whether|if|how|any|every|directly|open)|"
            r"asking|don't ask|do not ask|never ask|you (?:have to|must|should|need to|will have to) (?:ask|"
            r"observe|watch|elicit|enquire|inquire|listen|look|see how|probe|find out|dig)|"

             r"observe (?:the|how|him|her|whether)|watch (?:the|how|him|her|whether|for)|elicit|enquire|"
             r"inquire|case[- ]?taking|leading questions?|question (?:him|her|the)|when (?:he|she|the "
             r"patient|a patient) (?:sits|enters|walks|comes) (?:in|before|to)|interrogat\w*|the patient "
             r"will (?:not )?(?:tell|say|volunteer)|"

             r"patients? (?:will )?(?:never|not|don't|rarely|seldom) (?:tell|say|admit|volunteer)|how "
             r"(?:will|do|would) you (?:ask|find|know|elicit)|find out|look for (?:it|this)|let (?:him|her|"
             r"them|the patient) (?:talk|speak|tell)|in (?:his|her|their) own words|notice (?:how|whether|"
             r"the way)|(?:first|open|next|leading|suggestive) questions?|keep quiet|silence|interview|(?:actual|own|exact) words|history[- ]taking|"
             r"give it weight|bedside|volunteer\w*|(?:the|a|your) patient (?:can|may|will) (?:go|talk|say|tell|answer)|people (?:don't|do not|won't|never) (?:think|tell|say|"
             r"admit)|worth asking|asked for|(?:don't|do not) fit with the diagnosis|peculiar|when (?:somebody|someone|anybody) (?:tells|says)|don't take \w+|(?:look|looking) at "
             r"(?:the|his|her)"),
        ("study advice", 3.4, r"hospital|surgeon|ambulance|emergency|cardiologist|oncologist|physician (?:who|will)|whoever prescribed|(?:his|her|their) tablets|specialist|the gp|taper"),
        ("study advice", 4.0,
            r"(?:watch|read|revise|listen to|go through|write down|study|learn|bring|compare) "
            r"(?:\w+ ){0,3}?(?:recording|notes|books?|chapters?|lectures?|texts?|keynotes|materia medica|"
            r"charts?|tables?|modalities|again|at home|by heart|rubrics)|(?:you (?:should|must|have to|need "
            r"to)|please|always|don't|do not) (?:\w+ )?(?:read|study|learn|memori[sz]e|revise|mug|by-heart|"
            r"by heart|write|make (?:a |your )?(?:chart|table|notes|list)|compare it yourself|practi[sc]e)|"
            r"read (?:it|this|the (?:chapter|lecture|remedy|book))|study (?:it|this|the|them)|"

             r"make (?:a|your) (?:chart|table|list|notes)|for (?:the|your) exam|revis(?:e|ion)|memori[sz]e|"
             r"mug(?:ging)? up|when you study|as (?:a )?students?|learn (?:it|this|the|them|remedies)|"
             r"materia medica is (?:learnt|learned|studied)|go through (?:the|this|it)"),
        ("potency and repetition", 3.2, (
            r"potenc(?:y|ies)|dose|doses|repeat(?:ed|ing)?|repetition|high(?:er)? dilution|low dilution|give "
            r"it (?:very )?high|begin (?:a|the) case|deep[- ]acting|when (?:the \w+ )?improve(?:s|ment)|"
            r"improving|as long as|anything (?:is|was) changed|short action|long action|acts (?:deeply|best|"
            r"long)|30c?\b|200c?\b|1m\b|10m\b|cm potency|lm\b|mother tincture|3x\b|6x\b|two hundred|one m\b|"
            r"(?:6|12)c\b|aggravation after|do not (?:give|interfere)|too often|single dose|wait and watch|"
            r"second prescription"
        )),
        ("relations", 3.4, (
            r"complement(?:ary|s|ed)?|inimical|antidot(?:e|es|ed|al)|follows? (?:it |well|\w+ well)|followed "
            r"(?:well )?by|compatible|incompatible|acute of|chronic of|chronic (?:counterpart|complement)|"
            r"acute (?:counterpart|complement)|goes well (?:after|with)|intercurrent|before or after|never "
            r"(?:give )?(?:before|after)|completes (?:the|its)|friend of|enem(?:y|ies) of"
        )),
        ("miasm", 3.2, (
            r"miasm\w*|psora|psoric|sycosis|sycotic|syphilis|syphilitic|syphilo\w*|tubercular|tuberculous|"
            r"pseudo-?psora|anti-?psoric|anti-?sycotic|anti-?syphilitic|gonorrh(?:oea|eal|oeal)|trimiasmatic|"
            r"cancer miasm"
        )),
        ("differential", 2.6, (
            r"whereas|unlike|compare|differ(?:s|ent|ence|entiate|ential)?\b|distinguish|on the other hand|"
            r"versus|in contrast|as against|confused? with|opposite of|the other one"
        )),
        ("concomitants", 3.9, (
            r"(?:comes?|goes|come|go|is there|are there|appears?) (?:on )?(?:along |together )?with (?:the|"
            r"an?|this|every|it|each)|go(?:es)? along with|concomitants?|accompan(?:y|ied|ies|ying)|along "
            r"with (?:the|it|this)|together with|alternat(?:es?|ing) with|(?:during|with) the (?:headache|"
            r"pain|cough|fever|chill|diarrhoea|menses|complaints?|colic|heat|attack)[^.]{0,30}\b(?:there is|"
            r"comes|she|he|with)|at the same time|associated with|with every (?:complaint|pain|cough)"
        )),
        ("modalities", 2.4, (
            r"worst (?:position|time|thing|hour)|(?:is|are) (?:very )?bad for|bad time|(?:his|her|its|their) "
            r"(?:bad |worst )?(?:time|hour)|agrees|disagrees|worse|better|aggravat\w+|amelior\w+|modalit\w+|"
            r"reliev\w+|relief|intolerant of|cannot bear|can't bear|<|>|at (?:\d+|three|four|two|one|eleven|"
            r"ten|nine|five|midnight|night) (?:a\.?m|p\.?m|o'clock)|periodic\w*|every (?:year|spring|autumn|"
            r"winter|summer|alternate|second)"
        )),
        ("sphere of action", 3.7, (
            r"acts? (?:on|upon|mainly|chiefly|especially)|action (?:on|is|upon)|sphere|affinit\w+|seat of|"
            r"centre of action|center of action|affects? (?:the|mainly|chiefly|especially)|target organ|"
            r"pathogenesis|organs? (?:affected|it)|tissues?|mucous membranes?|serous|fibrous|(?:goes|works) "
            r"(?:to|on) the|nervous system|(?:prepared|made) from|belongs to (?:the|a)|family|kingdom|source|"
            r"order of"
        )),
        ("clinical use", 2.9,
            r"indicated|useful|use(?:d)? (?:it |this )?(?:in|for|it)|helps? in|(?:covers|cures?|cured|"
            r"curative)|think of (?:it|this|\w+)|prescribe|(?:good|great|wonderful|excellent|best|first|"
            r"chief|leading) (?:remedy|medicine|remedies)|in (?:cases of|clinical practice|practice)|"
            r"ailments from|bad effects|ill effects|after[- ]effects|never (?:been )?well since|complaints "
            r"(?:from|after)|clinically|remedy (?:for|in)|"

             r"when (?:the )?(?:best|well|indicated)|effects of|consequences of|follow(?:s|ing) (?:grief|"
             r"injury|suppress\w*)|traumat\w*|injur\w+"),
        ("essence", 2.6, (
            r"essence|theme|genius|central idea|core|kernel|constitution\w*|picture of|portrait|personality|"
            r"the whole (?:remedy|picture)|runs through|thread|type of (?:person|patient|child)|"
            r"typical(?:ly)?|temperament|keynote of the (?:whole|remedy)|suited to|adapted to|fair|blonde|"
            r"stout|flabby|lean|tall|fat|scrawny|leuco-?phlegmatic|remedy (?:of|for) (?:people|persons|women|"
            r"children|men|the)|think of (?:a|an) [\w-]+|philosopher|aristocrat|looks (?:older|younger|like)|"
            r"body is|emaciated|in one (?:word|line|sentence)|nature of|build|complexion|habit"
        )),
)  # fmt: skip
_CUES = tuple((kind, weight, re.compile(rf"\b(?:{words})(?!\w)")) for kind, weight, words in _CUE_WORDS)
_MIND_CUES = re.compile(
    r"\b(?:mind|mental|mentally|emotion\w*|mood|fears?|afraid|weep\w*|cry|cries|crying|tears?|anger|"
    r"angry|grief|jealous\w*|suspicio\w*|anxi\w+|consol\w+|delusion\w*|irritab\w*|sad\w*|indifferen\w+|"
    r"despair|love|company|alone|timid\w*|obstina\w*|thinks? (?:that|he|she)|feels? that|imagin\w+|"
    r"hurr\w+|fastidious|memory|forget\w*|"
    r"concentrat\w*|dreads?|thoughts?|suicid\w*|hopeless\w*|sensitive to|offended|insult\w*|humiliat\w*|"
    r"conscien\w*|ambiti\w*|confiden\w*|guilt\w*|sympath\w*|affection\w*|homesick\w*|nostalg\w*|"
    r"cheerful\w*|talkative|loquaci\w*|quarrel\w*|malici\w*|contradict\w*)\b"
)
_GENERALS = re.compile(
    r"\b(?:chilly|hot (?:patient|remedy|person)|warm[- ]blooded|cold patient|thermal\w*|thirst\w*|"
    r"appetite|crav\w+|desires?|aversions?|averse|sweats?|perspir\w*|sleep\w*|dreams?|weakness|weak|"
    r"prostrat\w+|emaciat\w+|obes\w+|restless\w*|periodicity|sides?|one[- ]sided|left[- ]sided|right[- "
    r"]sided|generals?|generality|generalities|faint\w*|changeable|wander\w*|all (?:the )?discharges|"
    r"everything(?:'s| is)|runs through|hot|chill|feels? (?:unusually )?well|hungry|eats?|milk|slow|"
    r"trembl\w+|convuls\w+|weather|haemorrhag\w+|bleed\w*|"
    r"discharges?|takes? cold|catch(?:es)? cold|vital heat|energy|fatigue|tired|physical generals?|"
    r"menses|menstrual|periods|sexual|sun|open air|bathing|eats?|drinks?)\b"
)

_GENERAL_STOMACH = frozenset(
    (
        "thirst thirstless thirstlessness thirsty appetite hunger hungry craving cravings craves desire "
        "desires aversion aversions averse"
    ).split()
)
_NOT_CARRIED = frozenset(
    {"differential", "relations", "potency and repetition", "study advice", "miasm", "case-taking", "sphere of action"}
)
_IMPERATIVE = re.compile(
    r"^(?:(?:so|now|and|but|please|always|also|just|then|with \w+),? )*(?:ask|watch|look|put|observe|let|"
    r"don't ask|do not ask|never ask|listen|notice|feel|check|write|keep quiet)\b"
)
_PART_NOUN = re.compile(
    r"\b(?:"
    + "|".join(
        sorted(
            w
            for w, c in BODY_CHAPTERS.items()
            if c not in ("mind", "generalities", "sleep", "perspiration", "fever", "chill")
            and w not in _GENERAL_STOMACH
        )
    )
    + r")(?!\w)"
)
_CLINICAL_START = re.compile(
    r"^(?:(?:so|and|it's|it is|in|for|also|then|you can|has been|useful|been|used) )*(?:it's been|it is|it "
    r"has been|indicated|useful|used|think of|never well|ailments|after)\b"
)


def _first_places(low: str) -> tuple[tuple[PointKind, int | None], ...]:
    def place(pattern: re.Pattern[str]) -> int | None:
        match = pattern.search(low)
        return match.start() if match else None

    return (("mind", place(_MIND_CUES)), ("generals", place(_GENERALS)), ("particulars", place(_PART_NOUN)))


SPECIFIC_CHAPTERS = frozenset(BODY_CHAPTERS.values()) - {"mind", "generalities", "sleep", "perspiration"}


def chapters_in(words: list[str]) -> tuple[str, ...]:
    """Chapters the words name, in order of mention."""
    return tuple(dict.fromkeys(BODY_CHAPTERS[word] for word in words if word in BODY_CHAPTERS))


def kind_of(
    low: str, words: list[str], *, in_comparison: bool = False, before: PointKind | None = None, advises: bool = False
) -> PointKind:
    """The kind of a teaching point from its lower-case text and its words without punctuation."""
    scores: dict[PointKind, float] = {}
    for kind, weight, pattern in _CUES:
        found = len(pattern.findall(low))
        if found:
            scores[kind] = max(scores.get(kind, 0.0), weight + 0.4 * (found - 1))
    mind = len(_MIND_CUES.findall(low))
    if mind:
        scores["mind"] = 2.2 + 0.5 * (mind - 1)
    generals = len(_GENERALS.findall(low))
    if generals:
        scores["generals"] = max(scores.get("generals", 0.0), 1.9 + 0.3 * (generals - 1))
    particular = [w for w in words if BODY_CHAPTERS.get(w) in SPECIFIC_CHAPTERS and w not in _GENERAL_STOMACH]
    if particular:
        scores["particulars"] = 2.0 + 0.35 * (len(particular) - 1)
    if relates(low):
        scores["relations"] = scores.get("relations", 0.0) + 2.5
    if in_comparison:
        scores["differential"] = scores.get("differential", 0.0) + 4.0
    if "modalities" in scores:
        # A modality named with its organ is still a modality when that is what the sentence is about.
        if any(w in MODALITY_WORDS for w in words[:4]):
            scores["modalities"] += 0.8
        if mind and re.search(r"\b(?:consol|company|alone|sympath|contradict)", low):
            scores["mind"] = scores.get("mind", 0) + 0.5
    if not scores:
        if any(w in MIND_WORDS for w in words):
            return "mind"
        # A lecture goes on with what it was about.
        return before if before is not None and before not in _NOT_CARRIED else "essence"
    if before in scores and before not in _NOT_CARRIED:
        scores[before] += 0.5
    for kind, start in _first_places(low):
        # What a sentence names first it is mostly about.
        if kind in scores and start is not None:
            scores[kind] += max(0.0, 0.9 - start / 40)
    if advises and _IMPERATIVE.match(low):
        scores["case-taking"] = scores.get("case-taking", 0.0) + 1.0
    order: tuple[PointKind, ...] = (
        "potency and repetition", "relations", "miasm", "case-taking", "study advice", "concomitants", "differential", "modalities",
        "mind", "sphere of action", "essence", "clinical use", "particulars", "generals",
    )  # fmt: skip
    return max(scores, key=lambda kind: (scores[kind], -order.index(kind)))
