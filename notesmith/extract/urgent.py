"""Conditions that need urgent medical care, in the words of doctors, of old books and of patients.

The classes are those of ordinary first-aid and emergency teaching (common practice): airway and breathing, chest pain,
stroke, fits, loss of consciousness and sepsis, suicide, meningitis, the acute abdomen, bleeding and pregnancy, the sick
infant, dangerous infections, injury, poisoning, and warning signs to be seen the same day. NHMRC 2015 and WHO 2009 name
what homeopathy must not be relied on for. A mention is flagged wherever it stands; whether it is meant is for the reader.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_NHMRC = "NHMRC, Information Paper CAM02A, 2015"
_WHO_STAFF = "WHO staff statement on TB, malaria, HIV and infant diarrhoea, 2009 (press reports)"
_NOW = "Needs emergency medical care at once; call the local emergency number."
_TODAY = "Needs to be seen by a doctor the same day."
_GAP = r"[^.;?!]{0,30}"
_WIDE = r"[^.;?!]{0,55}"
_HIS = r"(?:the |his |her |their |my |a |one |an )?"
_CHILD = (
    r"(?:infants?|bab(?:y|ies)|newborns?|neonates?|little one|child|toddler|(?:days?|weeks?|months?)[- ]old|"
    r"(?:days?|weeks?|months?) of age|of (?:three|two|six|four|five) (?:weeks|months))"
)
_COPULA = r"(?:is |was |were |are |has |had |have |be |became |becomes |went |goes |go |gone |gets |got |getting |turned |turning |turns |all |very |so |quite |completely |looked |looking |a bit )*"


@dataclass(frozen=True, slots=True)
class Urgent:
    """``pattern`` is for lower-case text; ``advice`` what is usual, ``source`` where the warning stands."""

    name: str
    pattern: re.Pattern[str]
    advice: str
    source: str = _NHMRC


def _urgent(name: str, advice: str, *words: str, source: str = _NHMRC) -> Urgent:
    return Urgent(name, re.compile(rf"\b(?:{'|'.join(words)})"), advice, source)


URGENT: tuple[Urgent, ...] = (
    _urgent(
        "breathing difficulty", _NOW,
        r"(?:difficult\w*|trouble\w*|problem|cannot|can't|could not|couldn't|unable to|not able to|struggl\w+|gasp\w*|fight\w*|fought|"
        r"short\w*|labou?red|hard|hardly|barely|hungry) (?:in |to |for |of |with |even |properly )*(?:get |catch |take |draw |find )?"
        rf"(?:{_HIS})(?:breath\w*|air\b)",
        r"gasp(?:s|ed|ing)?\b", rf"(?:stopp\w+|stops?|not|lost|losing) {_HIS}breath\w*", r"breathing (?:difficult\w*|trouble\w*|problem)",
        rf"breath\w* {_COPULA}(?:bad|fast|rapid|difficult|laboured|labored|grunting|noisy|shallow|stopped|short|with effort|hard)",
        r"(?:fast|rapid|grunting|noisy|laboured|shallow|heavy) breathing", r"out of breath at rest", r"dyspn(?:o)?ea", r"(?:one|two|three|few|single) words? (?:in|at|to|with) (?:one|a|each|every|the same) breath", rf"lips {_COPULA}dark\b", r"orthopn(?:o)?ea",
        r"breathless\w*", r"suffocat\w+", r"chok(?:e|ed|es|ing)\b", r"asphyxia\w*", r"status asthmaticus", r"apn(?:o)?ea",
        r"(?:acute|severe|violent|bad|terrible|worst) (?:attacks? of )?asthma", r"asthma(?:tic)? attacks?", r"attacks? of asthma",
        rf"(?:suck|draw|pull|go|cav|mov)\w* in {_GAP}(?:ribs|chest|breath)", rf"ribs {_COPULA}(?:being )?(?:sucked|drawn|pulled|going|showing)",
        r"(?:complete|finish|speak|say|talk)\w* (?:a|one|the|even a|in) (?:full |whole )?(?:sentences?|words?) (?:because|for|in one|at a|"
        r"without)",
        rf"(?:lips?|nails?|face|tongue|baby|child|he|she|fingers|toes|mouth) {_COPULA}(?:blue|bluish|purple and|grey|gray|dusky)\b",
        r"(?:blue|bluish|grey|dusky) (?:lips?|nails?|face|tongue|baby)", r"turn(?:s|ed|ing)? (?:blue|grey|gray)", r"lips that (?:are|were|go|went|turn) blue",
        r"cyanos\w+", r"wheez\w+ (?:badly|all night|so|terribly|loudly)", r"nostrils? (?:were |are |was |is )?(?:flar\w+|working)", r"flar\w+ (?:of the )?nostrils?", r"(?:could not|couldn't|cannot|can't) lie flat", r"bolt upright", r"(?:pauses|stops|gaps) in (?:the |his |her )?breathing", r"(?:around|round) the (?:mouth|lips)[^.;?!]{0,12}blue", r"blue (?:around|round) the", r"breaths? (?:a|per|in a) minute", r"stridor", r"(?:tongue|throat|lips|face) (?:was |were |is |are |started |began |kept |has |had )*swell(?:ing|ed|s)", r"barking cough", r"croup\w*", rf"chest {_COPULA}(?:going in|indrawing|retract\w*|caving)", r"indrawing",
        r"cannot lie (?:down|flat)", r"(?:has|had|have) to sit (?:up|bent)[^.;?!]{0,15}(?:breath|air)", r"air hunger", r"anaphyla\w+",
        rf"swell\w* (?:up )?(?:of )?{_HIS}(?:throat|tongue|face and|lips)", rf"(?:lips|tongue|throat|face)(?: and (?:the )?\w+)? {_COPULA}(?:swell\w*|swollen|swelled) up",
        r"(?:lips|tongue|throat|face) and (?:\w+ )?(?:lips|tongue|throat|face) {0}swell\w*".replace("{0}", _COPULA), r"(?:o)?edema of (?:the )?(?:glottis|larynx|lungs?)",
        r"pulmonary (?:o)?edema", r"(?:saturation|spo2|oxygen)[^.;?!]{0,15}(?:low|dropp\w+|fell|fall\w*|eight\w*|seventy|[678]\d)", r"epiglottitis", r"foreign body in",
    ),
    _urgent(
        "chest pain", _NOW,
        r"chest pains?", rf"(?:pain\w*|ache|hurt\w*) {_GAP}\b(?:chest|heart|breast ?bone|sternum)\b",
        r"(?:tight\w*|pressure|constrict\w+|heav\w+|squeez\w+|crush\w+|iron band|vice|weight|elephant|stone|load)[^.;?!]{0,25}\b(?:chest|heart|breast ?bone)\b",
        r"\bchest\b[^.;?!]{0,25}\b(?:tight\w*|crush\w+|squeez\w+|elephant)", r"clutch\w* (?:his|her|at his|at her|the) chest", r"(?:grey|gray|pale) and (?:clammy|sweat\w*)", r"clammy", r"\bjaw\b[^.;?!]{0,20}(?:arm|sweat\w*|chest)", r"(?:gas|indigestion|acidity)[^.;?!]{0,40}(?:left arm|jaw|sweat\w*|chest)", r"angina\w*", r"heart attacks?", r"myocard\w+", r"infarct\w*",
        r"cardiac (?:arrest|failure|asthma|pain|emergency)", r"heart failure", r"heart (?:stopped|gave way|trouble|block)", r"coronar\w+",
        r"(?:down|to|into|in|along) (?:the |his |her )?left (?:arm|shoulder|hand)", r"(?:middle|centre|center|left side) of (?:the |his |her )?chest",
        r"\bchest\b[^.;?!]{0,25}(?:jaw|\barm\b|back)", r"(?:this|it|that) (?:is|was) (?:the|his|her) heart\b(?! of)", r"(?:cold )?sweat\w*[^.;?!]{0,25}(?:chest|left arm)",
        r"palpitations?[^.;?!]{0,30}(?:faint|black\w* out|collaps|breath|pass\w* out)", r"aneurysm", r"heart[^.;?!]{0,15}\b(?:racing|flutter\w*|gallop\w*)[^.;?!]{0,20}(?:at|two hundred|1\d\d|2\d\d|faint|breath)?", r"(?:behind|under|beneath) (?:the |his |her )?(?:breast ?bone|sternum)", r"heart beat\w* (?:was |is )?(?:irregular|two hundred)",
    ),
    _urgent(
        "stroke signs", _NOW,
        r"(?<!sun)(?<!heat )\bstrokes?\b(?! of (?:luck|genius|the pen|work))", r"apoplex\w+", r"(?:hemi|para|quadri|mono)pleg\w+", r"hemipar\w+",
        r"(?:sudden\w*|one[- ]sided|half of (?:the|his|her)|one side|one half)[^.;?!]{0,35}(?:paraly\w+|weak\w*|numb\w*|dead|lost power|useless|limp)",
        rf"(?:face|mouth|eyelid|smile) {_COPULA}(?:droop\w*|dropp?\w*|pulled|deviat\w+|fall\w*|fell|twisted|crooked|lopsided)",
        r"lopsided", r"drag\w* (?:his|her|one|the|a) (?:left |right )?(?:leg|foot)", r"mouth (?:was |is |went )?(?:twisted|crooked|drawn)", r"(?:hand|arm|leg|side)[^.;?!]{0,15}(?:suddenly )?(?:numb|weak|useless|paraly\w+)[^.;?!]{0,20}(?:sudden\w*|morning|one side|speech)?(?=[^.;?!]{0,40}(?:speech|face|words|speak|mouth))", r"slur\w+", r"(?:arm|leg|side|hand|face) (?:went|became|has gone|had gone|got) (?:weak|dead|numb|limp|heavy)", r"words (?:were|got|became|are|come|came) (?:mixed|jumbled|muddled|wrong|slow)", r"all of a sudden[^.;?!]{0,30}(?:weak|numb|speech|speak|see)", rf"speech {_COPULA}(?:slurr\w+|thick|lost|jumbled|gone)", r"(?:cannot|can't|couldn't|could not|unable to|suddenly not) (?:speak|talk(?! (?:to|with|about|of)\b)|find (?:his|her|the) words|move (?:the |his |her |one )(?:arm|leg|side|legs|arms))",
        r"(?:lost|losing) (?:the |his |her )?(?:speech|power of|use of)", r"(?:cerebral|brain|subarachnoid) h(?:a)?emorrhage", r"bleed\w* in(?:to)? the (?:brain|head)",
        r"facial pals\w+", r"bell's palsy", r"clot in the brain", r"paralys\w+ (?:came|of one side|suddenly)", r"arm (?:would|could|did) not (?:lift|move|rise)", r"transient isch\w+",
    ),
    _urgent(
        "convulsion", _NOW,
        r"convuls\w+", r"seizures?\b", r"seized up", r"epilep\w+", r"fits?\b(?= (?:came|come|with|of|in|during|for|after|at|that|lasted|stopped|pass|when|on|and|because|ever|as|last|this|then|every|once|twice|again)|[,.;:?!]|$)(?<!benefit)",
        r"(?:a|any|first|another|the|febrile|had|has|got|having) fits?\b", r"in a fit\b", r"shaking all over", r"(?:body|child|baby|he|she) (?:stiffened|went rigid|became rigid|went stiff)", r"eyes (?:were )?roll\w+", r"(?:blank|staring) spells?", r"absences\b", r"febrile (?:fits?|convuls\w+)", r"fitting\b", r"eclamps\w+", r"status epilepticus",
        r"tetanus", r"lock ?jaw", r"jaws? (?:was |is |were |got |became )?(?:locked|clenched)", r"opisthoton\w*", r"jerking all over", r"eyes (?:rolled|rolling|turned|went) up",
        r"froth\w* (?:at|from) (?:the )?mouth", r"foam\w* (?:at|from) (?:the )?mouth", r"bit(?:es|ten)? (?:his|her|the) tongue", r"body (?:became|went) stiff", r"grand mal|petit mal", r"infantile spasms",
    ),
    _urgent(
        "sepsis or collapse", _NOW,
        r"seps\w+", r"septic\w*", r"blood poisoning", r"py(?:a)?emia", r"toxic shock", r"gangren\w+", r"(?:foot|toe|toes|leg|finger|fingers)[^.;?!]{0,30}(?:turn\w+|went|gone|became|was|were) black",
        r"collaps\w+", r"unconscious\w*", r"coma\b", r"comatose", r"(?:lost|losing|loses|loss of) consciousness", r"unrespons\w+", r"stupor\w*", r"insensib\w+",
        r"(?:black\w*|pass\w*) out\b", r"faint(?:ed|ing fits?|s) (?:at|in|on|twice|once|again|three|and|suddenly|away|while|during)", r"syncope",
        r"(?:could not|couldn't|cannot|can't|won't|would not|wouldn't|difficult to|hard to|not) (?:be )?(?:wake|woken|waken|wakened|roused|rouse|awakened)\b[^.;?!]{0,10}",
        r"(?:drowsy|drowsiness)[^.;?!]{0,30}(?:fever|vomit\w*|head|infant|child|baby|since)", r"(?:fever|vomit\w*|head)[^.;?!]{0,40}drows\w+", r"not (?:making|talking) sense", r"rambling", r"hard(?:ly)? (?:to )?rous\w+", r"shiver\w* (?:uncontrollably|violently)", r"(?:hardly|barely|scarcely) (?:any|passing) urine", r"knocked unconscious", r"cold sweat[^.;?!]{0,30}(?:collaps\w*|pulse|pale)", r"(?:white|pale) as (?:paper|a sheet|death|a ghost|wax)", r"pulse (?:was |is )?(?:racing|running|two hundred|1[3-9]\d|2\d\d)", r"pulse {0}(?:thready|imperceptible|very weak|not felt|feeble|flickering)".replace("{0}", _COPULA), r"no pulse", r"(?:blood )?pressure (?:fell|dropped|was falling|crashed|could not be)",
        r"shock\b(?! (?:of|from) (?:the )?(?:news|bad|grief|hearing))", r"puerperal (?:fever|sepsis)", r"fever (?:after|since|following) (?:the )?(?:delivery|confinement|labou?r|childbirth|abortion|operation|surgery)", r"childbed fever",
        r"erysipel\w+", r"carbuncle\w*", r"necro(?:sis|tising|tizing|tic)\w*", r"moribund", r"death ?bed|dying (?:man|woman|patient|child)", r"sinking (?:patient|condition)", r"last stage", r"cellulitis", r"(?:red )?streaks? (?:running |going )?up (?:the|his|her) (?:arm|leg)",
        r"(?:red|hot|swollen)[^.;?!]{0,40}(?:high fever|rigors?)", r"(?:high )?fever[^.;?!]{0,40}(?:drowsy|drows\w+|confus\w+|delir\w+|rigors?|cold hands|mottled|not passing urine)", r"rigors\b", r"(?:temperature|fever|degrees?)[^.;?!]{0,20}(?:10[3-7]|one (?:hundred|oh|zero|o) ?(?:and )?(?:three|four|five|six|seven)|forty(?:[- ]one)?\b|4[01]\b)", r"(?:10[4-7]) (?:degrees?|fever)", r"talk(?:s|ed|ing)? nonsense", r"confus(?:ed|ion)\b[^.;?!]{0,25}(?:fever|fell|fall|head|sudden\w*|old|elderly)", r"(?:fever|fell|fall|head|sudden\w*)[^.;?!]{0,25}confus(?:ed|ion)\b", r"(?:wound|ulcer|sore|skin)[^.;?!]{0,25}(?:black\b|turned black|putrid smell|crackl\w+)", r"cold as (?:ice|death)", r"mottled",
    ),
    _urgent(
        "suicidal talk", "Talk of suicide is taken seriously: do not leave the person alone, get urgent mental-health or emergency help.",
        r"suicid\w*", r"kill(?:s|ed|ing)? (?:himself|herself|themselves|myself|yourself|(?:the|her|his|my) (?:baby|child|children))",
        r"(?:end|finish|ending|finishing|ended|done)\w* (?:with )?(?:his |her |my |their |your |it |the )?(?:own )?(?:life|all|everything|myself|himself|herself)\b", r"end it\b", r"tak(?:e|es|ing|en) (?:his|her|their|my) (?:own )?life", r"took (?:his|her) (?:own )?life",
        r"(?:want\w*|wish\w*|long\w*|pray\w*|ready|like|prefer\w*|better) (?:to die|to be dead|for death|death|she was dead|he was dead|(?:he|she|i) (?:were|was) dead)", r"want(?:s|ed|ing)? to (?:die|disappear|go to sleep and not)",
        r"harm(?:s|ed|ing)? (?:the |her |his |my )?(?:baby|child|children|himself|herself|themselves|myself)", r"hurt(?:s|ing)? (?:himself|herself|themselves|myself|the baby)",
        r"(?:does not|doesn't|did not|didn't|don't|do not|no longer|not) want(?:ed|s)? to (?:live|go on|be here|be alive)", r"(?:tired|weary|weariness|sick|loathing|disgust\w*) (?:of|with) (?:life|living)", r"t(?:a)?edium vit(?:a)?e",
        r"(?:life|living) (?:is|was|seems|has|had) (?:not worth|no meaning|meaningless|useless|pointless|over|a burden)", r"(?:no|what) (?:use|point|reason|meaning|sense) (?:in |of |to |is there in )*(?:living|life|live|go\w* on)", r"nothing to live for", r"better off (?:without|dead)", r"better dead",
        r"self[- ]harm\w*", r"think(?:s|ing)? of (?:dying|death)\b", r"(?:put|puts|putting|set) (?:his|her|their|all his|all her) affairs (?:straight|in order)", r"(?:worked|works|working|thought|planned) (?:it )?out (?:how|where|when)\b", r"(?:thought|thinks|thinking|dream\w*) (?:of|about) (?:the|a) (?:reservoir|bridge|river|rope|railway|rails|train|cliff|well|tablets|gun|roof)\b", r"chosen (?:the|a|his|her) (?:bridge|rope|day|river|place|tree)\b", r"(?:cut|cuts|cutting|burns?|burning|slash\w*|scratch\w*) (?:his|her|their|my) (?:own )?(?:wrists?|arms?|skin|thighs?|self)", r"jump(?:s|ed|ing)? (?:from|out of|off|in front|into|down)", r"(?:telling|tell|tells|told) (?:him|her) to (?:jump|kill|die|harm)",
        r"(?:hang|hung|shoot|shot|drown|throw|threw|cut|poison|stab|burn|immolat)\w* (?:himself|herself|themselves|myself|the baby|her baby|the child)", r"drown\w* (?:the|her|his) (?:baby|child)", r"thoughts? of (?:death|dying|ending|suicide|harming|killing|drowning|jumping)",
        r"(?:a |the )(?:whole|full|entire) (?:strip|bottle|box|packet) of (?:tablets|pills|sleeping)", r"(?:took|taken|swallowed|had) (?:all |twenty |thirty |fifty |forty |ten |a handful of |so many )(?:the |his |her )?(?:tablets|pills|sleeping)", r"(?:world|family|they|everybody|everyone|people|children|you)[^.;?!]{0,25}better (?:off )?without (?:me|her|him)", r"(?:bought|tied|found|brought|took) (?:a |the |her |his )?(?:rope|noose|blade|gun|pistol|sleeping pills|poison)", r"(?:said|says|saying|wrote) (?:her |his |a )?(?:goodbye|farewell|good-bye|last) (?:letter|note|to)", r"goodbye (?:letter|note)", r"(?:give|gave|giving|given) away (?:all )?(?:his|her) (?:things|belongings|jewellery)", r"hopeless\w*[^.;?!]{0,20}(?:die|death|live|life|end)", r"(?:letters?|notes?) to (?:everyone|everybody|all|her|his|the)[^.;?!]{0,30}(?:enough|goodbye|end)", r"(?:had|has) (?:had )?enough\b(?! of (?:the|it|food|sleep|water))", r"(?:can't|cannot|couldn't|could not) go on\b(?! with)", r"not (?:to )?wake up", r"never wake", r"(?:hoard|stockpil|sav)\w* (?:up )?(?:the |his |her |sleeping )*(?:tablets|pills)", r"(?:stood|standing|stand) (?:on|at|by) the (?:edge|railway|bridge|roof|tracks?|parapet)", r"(?:walk|step|lie|lay|walked|stepped) (?:in front of|under|into) (?:a|the) (?:train|bus|traffic|river|well|sea|car)", r"saying goodbye", r"no reason to (?:live|go on)", r"don't want to be here", r"rat poison", r"pesticide",
    ),
    _urgent(
        "meningitis signs", _NOW,
        r"mening\w+", r"inflammation of the brain", r"worst (?:\w+ ){0,3}?of (?:his|her|my|their) (?:whole )?life", r"headache[^.;?!]{0,50}vomit\w*[^.;?!]{0,40}(?:unstead\w+|stagger\w*|walk\w*|gait|balance)", r"like a (?:thunder)?clap\b", rf"stiff(?:ness)?(?: of| in)? {_HIS}neck", rf"neck {_COPULA}(?:stiff|rigid|arched|drawn back|bent back\w*|thrown back)", r"rigid(?:ity)?(?: of)? (?:the )?neck", r"neck rigidity",
        r"(?:could not|couldn't|cannot|can't|unable to) (?:bend|move|flex|touch|turn) (?:his|her|the|chin)[^.;?!]{0,15}(?:neck|head|chest|chin)", r"bulging (?:soft spot|fontanel\w*)", r"(?:soft spot|fontanel\w*)[^.;?!]{0,35}(?:bulg\w+|sunk\w*|tense|full)",
        r"sunken fontanel\w*", r"encephal\w+", r"hydrocephal\w*", r"photophobia with fever", r"bor(?:es|ing|ed) (?:the |his |her )?head (?:in|into|back)", r"head (?:is |was )?(?:drawn|bent|thrown) back",
        r"(?:spots?|patch\w*|marks?) (?:that|which|and they)?[^.;?!]{0,20}(?:does|did|don't|doesn't|didn't|would|wouldn't|will|won't)(?: not)? (?:fade|blanch|go|disappear|vanish)", r"rash (?:that|which|and it)?[^.;?!]{0,20}(?:does|did|doesn't|didn't|would|will|won't)(?: not)? (?:fade|blanch|go|disappear|vanish)", r"(?:purple|purpl\w+|haemorrhagic|blood) (?:rash|spots) ", r"glass test", r"(?:under|through|with) (?:the|a) glass", r"shrill cr\w+", r"cri encephalique", r"brain fever", r"kernig\w*",
        r"headache[^.;?!]{0,30}(?:vomit\w*)[^.;?!]{0,30}(?:neck|fever|light|drows\w*)", r"fever[^.;?!]{0,30}headache[^.;?!]{0,30}(?:vomit\w*|light|neck)",
    ),
    _urgent(
        "acute abdomen", _NOW,
        r"acute abdomen", r"surgical abdomen", r"appendi\w+", r"perforat\w+", r"peritoni\w+", r"(?:abdomen|belly|stomach|tummy) {0}(?:rigid|hard|board|tense|stiff)[^.;?!]{0,30}".replace("{0}", _COPULA), r"(?:board|plank|wood|stone)[- ]?like abdomen", r"guarding",
        r"(?:intestinal|bowel|gastric outlet) obstruct\w+", r"obstructed", r"ileus", r"strangulat\w+", r"incarcerated", r"intussuscept\w+", r"volvulus", r"ruptur\w+", r"pancreatit\w+", r"cholecystit\w+", r"cholangitis", r"diverticulitis",
        r"vomit\w* (?:of |with |out )?(?:up )?(?:fresh |pure |only |dark |clots of )?(?:blood|fa?ecal|f(?:a)?eces|stool|green bile|bile and)", r"(?:blood|coffee[- ]grounds?)[^.;?!]{0,15}vomit\w*", r"vomit\w*[^.;?!]{0,25}(?:coffee[- ]grounds?|blood)", r"h(?:a)?ematemesis",
        r"mel(?:a)?ena", r"(?:stools?|motions?)[^.;?!]{0,20}(?:black|tar\b|tarry)", r"black tarry", r"passed (?:no|neither) (?:stool|wind|flatus|motion)[^.;?!]{0,20}", r"(?:no|neither) (?:stool|motion)s? (?:or|nor|and no) (?:wind|gas|flatus)",
        r"(?:abdomen|belly|stomach|tummy)[^.;?!]{0,25}(?:like a (?:drum|balloon|board|stone)|distended)[^.;?!]{0,40}", r"pass(?:es|ed|ing) (?:nothing|neither)", r"doubled (?:up|over)", r"(?:abdomen|belly|stomach|tummy)[^.;?!]{0,30}(?:could not|couldn't|cannot|can't|not) be touched", r"hernia[^.;?!]{0,40}(?:hard|painful|would not|wouldn't|will not|won't|stuck|black|vomit\w*)", r"vomit\w* (?:everything|all day|non-?stop|without stop\w*|again and again)", r"(?:swollen|distended) (?:and (?:tender|hard|tight) )?(?:abdomen|belly|tummy)", r"renal colic", r"kidney stones?", r"(?:gall ?stone|biliary|gall ?bladder) (?:colic|attack)", r"gall ?stone colic", r"right (?:lower|iliac)[^.;?!]{0,20}(?:abdomen|side|fossa|quadrant)[^.;?!]{0,30}", r"(?:lower right|right lower)[^.;?!]{0,15}(?:abdomen|belly|side|quadrant)",
        r"mcburney\w*", r"ectopic", r"torsion", r"twisted (?:ovary|testi\w+|cyst|bowel)", r"testi(?:cle|s|cles|s)\b[^.;?!]{0,30}(?:swoll\w+|swell\w*|pain\w*|sudden)", r"sudden(?:ly)? (?:severe |terrible |violent )?(?:pain|colic) in (?:the )?(?:abdomen|belly|stomach)", r"(?:severe|agonising|unbearable|excruciating|doubled up with) (?:abdominal |stomach |belly )?(?:pain|colic) (?:in|of) (?:the )?(?:abdomen|belly)",
    ),
    _urgent(
        "bleeding, or danger in pregnancy", _NOW,
        r"(?:bleed\w*|bled|h(?:a)?emorrhag\w+|spotting|blood)[^.;?!]{0,45}(?:pregnan\w+|(?:first|second|third|fourth|fifth|sixth|seventh|eighth|ninth|early) (?:month|trimester)|miscarr\w+|abort\w+|labou?r\b|deliver\w+|placenta|child ?birth|confinement)",
        r"(?:pregnan\w+|(?:weeks?|months?) (?:pregnant|gone|along)|expecting|gravid\w*)[^.;?!]{0,60}(?:bleed\w*|bled|h(?:a)?emorrhag\w+|spotting|blood|headache|swollen|swelling of the face|fit|pressure|vision|flashes|pain in the abdomen|water broke|leaking)",
        r"threaten\w* (?:abortion|miscarriage)", r"miscarr\w+", r"abortions?\b", r"ante[- ]?partum", r"post[- ]?partum h(?:a)?emorrhage", r"retained placenta", r"placenta(?:l)? (?:pr(?:a)?evia|abruption|retained|separat\w+)", r"abruptio\w*", r"cord (?:prolapse|round)",
        r"flooding", r"gush\w* of (?:bright |red |dark )*blood", r"bleed\w* (?:like|heavily|profusely|badly|freely|from everywhere|a lot|and bleed\w*|continuously|non-?stop)", r"(?:profuse|heavy|violent|active|severe) (?:bright |red |dark )*(?:bleed\w*|h(?:a)?emorrhag\w+)", r"h(?:a)?emorrhages? (?:profuse|bright|from|of bright)", r"soak\w*[^.;?!]{0,20}(?:pads?|cloths?|sheets?|towels?)", r"pads? (?:every|an) (?:half|hour|twenty)",
        r"(?:bleed\w*|bled|h(?:a)?emorrhag\w+)[^.;?!]{0,25}(?:would not|wouldn't|does not|doesn't|did not|didn't|will not|won't|could not be|never|not) stop", r"bleed\w* to death", r"cough\w* (?:up )?(?:of )?blood", r"h(?:a)?emoptysis", r"blood (?:was |is )?(?:cough\w*|spat|spit)",
        r"(?:pregnan\w+|(?:weeks?|months?) (?:pregnant|gone))[^.;?!]{0,40}(?:severe|sudden|one[- ]sided|terrible)", r"(?:pregnan\w+)[^.;?!]{0,40}(?:pain|faint\w*|collaps\w*)", r"(?:baby|child)(?:'s)? (?:movements?|kicks?) (?:were |are |had |have )?(?:less|fewer|reduced|stopped)", r"(?:less|fewer|reduced) (?:baby |foetal |fetal )?movements?", r"(?:pass\w+|with) (?:big |large |dark )?clots[^.;?!]{0,20}", r"waters? (?:has|have|had) gone", r"pre-?eclampsia", r"(?:feel|felt|feeling)[^.;?!]{0,15}(?:baby|child|foetus|fetus) (?:move|moving|kick)", r"(?:baby|foetus|fetus|foetal movements?|fetal movements?) (?:has |had )?(?:stopped|not|no longer|was not|is not|isn't|wasn't|did not|didn't) (?:mov\w*|kick\w*)?", r"no (?:foetal|fetal) movements?",
        r"obstructed labou?r", r"waters? (?:had |have )?(?:broke|broken)", r"h(?:a)?emophil\w+",
    ),
    _urgent(
        "a lethargic, feverish or dehydrated infant", _NOW,
        rf"{_CHILD}{_WIDE}(?:letharg\w+|limp\b|(?:not|wasn't|isn't|won't|would not|wouldn't|stopped|refus\w+|too weak to|does not|doesn't|did not|didn't)[^.;?!]{{0,12}} ?(?:feed\w*|suck\w*|tak\w+ (?:the |any )?(?:breast|feeds?|bottle|milk)|wak\w+|drink\w*|cry\w*|respond\w*|pass\w* urine)|refus\w+ (?:the )?(?:feeds?|breast|bottle)|dehydrat\w+|sunken|floppy|drowsy|very hot|blue|grey|gr[ae]y|convuls\w+|unrespons\w+|high fever|temperature of|fever of|not respond\w*|will not wake|burning with fever|jaundic\w*)",
        r"(?:letharg\w+|limp|floppy|dehydrat\w+|sunken (?:eyes|fontanel\w*)|drowsy|not feeding|high fever|jaundic\w*|fever)[^.;?!]{0,40}(?:infants?|baby|newborn|(?:days?|weeks?|months?)[- ]old)",
        rf"{_CHILD}[^.;?!]{{0,50}}(?:loose motions|diarrh\w+|vomit\w+)[^.;?!]{{0,50}}(?:sunk\w*|tears|dry|urine|drows\w*|blood)", rf"{_CHILD}[^.;?!]{{0,40}}(?:yellow|sleepy all|too sleepy|very sleepy|and sleepy|moaning|whimper\w*|pale and|cold hands)", rf"{_CHILD}[^.;?!]{{0,50}}(?:swollen|painful|red) (?:knee|hip|joint|leg|ankle|elbow)", r"will not (?:walk|bear weight|put weight|use the (?:leg|arm))", r"drool\w*[^.;?!]{0,40}(?:breath|swallow|lean|fever)", r"eyes (?:were |are |have |had )?sunk\w*", r"(?:won't|will not|would not|wouldn't|refus\w+ to|too sleepy to|stopped) (?:feed|nurse|drink|suck)\w*", r"fewer wet", r"high[- ]pitched cry", r"no tears", r"cholera infantum", r"infant(?:ile)? diarrh(?:o)?ea", r"summer (?:complaint|diarrh\w+)", r"marasmus", r"dehydrat\w+", r"sunken (?:eyes|fontanel\w*)", r"neonat\w+", r"failure to thrive", r"kwashiorkor", r"floppy", r"(?:days?|weeks?)[- ]old[^.;?!]{0,40}fever", r"(?:hasn't|has not|hadn't|had not|not|no) (?:wet|wetted|passed|wet) ?(?:a |any |his |her )?(?:napp\w+|diapers?|urine|water)", r"dry napp\w+",
        source=_WHO_STAFF,
    ),
    _urgent(
        "serious infection", "Needs medical diagnosis and treatment; homeopathy is not to be relied on here.",
        r"tubercul(?:osis|ous mening\w*)", r"tb\b", r"phthisis", r"consumption(?: of the lungs)?\b(?! of (?:coffee|alcohol|food|tea|salt|sugar|meat))", r"malaria\w*", r"hiv\b", r"aids\b(?! (?:in|to|the))", r"typhoid\w*", r"typhus", r"pneumon\w+", r"rust[- ]?(?:colou?red|y|brown)[^.;?!]{0,12}(?:sputum|expectoration|phlegm|spit)?", r"diphther\w+", r"cholera", r"dengue", r"chikungunya", r"rabies", r"rabid", r"hydrophob\w+",
        r"small ?pox", r"plague", r"yellow fever", r"measles with", r"whooping[- ]cough", r"pertussis", r"polio(?:myelitis)?\b", r"mastoid\w*", r"orbital cellulitis", r"quins(?:y|ies)", r"peritonsillar", r"osteomyelit\w+", r"septic arthritis", r"rheumatic fever", r"endocarditis", r"pericarditis", r"nephrit\w+", r"py(?:o|e)l(?:o)?nephritis",
        r"leptospir\w+", r"snake[- ]?bites?", r"(?:bitten|bit) by (?:a |an |the )?(?:\w+ )?(?:snake|dog|cat|monkey|bat|rat|scorpion|viper|cobra|krait)", r"(?:dog|snake|monkey|cat|bat|scorpion|viper|cobra) (?:had |has )?(?:bit|bitten|bites?|stung|sting)", r"(?:dog|animal|monkey|rat|human|spider) bites?", r"covid\w*", r"anthrax", r"leprosy", r"gonorrh\w+ (?:ophthalmia|of the newborn)", r"hepatitis", r"scarlet fever", r"brucell\w+", r"swine flu", r"leishman\w*|kala[- ]azar",
        source=_WHO_STAFF,
    ),
    _urgent(
        "injury or poisoning", _NOW,
        r"head injur\w*", r"injur\w+ (?:to|of) (?:the )?(?:head|spine|skull|eye|brain|neck)", r"concuss\w+", r"skull", r"fractur\w+", r"broken (?:bones?|legs?|arms?|neck|ribs?|hip|back)", r"dislocat\w+", r"(?:road|car|traffic|motor ?cycle|motor ?bike|bike|scooter|train|railway) accidents?", r"(?:fell|fall\w*|fallen)[^.;?!]{0,25}(?:roof|height|tree|ladder|stairs?|terrace|balcony|horse|head|storey|floor window)", r"hit (?:his|her|the) head", r"blow (?:on|to) the (?:head|eye|abdomen|chest)",
        r"burn(?:s|t|ed)? (?:of the|by|with|from|over|on|up to|all) (?:the )?(?:\w+ )?(?:fire|boiling|hot|acid|steam|oil|flame|milk|arm|face|body|chest|water|leg|per)", r"burns?\b[^.;?!]{0,20}(?:degree|boiling|scald|acid|steam|fire|flame)", r"scald\w*", r"electric\w* (?:shock|wire|current)", r"electrocut\w+", r"struck by lightning", r"poison(?:ing|ed)\b", r"overdos\w+", r"(?:swallowed|took|taken|eaten|ate)[^.;?!]{0,30}(?:paracetamol|aspirin|tablets|pills|capsules)[^.;?!]{0,15}(?:\w+ty of|of them|all)", r"(?:swallowed|eaten|ate) [^.;?!]{0,20}(?:paracetamol|aspirin|iron|tablets|pills|capsules)", r"(?:swallow|drank|drunk|ingest|gulp|drink)\w*[^.;?!]{0,20}(?:batter(?:y|ies)|poison|coin|bleach|kerosene|phenyl|acid|pesticide|detergent|petrol|magnet|lye|insecticide)",
        r"drown\w+", r"heat ?stroke", r"sun ?stroke", r"heat exhaustion", r"frost ?bite", r"hypothermi\w+", r"punctured? wounds?", r"stab(?:bed)? (?:wound|in|with)", r"gun ?shot", r"spinal (?:injur\w*|cord)", r"(?:lost|loss of|no) control (?:over|of) (?:the |his |her )?(?:bladder|bowels?)", r"(?:could not|couldn't|cannot|can't) (?:move|feel) (?:his|her|the|both) legs", r"cauda equina",
        # the nerves of the legs, the hip of the old, burns by place and size, wounds that go wrong, violence (common practice)
        r"foot[- ]drop", r"dropp(?:ed|ing) foot", r"saddle (?:area|an(?:a)?esth\w+|numb\w*)", r"numb\w*[^.;?!]{0,30}(?:saddle|between (?:the|his|her) (?:legs|thighs)|perin(?:a)?eum|private parts)",
        r"(?:leg|foot|limb)\b[^.;?!]{0,25}(?:turned|rolled|twisted|rotated|lying|lies|pointing) out\w*", r"(?:leg|limb)\b[^.;?!]{0,25}(?:shorter|shortened|and short)\b",
        r"(?:a|the|any|that|this|every|fresh|bad|deep|big|large|small) burns? (?:in|on|to|of|at|over|round|around) (?:the |his |her |a )?(?:\w+ )?(?:face|eyes?|neck|hands?|fingers?|genitals?|groin|joints?|mouth|feet|child|baby)\b",
        r"burns? (?:that (?:is|are) |is |which is )?(?:as |so |more )?(?:big|bigger|large|larger)[^.;?!]{0,20}(?:palm|hand)", r"burn\b[^.;?!]{0,45}(?:big|large|size|bigger|larger)[^.;?!]{0,12}(?:palm|hand)",
        r"(?:wounds?|stitches|scar|incision|operation site)\b[^.;?!]{0,25}(?:that |which |it |has |had )?(?:smells|stinks|stank|opens|opened (?:up|again)|(?:came|comes|coming|burst) open|gap(?:es|ed|ing)\b|is gaping|was gaping|(?:is |was |went |began to |now )*(?:smell|stink|gaping|red (?:all )?(?:a)?round))",
        r"redness[^.;?!]{0,12} (?:spread\w*|creep\w*|going up|track\w*)", r"spreading redness", r"(?:no feeling|cannot feel|numb\w*)[^.;?!]{0,25}(?:where (?:she|he|one|you)[^.;?!]{0,8} sits?|\bseat\b|buttocks and)",
        r"(?:being|was|is|been|gets) (?:hit|beaten|slapped|struck|kicked|punched)[^.;?!]{0,12}(?:at home| by (?:the |her |his |a )?(?:husband|father|brother|partner|boyfriend|son|wife|mother\w*|in-laws|stepfather|uncle))", r"(?:he|husband|father|partner|boyfriend) (?:slaps|punches|kicks|chokes|strangles|hits|beats) (?:her|him|me|them|the (?:children|child|wife|boy|girl))\b",
        r"(?:beaten|beats? (?:her|him|them|me)|hits? (?:her|him|them|me)|slapp?\w*|kick(?:s|ed)|punch\w*|strangl\w+|not safe|unsafe|afraid to go)[^.;?!]{0,20} (?:at )?home\b", r"at home[^.;?!]{0,20}(?:beaten|beats|being hit|hits|struck|slapp?ed)",
        r"(?:husband|father|partner|boyfriend|wife|stepfather|stepmother|mother-in-law|in-laws?) (?:\w+ )?(?:beats|beat|hits|beating|strikes|kicks|kicked|strangled|punched)\b(?! (?:in|fast|the record))", r"domestic violence", r"battered (?:wife|woman|child|baby)",
        r"eye injur\w*", r"chemical in the eye", r"(?:fell|fallen|fall\w*)[^.;?!]{0,25}(?:hit|struck|banged|knocked|bump\w*) (?:his|her|the)", r"deep gash", r"bleed\w* from (?:the |his |her )?ears?", r"bone (?:was |is )?(?:sticking|poking|coming) out", r"(?:burnt|burned) (?:his|her) (?:hand|face|arm|leg|whole|body|chest)", r"foreign body", r"deep (?:cut|wound)s?", r"crush(?:ed)? injur\w*", r"(?:stung|sting|bit(?:ten)?)\b[^.;?!]{0,25}(?:throat|tongue|mouth|neck|face|lips)", r"(?:fell|fall|fallen|thrown|knocked)[^.;?!]{0,25}(?:motor|bike|cycle|scooter|car|bus|horse|confus\w*|unconscious|vomit\w*|hip|weight|head|wrist)", r"(?:weight on|walk on|stand on) (?:the|his|her|that) (?:hip|leg|foot|ankle)", r"(?:ate|eaten|took|taken|swallowed)[^.;?!]{0,25}(?:grandmother|grandfather|mother|father|granny)['’]?s?[^.;?!]{0,25}(?:pills|tablets|medicines?)", r"knocked (?:down|out)", r"bee sting[^.;?!]{0,40}(?:swell|breath|hives)", r"(?:sting|stung)[^.;?!]{0,40}(?:swell|swollen|breath|collaps|faint|hives)", r"carbon monoxide", r"gas leak", r"alcohol withdrawal", r"(?:shak(?:es|ing|y)|trembl\w+|tremor\w*)[^.;?!]{0,30}(?:sees|seeing|saw) ", r"(?:sees|seeing|saw) (?:insects|snakes|rats|things that)", r"delirium tremens", r"withdrawal fits?", r"snake venom",
    ),
    _urgent(
        "other signs that need a doctor soon", _TODAY,
        r"blood (?:was |is |came |comes |coming |passed |passing |seen |found )*in (?:the |her |his )?(?:stools?|urine|sputum|motions?|semen|vomit)", r"blood(?:y|[- ]stained)? (?:stools?|urine|sputum|motions?|vomit)", r"(?:stools?|urine|motions?|sputum)[^.;?!]{0,20}(?:with|mixed with|of|had|has|like) (?:pure |fresh |bright |red )*blood", r"h(?:a)?ematuria", r"(?:pass\w*|bleed\w*)[^.;?!]{0,15}(?:blood|rectum|bowel)",
        r"(?:hard |painless |new )?(?:lumps?|mass|swelling|growth) (?:was |is |came |found |felt |had come )*(?:in|of|on) (?:the |her |his )?(?:right |left )?(?:breasts?|neck|testi\w+|abdomen|armpit|groin)", r"(?:breast|testi\w+|neck) lumps?", r"cancer\w*", r"malignan\w+", r"carcinoma\w*", r"tumou?r\w*", r"leuk(?:a)?emia", r"lymphoma\w*", r"hodgkin\w*", r"scirrh\w+", r"epithelioma\w*", r"sarcoma\w*", r"melanoma\w*", r"metasta\w+", r"chang(?:e|es|ing|ed) (?:in|of) (?:a |the |his |her )?mole", r"mole\b[^.;?!]{0,20}(?:bleed|chang|grow)",
        r"sudden\w* (?:loss of (?:vision|sight|hearing)|blind\w*|deaf\w*)", r"(?:lost|losing|loss of|loses) (?:his |her |the )?(?:vision|sight|eyesight)", r"(?:curtain|flashes|floaters)[^.;?!]{0,20}(?:vision|eye|sight)", r"(?:red|painful)[^.;?!]{0,30}eye[^.;?!]{0,30}(?:haloes|halos|vision|blurr\w+|see\w*)", r"eye\b[^.;?!]{0,25}(?:red|painful)[^.;?!]{0,30}(?:haloes|halos|vision|blurr\w+|sight)", r"hal(?:o|oe)s (?:round|around)", r"glaucoma\w*", r"iritis", r"keratitis", r"corneal ulcer\w*", r"retinal detach\w*", r"double vision|diplopia",
        r"jaundic\w*", r"(?:yellow|yellowish) (?:all over|eyes|whites|skin and eyes)", r"eyes (?:were |are |became |turned )?yellow", r"unexplained (?:weight loss|fever)", r"los(?:t|ing|s of|es|e) (?:\w+ )?(?:weight (?:rapidly|without|for no|fast|quickly)|(?:\w+ )?(?:kilos?|kgs?|pounds|stones?))\b", r"(?:lost|losing|loses) (?:a lot of |so much |much )?weight", r"blood on the (?:paper|tissue|pan|pot|pillow|handkerchief)", r"change (?:in|of) (?:the |his |her )?bowel", r"(?:difficult\w*|trouble|pain) (?:in |with )?swallow\w+", r"cannot swallow", r"food (?:sticks|stuck|gets stuck)", r"hoarse\w* for (?:\w+ )?(?:weeks|months)", r"bleed\w* after (?:the )?(?:menopause|change|intercourse)", r"(?:worst|terrible|sudden) pain of (?:his|her) life", r"weight loss without", r"night sweats with", r"fever (?:for|since) (?:weeks|months|three weeks|a month)",
        r"diabetic (?:coma|ketoacidosis|foot|gangrene)", r"ketoacidosis", r"hypoglyc\w+", r"(?:blood )?sugar[^.;?!]{0,25}(?:[3-9]\d\d\b|(?:three|four|five|six|seven|eight) hundred|very low|thirty|forty)", r"stopp?(?:ed|s|ing)? passing (?:water|urine)", r"retention of urine", r"(?:unable|cannot|could not|couldn't|can't) (?:to )?(?:pass (?:any |the )?(?:urine|water)|urinate)", r"(?:no|not passed|hadn't passed|had not passed|has not passed|not passing|suppression of) (?:any )?urine", r"anuria", r"ur(?:a)?emi\w+",
        r"(?:hoarse\w*|(?:his|her|the|my) voice)\b[^.;?!]{0,30}(?:over|more than|beyond|longer than|past|since|for|lasting|lasts?) (?:\w+ ){0,3}(?:weeks|months)",
        r"(?:pass\w*|made|making|produc\w+)[^.;?!]{0,25}\b(?:ml|millilit\w+|cc|spoon\w*|ounces?)\b[^.;?!]{0,20}(?:hours|all day|all night|the whole (?:day|night)|since)",
        r"(?:only|just|but) (?:a )?(?:few |couple of |two |three )?(?:drops?|dribbles?|trickle) of (?:urine|water)[^.;?!]{0,25}(?:hours|since|all day|all night)", r"(?:very little|hardly any|scarcely any|barely any|almost no|next to no) (?:urine|water)[^.;?!]{0,30}(?:hours|since|day|night)", r"urine (?:is |was |has |had )?(?:not com\w+|stopped|dried up)",
        r"sudden (?:severe |violent |terrible )?headache", r"worst headache", r"thunderclap", r"delirium\b", r"delirious", r"psychos\w+", r"psychotic", r"mania\b", r"puerperal mania", r"halluc\w+", r"hear(?:s|ing|d)? voices", r"anorexia nervosa", r"(?:kidney|renal|liver|hepatic|respiratory) failure", r"cirrhosis", r"ascites", r"deep vein", r"thrombo\w+", r"embol\w+", r"(?:calf|leg)\b[^.;?!]{0,30}(?:swoll\w+|swell\w*)[^.;?!]{0,25}(?:pain\w*|tender\w*|hot|flight|red|breath)", r"swollen (?:calf|leg)[^.;?!]{0,20}(?:pain|breath|tender)",
        r"(?:blood )?pressure (?:was |is |of |had gone |went |shot )*(?:up to |to )?(?:two hundred|2\d\d|one eighty|180|190|very high|dangerously)", r"hypertensive crisis", r"(?:exophthalm|thyroid) (?:storm|crisis)", r"addison\w* crisis", r"multiple sclerosis", r"motor neuron\w*", r"myasthenia", r"guillain\w*", r"abus(?:e|ed|ing)\b[^.;?!]{0,15}(?:child|wife|woman|girl)", r"(?:child|sexual|physical) abuse", r"rape\w*", r"beat(?:s|en|ing) (?:her|his wife|the child)",
    ),
)  # fmt: skip


#: Illnesses named by one word or two, which are also told of as past, of the family, denied, tested for, said to be cured.
_ILLNESS = re.compile(
    r"(?:cancer\w*|tumou?rs?|malignan\w+|malaria\w*|pneumon\w+|tb|tubercul\w+|typhoid\w*|hiv|hepatitis|(?:heart |asthma )?attacks?|(?:heart|asthma) attacks?|strokes?|jaundic\w*|appendi\w+|epilep\w+|"
    r"fractur\w+|cholera|diphther\w+|whooping[- ]cough|pertussis|scarlet fever|yellow fever|rheumatic fever|covid\w*|dengue|mening\w+|septic\w*|seps\w+|miscarr\w+|abortions?|"
    r"convuls\w+|fits?|seizures?|(?:kidney|gall) ?stones?|polio\w*|measles with|small ?pox|facial pals\w+|tetanus|h(?:a)?emorrhag\w+|bleed\w*|drown\w*|clots?)[^\w]*"
)
_DENIED_BEFORE = re.compile(
    r"(?<!there's )(?<!if )(?:\b(?:no|never had(?: an?y?)?|without(?: any)?|nor|neither|not an?y?|not|(?:is|was|were|are|do|does|did|had|has)(?:n't| not)(?: an?y?| the| have(?: any)?)?|wasn't|rul(?:es?|ed) out(?: the)?|negative for)|there (?:is|was|were) no)"
    r"(?: (?:sign|signs|trace|history|further|more))?(?: of)? $"
)
_DENIED_AFTER = re.compile(
    r"^[,;]? ?(?:\w+ ){0,2}?(?:(?:it |they |test |tests |slide |smear |both )*(?:is |was |were |came |came back )?(?:negative|excluded|ruled out)|non-?reactive)\b"
)
_IF = re.compile(r"\b(?:if|unless|until|till|whether|in case|make sure)\b[^,.;?!]*$")
_OF_KIN = re.compile(
    r"\b(?:father|mother|brother|sister|uncle|aunt\w*|grand\w+|parents?|cousin|husband|wife|family|nan|nain|lolo|lola|dad|mum|mam)\b[^.;?!]{0,25}\b(?:died|dead|gone|pass(?:es|ed)?(?: away)?|had|lost|taken)\b(?: (?:\w+ )?(?:of|from|with|by))?(?: an?| the| early)? $"
    r"|\b(?:died|dead|death|passed away|gone) (?:yesterday )?(?:of|from|with) (?:an? |the )?$|\b(?:family )?histor(?:y|ies) of (?:an? )?$|\bin the family,? $|\bafter (?:his|her) $|\b(?:never|not) (?:been |got |became )?well (?:since|after) (?:an? |the |his |her )?$"
)
_PAST_AFTER = re.compile(
    r"^,?(?: [\w'’-]+){0,3}? (?:as an? (?:child|girl|boy|baby|young|student|schoolboy|schoolgirl)|in (?:his |her |my )?(?:childhood|infancy|youth)|(?:years|decades) (?:ago|back|before)|long ago|in (?:the )?(?:19|20)\d\d\b|"
    r"in (?:the )?(?:sixties|seventies|eighties|nineties)|in (?:nineteen|two thousand|the year of|class)|(?:he|she) (?:\w+ )?had (?:once|as)|many (?:many )?times|(?:past|history)\b)"
)
_CURED = re.compile(r"\b(?:cur(?:e[sd]?|ing)|heal(?:s|ed)|remov(?:es|ed)|melt(?:s|ed)) (?:\w+ ){0,3}?$")
_CURED_AFTER = re.compile(r"^(?:,? (?:is|was|are|were|has been))? (?:cured|melted|healed|free for life|for life)\b")
_THING_AFTER = re.compile(
    r"^ (?:vaccin\w+|jabs?|tablets?|drugs?|medicines?|tests?|slide|chart|ward|clinic|camp|week|bed|debate)\b"
)
#: What is said in the words of a danger and is none: words a rule of its own is needed for, each with what may not stand near.
_BESIDE: tuple[tuple[re.Pattern[str], re.Pattern[str]], ...] = tuple(
    (re.compile(said), re.compile(around))
    for said, around in (
        # a bone of the head where a pain is, not an injury of it
        (r"skull$", r"^(?!.*\b(?:fractur|crack|blow|hit|broke|fell|fall|open|injur|operat|bleed|bruis|dent)).*$"),
        (r"scalding$", r"\bscalding,? (?!(?:hot )?(?:water|tea|milk|oil|soup|coffee|fat|steam|porridge|rice))"),
        (
            r"(?:does |did |do )?(?:not|n't)? ?fits?$",
            r"\b(?:don't|doesn't|didn't|do not|does not|did not|both|it|they|that|to|all|will|would|not) fits?\b",
        ),
        (r"rust\w*", r"^(?!.*\b(?:sputum|phlegm|expectorat|cough|spit|mucus|blood|nail|wound)).*$"),
        (
            r"(?:under|through|with) (?:the|a) glass$",
            r"^(?!.*\b(?:rash|spots?|press\w*|fade|blanch|roll\w*|marks?|purple)\b).*$",
        ),
        (
            r"^(?:a |every |each )?stroke",
            r"\bstroke (?:\d|one|two|three|four|five|six|seven|eight|nine|ten|\w+teen|\w+ty)\b",
        ),
        (
            r"^(?:don't |do |let |should )?not (?:be )?(?:wak|rous|woke)",
            r"\b(?:do|don't|let|must|should|please|better|why|to|we|i|you)(?: him| her| them)? not (?:be )?(?:wake|rouse)\b",
        ),
        (r"^jump", r"\bjump(?:s|ed|ing)? from (?:here|there|one|joint|place|side|remedy|the (?:knee|left|right))\b"),
        (
            r"^throw(?:ing)? |^threw ",
            r"\bthrow(?:s|ing)? (?:him|her)self (?:about|around|on the (?:floor|bed)|it is|in (?:bed|the bed))|\bthrew (?:him|her)self (?:about|around|on the (?:floor|bed))",
        ),
        (r"^(?:abdomen|belly|stomach|tummy)", r"\b(?:in|on|at) (?:the |his |her )?stomach(?: is| was)? like a stone\b"),
        (r"poison(?:ing|ed)$", r"\b(?:food|stomach) poisoning\b"),
    )
)


def is_told_away(low: str, start: int, end: int) -> bool:
    """Whether the words ``start`` to ``end`` of a lower-case sentence name no danger of now: an illness denied, tested for
    and not found, long past, of the dead of the family, said to be cured (which has its own caution), or another thing of
    that name. Signs told in words, "cannot breathe", are never told away by what stands beside them."""
    said = low[start:end].strip(" ,.;:?!")
    if any(word.search(said) and around.search(low) for word, around in _BESIDE):
        return True
    if not _ILLNESS.fullmatch(said):
        return False
    before, after = low[max(0, start - 70) : start], low[end : end + 60]
    if _IF.search(before):
        return False
    return any(
        pattern.search(beside)
        for pattern, beside in (
            (_DENIED_BEFORE, before), (_OF_KIN, before), (_CURED, before), (_DENIED_AFTER, after), (_PAST_AFTER, after), (_CURED_AFTER, after), (_THING_AFTER, after),
        )
    )  # fmt: skip
