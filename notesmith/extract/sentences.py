"""What can be seen of each sentence by itself: content words, narration, question, talk about the class."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from notesmith.extract.lexicon import (
    BODY_CHAPTERS,
    CLINICAL_WORDS,
    FILLERS,
    GENERALISING,
    MIND_WORDS,
    MODALITY_WORDS,
    SENSATIONS,
)
from notesmith.extract.mentions import Hit
from notesmith.extract.session import Sentence, Session

HOUSEKEEPING = re.compile(
    r"\b(?:mic|microphone|mike|audible|can you (?:all )?hear me|can (?:every(?:one|body)|you all) hear|"
    r"am i audible|hear me|screen|share (?:my|the) (?:screen|pdf|slides?)|"
    r"projector|recording (?:is )?(?:on|started)|start(?:ed)? (?:the )?recording|attendance|roll call|"
    r"sign (?:the|on)|timetable|time table|schedule|holiday|"
    r"tea break|lunch|break for|short break|ten minutes?'? break|five minutes?'? break|break now|"
    r"internal assessment|viva|exam(?:s|ination)?s? (?:is|are|will|date|on|form|fees)|"
    r"fees|hall ticket|zoom|google meet|mute|unmute|muted|network|wi-?fi|internet|link|whatsapp|telegram|"
    r"upload(?:ed)?|pdf|google drive|chat ?box|"
    r"charger|battery|laptop|speaker volume|volume|light(?:s)? (?:on|off)|fan|a\.?c\.? (?:on|off)|air "
    r"conditioner|window|door|chairs?|bench|benches|"
    r"sit (?:down|in front|here)|settle down|come in front|last bench|keep quiet|silence please|phones? "
    r"(?:on|off|in|away)|mobile phones?|switch off|"
    r"latecomers|late comers|coming late|good (?:morning|afternoon|evening)|namaste|welcome (?:back|"
    r"everyone|all|to)|how are you all|is everyone here|shall we (?:start|begin)|"
    r"bus|parking|canteen|library card|registration|workshop|seminar (?:is|on|next)|sunday|saturday "
    r"(?:is|we|class)|submit|submission|assignment|journal(?:s)? (?:to be )?(?:sub|sign|complet))\b"
)
RECAP = re.compile(
    r"\b(?:last (?:time|class|lecture|week|session|month|fortnight|term|sitting|lesson|meeting|monday|tuesday|wednesday|thursday|friday|"
    r"saturday|sunday)|turn(?:ing)? (?:the|a few) pages? back|(?:minutes?|steps?) (?:back|backwards?)\b(?= |,|\.)|(?:the )?(?:class|lecture|session|time) before (?:the|this|that|last)|"
    r"before the (?:\w+ )?(?:holidays?|break|vacation|strike|exams?|feast|festival)|what (?:did we do|was before|were we doing)|where (?:did )?(?:we|i) (?:leave|left)|we (?:were|was) (?:with|doing|on|at)|"
    r"(?:pick|take) up the thread|the thread|we (?:had )?(?:only )?(?:opened|closed|sat with)|(?:a|two|three) (?:weeks?|fortnight|months?) (?:ago|back)|a fortnight ago|the "
    r"other day|on (?:monday|tuesday|wednesday|thursday|friday|saturday) (?:we|i)|previous (?:class|"
    r"lecture|session|week)|yesterday(?:'s)? (?:we|class|lecture|session)?|earlier (?:class|lecture|"
    r"session)|"
    r"(?:we|you)(?:'d|'ve)? (?:had |have )?(?:already |only |just )?(?:began|begun|started|established|"
    r"drew|left|said|went through|took up|read|compared|saw|seen|done|did|finished|discussed|covered|"
    r"studied|learnt|learned|completed|stopped|left off|looked at|talked about|spoke of|spoke about)|"
    r"recap|recapitulat\w+|revis(?:e|ion|ing)|where (?:did )?we (?:stop|stopped|left)|so far|up to now|"
    r"just to remind|to remind you|do you remember|if you remember|you will remember|who remembers|who "
    r"can tell me)\b"
)
READING = re.compile(
    r"\b(?:(?:the |this )?(?:passage|text|line|sentence|paragraph|book|lecture|chapter)(?: \w+)? (?:says|"
    r"reads|runs|begins|goes|continues|is)|it (?:begins|goes on|continues|reads|says here)|(?:read|pick|"
    r"quote) (?:you )?(?:a|the|this|one) (?:passage|line|paragraph|sentence|bit)|"
    r"(?:this is|that is|that's) from (?:an?|the|his|her) |what's (?:in|written in) the|(?:sixth|fifth|"
    r"first) edition|aphorism|end (?:of )?(?:the )?quot\w+|a little further|further down|and the next(?: "
    r"line| one)?:|let me read|let's read|we read|read(?:ing)? out|open (?:at|it at|the|your) (?:\w+ )?(?:book|marker|page|photocop\w+|note|notes|sheet)|(?:from|have|take) (?:the|my|this|a|here the) (?:\w+[ -]){0,2}(?:book|notebook|sheet|photocop\w+|keynotes)|book now|'ll read|will read|to read you|i read|reading from|(?:the )?(?:book|"
    r"author|text|kent|boericke|allen|hering|clarke|nash|farrington|hahnemann|tyler|phatak|boger|lippe|"
    r"he|she) (?:says|writes|write|mentions|describes|puts it|gives|has written|calls)|"
    r"(?:i am|i'm|i will|i'll|let me|let us|let's|we will|we'll|please|now|can you|you) "
    r"(?:just )?(?:read|reading)|read(?:ing)? (?:from|the|this|it|out|aloud|on|further|next)|"
    r"it is (?:written|given|mentioned)|(?:is )?written (?:here|in)|page (?:number )?\d+|page (?:one|two|"
    r"three|four|five|six|seven|eight|nine|ten|twenty|thirty|forty|fifty|a)|"
    r"paragraph|next line|this line|the line|in the (?:text|book|keynotes|materia medica)|quote|unquote|"
    r"open your books?|text ?book|according to)\b"
)
COMPARISON = re.compile(
    r"\b(?:compar(?:e|ed|ing|ison|isons|ative)|differ(?:s|ent|ence|ences|entiate|entiation|ential)?|"
    r"distinguish|versus|whereas|unlike|on the other hand|contrast|in contrast|"
    r"(?:similar|close|near) to|resembles?|confuse(?:d)? with|mix(?:ed)? up with|both (?:are|have|of|the|"
    r"remedies)|on the contrary|as against|while (?:in )?\w+ (?:is|has|wants|will)|"
    r"side by side|not like|just like|the other (?:one|remedy)|other remedies)\b"
)
QUESTIONS = re.compile(
    r"\b(?:hands? up|(?:had|put|raised|got|has) (?:your|his|her) hand|was that a hand|right,? hands|hands please|has typed|(?:in|on) the chat|any (?:questions?|doubts?|quer(?:y|ies))|questions? (?:please|now|from|is)|your (?:question|"
    r"doubt)|(?:a|one|my|good|nice|first|next|last|another|the) (?:question|doubt|query)|"
    r"doubts?|(?:some(?:one|body)|student|students) (?:is |are |has |have )?(?:ask\w*|want\w* to (?:know|"
    r"ask))|(?:sir|madam|ma'am|doctor|professor|teacher),? (?:i|can|what|how|is|why|when|if|in|does|do|"
    r"should|but|one|a|my)|"
    r"you(?:'re| are) asking|you asked|has asked|is asking|she asks|he asks|(?:the )?answer (?:is|to)|to "
    r"answer (?:you|that)|typed in the chat|in the chat)\b"
)
CLOSE = re.compile(
    r"\b(?:(?:our|the|my) (?:hour|time|session)(?:'s| is) (?:up|over|gone)|that(?:'s| is) (?:our|the) "
    r"(?:hour|time)|minutes over|stop now|leave it (?:there|here)|enough for (?:today|now|tonight|one "
    r"day)|we(?:'re| are) done|that will do|that'll do|we(?:'ll| will) end|wind up|safe (?:home|journey)|"
    r"drive (?:safely|carefully)|mind the step|good night|cheers|"
    r"thank(?:s| you)(?: (?:very|so) much| all| everyone| everybody)?[.,!]?|(?:we(?:'ll| will| shall)?|"
    r"let us|let's|i(?:'ll| will)?|shall we) (?:stop|end|close|finish|wind up|conclude)(?: "
    r"(?:it )?(?:here|now|today|there|with))?|"
    r"that(?:'s| is) (?:all|it|enough) (?:for|from)|(?:see|meet) you (?:all )?(?:next|tomorrow|on|in|"
    r"again|soon)|next (?:class|lecture|session|week|time)|tomorrow|for today|time is (?:up|over)|"
    r"home ?work|good ?bye|bye|have a (?:nice|good)|we have run out of time|before (?:we|you|i) (?:go|"
    r"leave|close|end)|to (?:sum up|summari[sz]e|conclude)|in (?:short|summary|conclusion))\b"
)
_TIME_TO_COME = (
    r"(?:(?:next|coming|following) (?:class|lecture|session|week|time|month|term|year|monday|tuesday|"
    r"wednesday|thursday|friday|saturday|sunday)|tomorrow|later(?: on)?|another (?:time|day|class|"
    r"session|lecture)|"
    r"some other (?:time|day|class)|(?:some|one) (?:other )?day|in (?:a|two|three|a few|some|another) "
    r"(?:fortnight|week|weeks|month|months|days)(?:'s? time)?|(?:on|for|till|until) (?:the coming |"
    r"next )?(?:monday|tuesday|wednesday|thursday|friday|saturday|sunday)|"
    r"the (?:next|coming|following|\w+ogy) (?:one|class|lecture|session|week|part)|when we (?:come|get|"
    r"reach|do|take|study|discuss|are|have|go)|with the (?:\w+ ){1,3}(?:remedies|group|family|section|"
    r"chapter)|at the end of the (?:course|term|year|month)|"
    r"in (?:the )?(?:next|coming|following|second|other) (?:part|class|lecture|session|week|month|half)|"
    r"(?:for|in|at|till|until) (?:our |the |my )?(?:next|coming|following) (?:meeting|class|lecture|session|week|month|visit|sitting|batch|module|semester|term)|"
    r"after (?:the |our )?(?:exams?|holidays?|vacation|break(?! \w+ minutes)|diwali|christmas|easter|festival|pongal|monsoon)|(?:for |on |some )?another (?:day|time|evening|class|"
    r"lecture|session|occasion)|(?:the )?(?:week|class|lecture|session|day) after(?: next| that)?|(?:for |at )?the end of the (?:month|week|course|term|year|module)|"
    r"(?:in|at) due (?:course|time)|(?:later|further) (?:on )?(?:in (?:the|this) (?:course|term|year|month|week))|later on|"
    r"afterwards|separately|(?:a )?separate (?:class|lecture|session)|part (?:two|three|2|3)|remind me|"
    r"for next (?:time|week))"
)
_WILL = (
    r"(?:(?:we|i|you|it|that|this|they)(?:'ll| will| shall|'m going to| am going to| are going to|'re "
    r"going to)|will be|will (?:take|do|see|cover|discuss|come|bring|show|tell|compare|study|begin|"
    r"start)|shall (?:take|do|see|cover|discuss|bring|show)|let us|let's|let me|we (?:begin|start|take|"
    r"do|continue|complete|finish|come)|"
    r"i (?:bring|take|show|owe|promise|promised)|i'm (?:leaving|keeping|saving|bringing|taking)|i am "
    r"(?:leaving|keeping|saving|bringing|taking)|(?:keep|leave|park|hold|save|reserve|postpone|put off)|(?:we|i)(?:'re| are| am)(?: \w+)? (?:keeping|leaving|saving|holding|"
    r"taking|doing|coming)|(?:that|this|it|which|\w+)(?:'s| is| are) (?:for|left for|kept for|reserved for|a matter for)|will (?:\w+ )?(?:be )?(?:completed|taken|done|covered|finished|"
    r"explained|discussed|dealt with|shown)|get to)"
)
PROMISE = re.compile(
    rf"\b{_WILL}\b(?:[^.?!]{{0,90}})\b{_TIME_TO_COME}\b|\b{_TIME_TO_COME}\b,? "
    rf"(?:[^.?!]{{0,40}})\b{_WILL}\b|^(?:(?:so|and|okay|now|right|then),? )*(?:next (?:week|class|time|"
    r"session|lecture|month)|tomorrow)(?:,| is| it's|:)"
    r"|\b(?:(?:come|get|go) back to (?:that|this|it|them|the)\b|remind me|i owe you|(?:keep|leave|park|"
    r"hold|save|reserve) (?:that|it|this|the \w+(?: \w+)?) (?:\w+ ){0,2}(?:for (?:the )?(?:next|later|"
    r"another|tomorrow|now|some other)|aside))"
    r"|\b(?:i|we)(?:'ll| will| shall) (?:bring|show|prepare|give)(?: you)? (?:that|the|a|you) "
    r"[^.?!]{0,40}\b(?:promised|chart|table|list|video|handout|case)\b"
)
REFERRED = re.compile(
    r"\b(?:(?:was|were|had been) promised\b|(?:in|from|during) (?:our|the|my|all) (?:earlier|previous|last|past|first|other) (?:\w+ )?(?:class(?:es)?|lectures?|sessions?)|"
    r"when (?:we|i) (?:were|was) (?:doing|studying|taking|discussing|on)|(?:two|three|a few|some|several) (?:classes|lectures|sessions|days) (?:ago|back)|(?:as|like|what|which|that|remember|remember,?) (?:we|i|you)(?:'ve| have| had)? "
    r"(?:\w+ ){0,2}(?:saw|seen|said|told|discussed|did|done|studied|learnt|learned|covered|mentioned|"
    r"compared|promised)|"
    r"(?:last|previous|earlier) (?:time|class|lecture|week|session|month)(?:,)? (?:\w+ ){0,3}(?:we|i|"
    r"you)|(?:in|from) (?:the |our |my )?(?:last|previous|earlier) (?:class|lecture|session)|"
    r"(?:we|i|you) (?:\w+ ){0,3}(?:last|previous|earlier) (?:time|class|lecture|week|session)|yesterday|"
    r"in the \w+ (?:lecture|class|session)|when we (?:did|studied|discussed|took|covered)|"
    r"i(?:'d|'ve)? (?:had )?promised|(?:last|this past) (?:monday|tuesday|wednesday|thursday|friday|"
    r"saturday|sunday)|(?:a|two|three) (?:weeks?|fortnights?|months?) (?:ago|back),? (?:we|i)|a "
    r"fortnight ago|the other day|on (?:monday|tuesday|wednesday|thursday|friday|saturday|sunday) we|"
    r"(?:we|i|you)(?:'ll|'d|'ve| will| had| have)? (?:also |both |all )?(?:recall|promised)|earlier (?:i|we) (?:had )?|if you "
    r"remember|you (?:will )?remember|(?:we|i) (?:have )?already)\b"
)
META = re.compile(
    r"^(?:(?:so|now|okay|ok|and|then|right|well|yes|alright|all right|see|first|next|also|but|let me see),? )*"
    r"(?:let (?:us|me)\b|let's\b|we (?:will|shall|are going to|have to|can|should|now|are|must|begin|"
    r"start|come|go|move)\b|we'll\b|i (?:will|shall|am going to|want to|would like to|have to|think i|"
    r"hope|don't want to|wanted to|was going)\b|i'll\b|i'd like\b|shall we\b|"
    r"coming to\b|moving (?:on|to)\b|next (?:is|we|comes|remedy|point|topic|one|part|heading)\b|today\b|"
    r"are you\b|is (?:it|that|this) clear\b|any (?:questions|doubts)\b|"
    r"write (?:it |this |that )?down\b|note (?:it |this |that )?down\b|underline\b|mark (?:it|this|"
    r"that)\b|listen\b|take (?:it |this )?down\b|open\b|turn to\b|look at (?:page|the board|the screen|"
    r"your|this)\b|where (?:was|were) (?:i|we)\b|"
    r"what (?:was|were) (?:i|we) saying|give me|bear with me|one (?:minute|second|moment)|just a "
    r"(?:minute|second|moment)|sorry\b|excuse me|thank|good (?:morning|afternoon|evening|question|point)|"
    r"very good\b|"
    r"did (?:you|everyone)|have you|can you|could you|do you|who (?:will|can|is|knows|wants)|anyone|"
    r"anybody|come on|go on|continue\b|carry on\b|please\b|hold on|wait\b|interesting\b|that is (?:all|"
    r"it)\b|that's (?:all|it)\b|so that was\b|this is (?:what|all|how|the (?:book|text|line|page))\b)"
)
EMPHASIS = re.compile(
    r"\b(?:remember(?: this| that| it)?|very (?:very )?important|most important|important|underline|mark "
    r"(?:it|this|that)|never forget|don't forget|do not forget|must (?:know|remember)|"
    r"keynote|key ?note|red (?:ink|line|letter)|grand characteristic|(?:most |very )?characteristic|"
    r"guiding symptom|leading symptom|star(?: mark)?|golden|without (?:this|that|it) (?:do not|don't|"
    r"never)|"
    r"i repeat|i am repeating|again i (?:say|tell|am telling)|write (?:it|this|that) down|note (?:it|"
    r"this|that)|three marks|bold|capital(?: letters?)?|above all|the one thing|if you remember (?:only|"
    r"nothing)|"
    r"exam(?:iner)?s? (?:favou?rite|question|will ask)|by heart|strik(?:ing|ingly)|marked|pay attention|"
    r"listen carefully|highlight)\b"
)
_QUESTION_OPEN = re.compile(
    r"^(?:(?:so|now|okay|ok|and|but|yes|sir|madam|ma'am|doctor|then|right),? )*(?:what|why|how|when|"
    r"where|which|who|whom|whose|is (?:it|there|this|that|the)|are (?:there|they|you|we)|do (?:you|we|"
    r"they)|"
    r"does (?:it|this|that|she|he|the)|can (?:we|you|i|it|this|one)|could (?:we|you|i)|should (?:we|i|"
    r"you)|will (?:it|you|he|she|this|the)|would (?:it|you)|did (?:you|she|he|it)|have you|has (?:she|he|"
    r"it|this|any\w*)|shall (?:we|i)|any)\b"
)
_GENERIC_SUBJECT = frozenset(
    [
        "it",
        "he",
        "she",
        "they",
        "this",
        "that",
        "these",
        "those",
        "there",
        "remedy",
        "drug",
        "patient",
        "patients",
        "person",
        "people",
        "child",
        "children",
        "all",
        "both",
        "which",
        "symptoms",
        "pain",
        "pains",
    ]
)


@dataclass(frozen=True, slots=True)
class Look:
    """What one sentence shows. Counts are of words; ``narration`` counts past-tense verbs with a personal subject."""

    sentence: Sentence
    content: int
    mind: int
    body: frozenset[str]
    remedies: tuple[str, ...]
    rubrics: tuple[str, ...]
    concepts: tuple[str, ...]
    question: bool
    meta: bool
    housekeeping: int
    recap: bool
    reading: bool
    comparison: bool
    asks: bool
    close: bool
    promise: bool
    referred: bool
    emphasis: int
    narration: int
    past: int
    present: bool
    has_verb: bool
    meaningful: int


def look_at(session: Session, hits: Sequence[Hit]) -> tuple[Look, ...]:
    by_sentence: dict[int, list[Hit]] = {}
    for hit in hits:
        by_sentence.setdefault(session.sentence_at(hit.start).index, []).append(hit)
    return tuple(_look(session, sentence, by_sentence.get(sentence.index, [])) for sentence in session.sentences)


def _look(session: Session, sentence: Sentence, hits: list[Hit]) -> Look:
    lows = [unit.low.removesuffix("'s") for unit in session.units[sentence.start : sentence.end]]
    low = sentence.low
    content = sum(
        1 for word in lows
        if word in BODY_CHAPTERS or word in SENSATIONS or word in MIND_WORDS or word in MODALITY_WORDS or word in CLINICAL_WORDS
    )  # fmt: skip
    remedies = tuple(dict.fromkeys(hit.concept_id for hit in hits if hit.concept_id.startswith("remedy/")))
    rubrics = tuple(dict.fromkeys(hit.concept_id for hit in hits if hit.concept_id.startswith("rubric/")))
    narration, past, present, has_verb = _tense(session, sentence)
    bare_words = [word for word in lows if word and word not in FILLERS]
    question = low.rstrip("\"')").endswith("?") or (
        bool(_QUESTION_OPEN.match(low)) and not low.rstrip().endswith((".", "!"))
    )
    return Look(
        sentence=sentence,
        content=content + len(remedies) + sum(1 for hit in hits if hit.concept_id.startswith(("idea/", "medical/"))),
        mind=sum(word in MIND_WORDS for word in lows),
        body=frozenset(BODY_CHAPTERS[word] for word in lows if word in BODY_CHAPTERS),
        remedies=remedies,
        rubrics=rubrics,
        concepts=tuple(dict.fromkeys(hit.concept_id for hit in hits)),
        question=question,
        meta=bool(META.match(low)),
        housekeeping=len(HOUSEKEEPING.findall(low)),
        recap=bool(RECAP.search(low)),
        reading=bool(READING.search(low)),
        comparison=bool(COMPARISON.search(low)),
        asks=bool(QUESTIONS.search(low)),
        close=bool(CLOSE.search(low)),
        promise=bool(PROMISE.search(low)),
        referred=bool(REFERRED.search(low)),
        emphasis=len(EMPHASIS.findall(low)),
        narration=narration,
        past=past,
        present=present,
        has_verb=has_verb,
        meaningful=len(bare_words),
    )


_PERSONAL = frozenset(
    [
        "she",
        "he",
        "they",
        "i",
        "we",
        "mother",
        "father",
        "husband",
        "wife",
        "lady",
        "boy",
        "girl",
        "man",
        "woman",
        "patient",
        "child",
        "son",
        "daughter",
        "parents",
        "relatives",
        "doctor",
        "gentleman",
        "baby",
    ]
)


def _tense(session: Session, sentence: Sentence) -> tuple[int, int, bool, bool]:
    narration, past, present, has_verb = 0, 0, False, False
    for token in session.parse.tokens(sentence.start, sentence.end):
        tag = token.tag_
        if tag in ("VBD", "VBZ", "VBP", "MD", "VBN", "VB", "VBG"):
            has_verb = True
        if tag == "VBD":
            past += 1
            subject = next((child for child in token.children if child.dep_ in ("nsubj", "nsubjpass")), None)
            if subject is None and token.dep_ in ("conj", "aux", "auxpass"):
                subject = next((child for child in token.head.children if child.dep_ in ("nsubj", "nsubjpass")), None)
            if subject is not None and subject.lower_ in _PERSONAL:
                narration += 1
            elif token.dep_ in ("ROOT", "conj"):
                narration += 0 if subject is None else 1
        elif tag in ("VBZ", "VBP", "MD"):
            present = True
    return narration, past, present, has_verb


def generic_subject(session: Session, sentence: Sentence) -> bool:
    """Whether the sentence says something of a remedy or of people in general, not of one person in the past."""
    head = [unit.low for unit in session.units[sentence.start : min(sentence.end, sentence.start + 8)]]
    return any(word in _GENERIC_SUBJECT or word in GENERALISING for word in head)
