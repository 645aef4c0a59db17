"""Warning signs that are told in many words: sets of words that need only stand together, and words that send to care.

Signs are those of ordinary first-aid and emergency teaching (common practice), each as the groups of words that make
it, in any order within a sentence. Words that send somebody to hospital at once mark what they speak of as urgent.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_REACH = 110  # characters over which the words of one sign may be spread
_LIMB = r"(?:toes?|foot|feet|heels?|legs?|fingers?|hands?|arms?|ankles?|calf|calves|knees?|thighs?|limbs?|wrists?|forearms?)"
_BLACK = r"(?:black\w*|gangren\w*|dusky|(?:gone|going|went|turn\w*|became|becoming|is|was|were) (?:\w+ )?(?:dark|blue|purple|dead|cold and (?:white|blue))|mummif\w*)"
_INFANT = r"(?:infants?|bab(?:y|ies)|newborns?|neonates?|toddlers?|little one|child(?:ren)?|(?:days?|weeks?|months?)[- ]old|\w+ (?:weeks|days) old|of \w+ (?:weeks|days|months))"
_BREATH = r"(?:breath\w*|inhal(?:e[sd]?|ing|ation)|respirat\w+|(?:for|of|get|gets|his|her|no|enough) air\b|pant(?:s|ed|ing)?\b|wheez\w*|gasp\w*)"
_SWELL = r"(?:swell\w*|swollen|swelled|puff(?:s|ed|y|ing)\w*|balloon\w*)"
_WEAK = r"(?:weak\w*|numb\w*|paraly\w+|powerless|limp|useless|heavy|droop\w*|hang(?:s|ing)?|dead|lost (?:its |the |all )?(?:power|strength|feeling)|give (?:way|out)|gave way|won't (?:move|lift|hold))"
_SUDDEN = r"(?:sudden\w*|abrupt\w*|all at once|out of (?:nowhere|the blue)|without warning|overnight|on waking|woke (?:up )?with|in (?:a|one) (?:minute|moment|second)|within (?:minutes|an hour|hours)|day by day|upwards?|ascending|climbing up|from the feet|rapidly|one side|half (?:of )?(?:the|his|her) (?:body|face)|both legs)"
_BLEED = r"(?:bleed\w*|bled|(?!blood[- ]?(?:pressure|tests?|sugar|groups?|reports?|count|thinner|vessels?|shot|less))blood\w*|h(?:a)?emorrhag\w+|clots?|spotting|pads?|nose ?bleeds?)"
_FAINT = r"(?:faint\w*|giddy|giddiness|dizz\w+|light[- ]?headed\w*|black\w* out|pass\w* out|collaps\w*|pale|white|swoon\w*|sway\w*|unconscious\w*)"
_VOMIT = r"(?:vomit\w*|throw(?:s|n|ing)? up|threw up|bring(?:s|ing)? (?:it |everything |\w+ )?up|brought (?:it |everything |\w+ )?up|puk\w+|retch\w*)"
_CONFUSED = r"(?:confus\w+|delir\w+|disorient\w+|wander\w* in (?:his|her) (?:mind|talk|speech)|(?<!do )not (?:know|recogni[sz]e)\w*|(?:did|does|could|would)(?:n't| not) (?:know|recogni[sz]e)|talk\w* (?:rubbish|nonsense|to the wall)|not (?:him|her)self|drows\w+|sleepy|difficult to wake|not (?:be )?(?:wake|rous|woken|wakened)\w*|(?:can't|cannot|couldn't|won't|doesn't|not) (?:be )?(?:wake|woken|waken|roused?)\w*)"
_PERSON = r"(?:he|she|old|elderly|aged|man|woman|father|mother|grand\w+|patient|child|baby|son|daughter|wife|husband|people|somebody|someone|anyone|a person|man of)"


@dataclass(frozen=True, slots=True)
class Sign:
    """``groups`` must all be found within reach of each other, in any order; ``name`` is the condition's."""

    name: str
    groups: tuple[re.Pattern[str], ...]
    reach: int = _REACH


def _sign(name: str, *groups: str, reach: int = _REACH) -> Sign:
    return Sign(name, tuple(re.compile(rf"\b(?:{group})(?!\w)") for group in groups), reach)


SIGNS: tuple[Sign, ...] = (
    _sign("stroke signs", rf"{_WEAK}|tingl\w*", rf"{_LIMB}", r"climb\w*|ascend\w*|goes up|going up|went up|rising|rose|creep\w*|crept|spread\w* up\w*|from (?:the )?(?:feet|toes|below)|(?:to|up to|into) (?:the |his |her )?(?:knees|thighs|legs|trunk|arms|chest)"),
    _sign("stroke signs", rf"{_WEAK}|back|spine|saddle|between the legs", r"(?:hold|control|pass|start|los\w*|lost)(?: \w+){0,3} (?:urine|water|bladder|stools?|motions?|bowels?)|(?:bladder|bowel) control|incontinen\w*", r"legs|saddle|back|spine|numb\w*"),
    _sign("stroke signs", r"speech|sight|vision|arm|side|face|hand", r"went|lost|dead|weak|numb|gone|crooked", r"came back|passed off|cleared|went off (?:again|by itself)|(?:for|in|within) (?:\w+ ){0,2}minutes"),
    _sign("sepsis or collapse", r"drenched|cold|white|pale|pulseless|blue", rf"{_LIMB}", r"pulseless|no pulse|without (?:a )?pulse|like marble"),
    _sign("sepsis or collapse", r"joint|knee|hip|ankle|elbow|bone|leg", r"hot|red|swollen|limp(?:s|ing)?|(?:can't|cannot|won't|not) (?:be )?(?:move\w*|walk|stand|bend)", r"fever\w*|temperature|shiver\w*|rigors?"),
    _sign("chest pain", r"pain\w*|ache|aching|tight\w*|burning|discomfort|pressure|heav\w*", r"efforts?|exert\w*|walk\w*|climb\w*|stairs|uphill|hurry\w*|hurries|lifting|hill", r"jaw|(?:left|both) (?:arms?|shoulder)|arm|chest|breast ?bone|sweat\w*"),
    _sign("a lethargic, feverish or dehydrated infant", r"sleepy|drows\w*|doz(?:y|ing)|floppy|limp|listless\w*|letharg\w*", r"can't|cannot|couldn't|could not|won't|wouldn't|will not|not|too|hardly|barely", r"sup|sips?|drink\w*|suck\w*|feed\w*|swallow\w*|wake\w*|rous\w*|eat|answer\w*|respond\w*|nurse|latch\w*"),
    _sign("sepsis or collapse", r"red\w*|skin|streak\w*|swelling", r"spread\w*|march\w*|creep\w*|crept|runs|running|walks|walking|travel\w*|climb\w*|advanc\w*|crawl\w*|growing|grows|bigger by the hour", r"fever\w*|fast|quick\w*|hours?|eye|hot"),
    _sign("sepsis or collapse", r"fever\w*|temperature|shiver\w*|infection", r"chemo\w*|transplant\w*|spleen|immun\w+|white (?:blood )?cells|neutro\w*"),
    _sign("sepsis or collapse", r"stand\w*|sit\w* up|rise|rising|heart|pulse", r"without faint\w*|(?:nearly|almost) (?:faint\w*|collaps\w*|pass\w* out)|faint(?:s|ed)? (?:each|every) time"),
    _sign("sepsis or collapse", r"cool and dry|dry|stopped sweating|no sweat", r"sun|heat|furnace|hot day|field", r"talk\w*|confus\w*|collaps\w*|unconscious|delir\w*|fell|fits?"),
    _sign("injury or poisoning", r"everyone|everybody|whole (?:family|house|hostel)|all of them|(?:two|three|four|five) (?:people|persons|of them)", r"headache|dizz\w*|sick|vomit\w*|sleepy|drows\w*", r"stove|heater|gas|coal|charcoal|generator|boiler|fire|fumes|smoke"),
    _sign("breathing difficulty", r"swallow\w*|throat", r"saliva|spit|drool\w*|dribbl\w*", r"can't|cannot|couldn't|could not|unable|forward|voice|muffled|hot potato|drool\w*"),
    _sign("chest pain", r"between the shoulder ?blades|(?:through|into|to) (?:the|his|her) back", r"tear\w*|ripp\w*|sudden\w*"),
    _sign("chest pain", r"arm|jaw|shoulder", r"heavy|heaviness|dead weight|ache\w*|aching", r"sweat\w*|breath\w*|grey|gray|sick|nause\w*"),
    _sign("acute abdomen", r"hernia|rupture|lump in the groin", r"(?:can't|cannot|won't|will not|not|couldn't|doesn't) (?:be )?(?:push\w*|go back|reduc\w*|pressed back)|hard|painful|tender|vomit\w*"),
    _sign("acute abdomen", r"pain|ache|colic|stabb\w*", r"(?:to|into|through to) (?:the|his|her) back|(?:left|right) (?:lower|upper) (?:side|belly|abdomen)", r"vomit\w*|collaps\w*|faint\w*"),
    _sign("bleeding, or danger in pregnancy", r"pain|cramps?|stabb\w*|shoulder", r"(?:period|periods|menses|cycle) (?:is |was |are |were )?(?:\w+ )?(?:late|missed|overdue|absent)|(?:missed|late|overdue) (?:period|menses|cycle)|weeks (?:late|overdue)", r"side|belly|abdomen|faint\w*|sudden\w*|bleed\w*|spotting|severe|shoulder"),
    _sign("bleeding, or danger in pregnancy", r"baby|child|foetus|fetus|she|kick\w*", r"(?:not|no|stopped|less|fewer|doesn't|didn't|hasn't|isn't|hardly)(?: \w+){0,3} (?:mov\w*|kick\w*)", r"womb|belly|since|day|today|yesterday|pregnan\w*|month|weeks?|inside|night"),
    _sign("bleeding, or danger in pregnancy", r"headache|head", r"swell\w*|swollen|puffy|pressure|spots|flash\w*|blurr\w*|eyes", r"pregnan\w*|expecting|(?:months|weeks) (?:gone|along|on|pregnant)|trimester|(?:sixth|seventh|eighth|ninth) month"),
    _sign("bleeding, or danger in pregnancy", r"cord|waters?|membranes?", r"came out|comes out|prolaps\w*|broke|broken|gone|leak\w*|gush\w*", r"weeks|month|labou?r|pregnan\w*|baby|born|green|hand|before (?:the |her )?(?:time|pains|labou?r|term|date|due)"),
    _sign("suicidal talk", r"hears?|heard|hearing|sees?|saw|seeing|speaks?|spoke|talks?|talked|answers?", r"voices?|people who (?:aren't|are not|weren't)|things (?:that|which) (?:aren't|are not)|nobody there|(?:somebody|someone) who (?:isn't|is not)", r"tell\w*|order\w*|command\w*|delivery|birth|baby|day|night|harm|hurt|kill|brother|mother|afraid|convinced|since"),
    _sign("suicidal talk", r"(?:not|hasn't|hadn't|didn't|no|without) (?:\w+ )?(?:sle\w+)", r"nights?|days", r"spend\w*|spent|money|talk\w* without|doesn't stop|can't stop|grand|god|plans|racing"),
    _sign("suicidal talk", r"(?:baby|child|children|family|they)", r"safer|better (?:off )?|happier", r"without (?:me|her|him)|away from (?:me|her)|if (?:i|she|he) (?:\w+ )?(?:gone|dead|not here)"),
    _sign("suicidal talk", r"(?:join|be with|follow|go to|meet)(?: \w+){0,2} (?:dead|late|lost) (?:wife|husband|son|daughter|mother|father|child|baby|brother|sister)|(?:with|to) (?:the )?one who (?:died|is dead)|giv\w+ away (?:\w+ ){0,3}(?:things|jewel\w*|belongings|clothes|books)|said (?:her |his )?goodbyes?|a plan|(?:with|bought|found|hid\w*|kept) (?:a|the) rope|noose|railway line|off the bridge", r"wants?|wanted|wish\w*|says|said|told|has|with|found|plan|ready"),
    _sign("other signs that need a doctor soon", r"thirst\w*|drinks?|drinking|drank", r"urin\w*|water|wee\w*|wets?|passing|toilet", r"weight|thin\w*|los\w*|tired\w*|exhaust\w*|wasted|kilos?|vomit\w*|breath\w*|drows\w*|young"),
    _sign("other signs that need a doctor soon", r"breath|smell\w*|urine", r"acetone|pear drops|nail (?:polish|varnish)|(?:of |sweet |rotten )?fruit\w*|ketones?"),
    _sign("other signs that need a doctor soon", r"calf|leg|thigh", r"swell\w*|swollen|thick\w*|bigger|hot|red|tight", r"one side|one leg|only one|flight|plaster|operation|surgery|childbirth|delivery|pill|bed|left|right|other (?:leg|calf|one)", r"pain\w*|hurt\w*|tender|hard|warm|hot|swollen|clot"),
    _sign("other signs that need a doctor soon", r"temples?|scalp|jaw", r"chew\w*|comb\w*|tender|tired|sight|vision|eye", r"old\w*|sixty|seventy|eighty|elderly|over fifty|headache|age"),
    _sign("other signs that need a doctor soon", r"(?:one|an|the|left|right|his|her) (?:eye|sight|vision)|vision|sight", r"went|gone|lost|black\w*|dark\w*|curtain", r"one eye|minutes|sudden\w*|morning|hours|half"),
    _sign("other signs that need a doctor soon", r"back(?:ache)?|spine|bone", r"night|fever\w*|weight", r"weight|fever\w*|cancer|sweats|los\w*", r"pain\w*|ache\w*|backache"),
    _sign("other signs that need a doctor soon", r"(?:won't|doesn't|not|refus\w*|stopped|hardly) (?:to )?eat\w*|starv\w*|anore\w*|vomits (?:after|what)", r"kilos?|kg|pounds|stone|weigh\w*|bones|periods? (?:stopped|gone)|faint\w*", r"(?:thirty|forty|thirty-\w+|forty-\w+|3\d|4\d) ?(?:kilos?|kg)|weigh\w*|school\w*|girl|boy|years"),
    _sign("a lethargic, feverish or dehydrated infant", r"skin", r"stays? up|stands? up|goes back slowly|tent\w*|pinch\w*|inelastic", r"pinch\w*|child|baby|slow\w*|dry|vomit\w*|diarrh\w*|stay\w*"),
    _sign("sepsis or collapse", r"(?:hot |red )+(?:streak|line|track)s?", r"going|starting|running|climb\w*|up|spread\w*"),
    _sign("sepsis or collapse", r"cold|grey|gray|clammy|pale", r"(?:not|n't|doesn't|isn't|stopped|without) (?:answer|respond)\w*"),
    _sign("convulsion", r"jaw", r"tight\w*|stiff\w*|lock\w*", r"spasm\w*|nail|wound|rust\w*|swallow\w*|boot|soil"),
    _sign("other signs that need a doctor soon", r"shingles|zoster|blisters?|vesicles?", r"eye|eyelid|tip of the nose|punched|all over|fever\w*"),
    _sign("injury or poisoning", r"leg|foot|hip", r"short\w*", r"turn\w*|rotat\w*|outwards?"),
    _sign("injury or poisoning", r"fall|fell|blow|knock\w*|bang\w*|hit|dropp\w*", r"(?:not|isn't|n't) (?:quite |at all )?(?:himself|herself|itself|the same|right)"),
    _sign("other signs that need a doctor soon", r"skin|nipple", r"pulled|pucker\w*|dimpl\w*|drawn in|orange peel", r"hard|fixed|lump|breast|knot"),
    _sign("stroke signs", r"vertigo|giddiness|giddy|dizz\w*", r"arm|face|speech|double|headache|walks?", r"falls?|droop\w*|weak\w*|sight|vision|one side|at the back|slur\w*|numb\w*|new|sudden\w*"),
    _sign("bleeding, or danger in pregnancy", r"pregnan\w+|expecting", r"(?:can't|cannot|couldn't|not|nothing) (?:keep|kept|hold|held|stay\w*)", r"water|anything|nothing|down|day|urine|drop"),
    _sign("other signs that need a doctor soon", r"retention|(?:not|n't|no) (?:pass\w*|made|a drop of)(?: the| any)? (?:urine|water)|catheter", r"hours?|since|day|night|belly|old|pain\w*|swollen|catheter"),
    _sign("suicidal talk", r"d(?:o|oes|id|oing|one) (?:something|anything|harm|it)", r"to (?:(?:my|your|him|her|them)sel(?:f|ves)|(?:the|her|his|my) (?:child(?:ren)?|baby|little one))", r"thinks?|thought\w*|wants?|wanted|afraid|fears?|might|may|will|would|could|going|urge|impulse"),
    _sign("breathing difficulty", r"nois(?:y|e)|whistl\w*|rattl\w*", r"(?:lying|lies|sitting|sits|being|when|while|is|even) (?:\w+ )?(?:quiet\w*|still|at rest|asleep|calm)", r"breath\w*|child|baby|boy|girl|he|she"),
    _sign("other signs that need a doctor soon", r"(?:is|was|'s|are|were|be) (?:a \w+ (?:who|that)(?:'s| is| was) )?in (?:\w+ )?danger"),
    _sign("other signs that need a doctor soon", r"constipat\w*|diarrh\w*|bowels?|stools?|motions?", r"chang\w*|new|alternat\w*", r"an(?:a)?emi\w*|h(?:a)?emoglobin|blood|weight|(?:of|at|in) (?:that|this|his|her) age"),
    _sign("bleeding, or danger in pregnancy", r"bleed\w*|bled|spotting", r"(?:after|since|for) (?:\w+ ){0,3}(?:years?|months) (?:without|with no|of no|free of)|(?:years?|months) after (?:the |her )?(?:last|menopause|change|climax|periods?|menses)"),
    _sign("a lethargic, feverish or dehydrated infant", r"rice[- ]?water", r"stools?|motions?|cramps?|purging|vomit\w*|diarrh\w*"),
    # a blocked bowel, deafness at once, food that will not go down, a bone that bears no step, half a face asleep
    _sign("acute abdomen", r"(?:no|not|neither|n't|without)(?: \w+){0,3} (?:wind|gas|flatus|pass\w*)|blockage|blocked (?:bowel|gut)s?", r"wind|gas|flatus|bowels?|gut|stools?|motions?|blown(?: up)?|swollen|bloated|worms?|vomit\w*|green|sick", r"belly|tummy|abdomen|stomach|blown(?: up)?|swollen|bloated|vomit\w*|sick"),
    _sign("other signs that need a doctor soon", r"deaf\w*|hearing|ear", r"sudden\w*|one night|overnight|all at once|in a day|from one day", r"(?:one|left|right) (?:side|ear)|deaf\w*|lost|gone|fell|falls"),
    _sign("other signs that need a doctor soon", r"(?:not|n't|cannot|hardly|difficult\w*|trouble) (?:to |in |being able to )?swallow\w*|swallow\w* (?:is |gets )?(?:hard|difficult)|food (?:sticks|stops|stuck)", r"thin\w*|weight|old|sudden\w*|kilos?"),
    _sign("injury or poisoning", r"(?:not|n't|cannot)(?: \w+){0,2} (?:steps?|weight|stand)", r"bone|ankle|foot|swell\w*|swollen|fell|twist\w*|four"),
    _sign("stroke signs", r"half(?: of)? (?:the |his |her |a )?(?:face|body|mouth|side)|one side", r"asleep|numb\w*|dead|weak\w*|gone|hang\w*|droop\w*|cold|heavy"),
    # the brain's signs: headache or height with a gait that reels; the lungs' on a mountain
    _sign("meningitis signs", r"headaches?|head (?:aches?|hurts?|pains?)|pain in (?:the |his |her )?head|vomit\w*|altitude|high up|at (?:that|this|such a) height", r"walk\w*(?: [\w'’]+){0,4} (?:drunk\w*|drunkard|sideways|crooked|straight|wide)|stagger\w*|unstead\w+|reel(?:s|ed|ing)|totter\w*|(?:like|as if|as though)(?: [\w'’]+){0,3} drunk\w*|fall(?:s|ing) over|(?:can't|cannot|couldn't|could not|not) (?:walk|stand)|heel to toe"),
    _sign("meningitis signs", r"brain", r"swell\w*|swollen|swelled|pressed|pressure|o?edema"),
    _sign("breathing difficulty", r"pink|froth\w*|foam\w*|bubbl\w*", r"froth\w*|sputum|spit\w*|cough\w*|phlegm|breath\w*", r"pink|blood\w*|breath\w*|rattl\w*|lying|height|altitude"),
    _sign("sepsis or collapse", _LIMB, _BLACK),
    _sign("sepsis or collapse", r"red (?:line|streak|track|stripe)s?|redness (?:\w+ )?(?:spread|climb|go)\w*", rf"{_LIMB}|skin|groin|armpit|up"),
    _sign("sepsis or collapse", r"shivers?|shivering|shakes|shaking chills?|rigors?", r"wound|abscess|boil|cut|ulcer|drain|line|catheter|operation|surgery|high|fever|temperature|violent\w*"),
    _sign("sepsis or collapse", _CONFUSED, rf"{_BREATH}|fever|hot|pulse|urine|infection|fall|fell|blow|head|suddenly|old|elderly|son|daughter|wife|husband|mother|time|place|day of|date|what day|(?:his|her|their|its|the) (?:own )?(?:name|house|children)|where (?:he|she) is|sun|sunstroke|heat"),
    _sign("sepsis or collapse", r"pulse|heart ?beats?|heart rate|beats", r"(?:twenty|thirty|forty)(?:[- ](?:one|two|three|four|five|six|seven|eight|nine))?|2\d|3\d|4[0-5]|one (?:hundred (?:and )?)?(?:thirty|forty|fifty|sixty|seventy|eighty|ninety)(?:[- ]\w+)?|1[3-9]\d|racing|run(?:s|ning)? away|galloping|thready|irregular"),
    _sign("breathing difficulty", _BREATH, r"(?:thirty|forty|fifty|sixty|seventy)(?:[- ](?:one|two|three|four|five|six|seven|eight|nine))?(?: (?:in|to|times|a|per|the|breaths|minute)\b)|[3-9]\d (?:a|per|in|times|breaths)|cannot|can't|couldn't|could not|unable|not get|struggl\w*|fight\w*|fast|quick\w*|rapid\w*|hard|labou?r\w*|noisy|grunt\w*|shallow|blue|stop\w*|whole sentence|sentences?|words", reach=60),
    _sign("breathing difficulty", r"chest|ribs|breast ?bone|tummy|stomach", r"pull\w* in|suck\w* in|draw\w* in|drawn in|sink\w* in|cav\w+ in|go(?:es|ing)? in", _INFANT + r"|breath\w*|rib"),
    _sign("breathing difficulty", _SWELL, r"lips?|tongue|throat|face|eyes?|eyelids?|neck|mouth", r"shut|clos\w+|breath\w*|speak|swallow\w*|after|sting|stung|bite|nuts?|prawns?|egg|eating|ate|urine|hives|wheez\w*|fever|abscess|tooth|voice"),
    _sign("breathing difficulty", r"bee|wasp|hornet|sting|stung|peanuts?|nuts|prawns?|shellfish|injection|penicillin", r"wheez\w*|swell\w*|swollen|breath\w*|collaps\w*|faint\w*|hives|throat|tongue|itching all over"),
    _sign("stroke signs", _WEAK, rf"{_LIMB}|face|mouth|side|eyelid|legs", _SUDDEN + r"|speech|slur\w*|migraine|aura|vision|speak\w*|swallow\w*|breath\w*|headache"),
    _sign("stroke signs", r"speech|words|speak\w*|talk\w*|mouth|face|smile", r"slur\w*|crooked|lopsided|droop\w*|twist\w*|mixed up|muddled|(?:won't|wouldn't|will not|couldn't|could not|can't|cannot) come"),
    _sign("injury or poisoning", r"pupils?", r"bigger|larger|unequal|different|uneven|one|blown|pin ?point"),
    _sign("injury or poisoning", r"blow|knock\w*|bang\w*|hit|fell|fall\w*|accident|struck|thrown", r"head|skull|spine|neck|back of the head|temple", r"vomit\w*|drows\w*|sleepy|confus\w*|pupil\w*|unconscious\w*|fits?|blood|clear fluid|headache|black\w* out|nose|ears?"),
    _sign("injury or poisoning", r"swallow\w*|drank|drunk|drinks?|eaten|ate|took|taken|inhal\w*|licked", r"poison\w*|arsenic|kerosene|paraffin|petrol|diesel|bleach|acid|lye|caustic soda|phenyl|pesticide|insecticide|rat \w+|weed ?killer|berries|mushrooms?|datura|oleander|batter(?:y|ies)|magnets?|coins?|pins?|needles?|detergent|turpentine|mothballs?|(?:all|whole|entire|handful|bottle|strip) (?:\w+ ){0,3}(?:tablets|pills|medicine|capsules)"),
    _sign("injury or poisoning", r"swallow\w*|ingest\w*|drinks? (?:it|this|that)|eats? (?:it|this|that)|whoever", r"emergency|poison|hospital|casualty|antidote"),
    _sign("convulsion", r"fits?|convuls\w+|seizures?|spasms?|jerk\w*|twitch\w*|shak(?:es|ing)", r"minutes?|second|again|another|wak\w*|unconscious\w*|blue|stiff|eyes|tongue|fever|first|pregnan\w+|stop\w*|repeat\w*|one after|body|all over"),
    _sign("bleeding, or danger in pregnancy", _BLEED, _FAINT + r"|hour|hourly|pads?|won't stop|not stop\w*|doesn't stop|unstoppable|severe\w*|in gushes|gush\w*|soak\w*|through|pouring|profus\w*|buckets?|now"),
    _sign("bleeding, or danger in pregnancy", rf"{_BLEED}|cramps?|leak\w*|swelling|headache|blurr\w*|pain", r"pregnan\w+|expecting|gravid\w*|(?:in|with) the family way|trimester|carrying (?:a )?(?:baby|child)|with child|miscarri\w*|(?:in|of) the \w+ month|foetus|fetus"),
    _sign("bleeding, or danger in pregnancy", r"vomit\w*", r"pregnan\w+|expecting", r"urine|water|ketones?|keep\w*|everything|weight|dry"),
    _sign("acute abdomen", _VOMIT, r"coffee|blood\w*|green|bile|stool|f(?:a)?eces|faecal|everything|black|head|rous\w*|drows\w*|urine|all day|(?:even|any|spoon of|sips? of|drop of) (?:the |a )?(?:\w+ of )?water|neck|stiff"),
    _sign("acute abdomen", r"stools?|motions?|bowels?|poo", r"black|tarry|tar|pitch|blood\w*|maroon|red (?:currant )?jelly", reach=70),
    _sign("acute abdomen", r"abdomen|belly|tummy|stomach", r"rigid|hard as|board|plank|guard\w*|distend\w*|like a drum|tense|(?:can't|cannot|couldn't|not) (?:be )?touch\w*"),
    _sign("acute abdomen", r"pain|ache|colic", r"right (?:lower|iliac|groin)|lower right|right side low|(?:low|lower|down|moved|moves|shifted|shifts|settle[sd]|gone|goes|went|wandered|travelled)(?: \w+){0,3} (?:on|to|in|at) the right|(?:low|lower|down) (?:down )?right|testic\w*|testis|scrotum|groin", r"sudden\w*|fever|vomit\w*|child|boy|walk|jump|hop"),
    _sign("a lethargic, feverish or dehydrated infant", _INFANT, r"weeks?|days?|newborn|neonate\w*|infants?|months", r"fever\w*|temperature|hot|burning|vomit\w*|letharg\w*|limp|floppy|yellow|jaundic\w*|sleepy|moan\w*|cold|blue|grey|not (?:feed|suck|drink|cry)\w*"),
    _sign("a lethargic, feverish or dehydrated infant", _INFANT, r"weak to|suck\w*|floppy|limp|letharg\w*|not (?:cry|feed|wake|suck|drink)\w*|(?:doesn't|does not|won't|didn't|can't|cannot|stopped|refus\w*) (?:to )?(?:be )?(?:cry|wake|woken|feed|suck|drink|tak)\w*|eyes (?:are |were )?(?:inside|sunk\w*|hollow)|no (?:tears|urine|wet)|dry (?:napp\w+|mouth|tongue)|sunk\w*|feed\w*|listless", r"weak|not|doesn't|won't|floppy|limp|letharg\w*|can't|cannot|didn't|stopped|refus\w*|no|dry|sunk\w*|hollow|inside|listless|does not"),
    _sign("a lethargic, feverish or dehydrated infant", r"urine|wee|nappy|nappies|water", r"no|little|less|scant\w*|not (?:pass\w*|made)|hasn't|stopped|since (?:yesterday|morning)|dry|hours|dark|nothing", r"pass\w*|swell\w*|vomit\w*|child|baby|infant|since|yesterday|hours|face|fever|pregnan\w+|diarrh\w*"),
    _sign("suicidal talk", r"(?:everybody|everyone|they|people|the family|my family|the world|all|you|children|wife|husband)", r"happier|better|relieved|easier|glad\w*|not miss", r"(?:if|when|once|without) (?:\w+ ){0,4}?(?:me|him|her|gone|not|dead|weren't|wasn't|around|disappear\w*|i)\b"),
    _sign("suicidal talk", r"want\w*|wish\w*|long\w*|plan\w*|think\w*|talk\w*|threat\w*|says?|said|prefer\w*|tired|speak\w*|thought\w*|dream\w*", r"to (?:die|disappear|vanish|end it|sleep forever|sleep for ever|not exist|be gone|be no more|hang|drown|jump)|hang\w* (?:him|her|my|them)self|dying by|ending (?:it|his|her|my|everything)|kill\w* (?:him|her|my|them)self|own life|not be (?:here|alive)"),
    _sign("suicidal talk", r"hurt|harm|drown|smother|shake|kill|throw|drop", r"baby|child|children|herself|himself|themselves|myself", r"might|may|will|wants?|afraid|fears?|thoughts?|urge|impulse|could|says?|voice|tells?"),
    _sign("meningitis signs", r"neck", r"stiff\w*|rigid\w*|arch\w*|bent back|thrown back|won't bend|can't bend|cannot bend|not bend\w*", ),
    _sign("meningitis signs", r"rash|spots?|patches|marks", r"fade\w*|blanch\w*|glass|purple|bruis\w*|disappear\w* (?:on|under|when)|pinprick"),
    _sign("meningitis signs", r"headache|head", r"worst|thunder ?clap|sudden\w*|out of (?:nowhere|the blue)|like a (?:blow|bomb)|burst\w*", r"life|ever|nowhere|blue|sudden\w*|instant\w*|seconds?|clap|bomb|neck|vomit\w*"),
    _sign("chest pain", r"chest|breast ?bone|heart|jaw|left (?:arm|shoulder)", r"pain\w*|ache\w*|aching|tight\w*|press\w*|weight|squeez\w*|crush\w*|heav\w*|burn\w*|grip\w*|band", r"arm|jaw|sweat\w*|breath\w*|stairs|walk\w*|exert\w*|grey|gray|pale|collaps\w*|faint\w*|smok\w*|vomit\w*|minutes|shoulder|climb\w*"),
    _sign("chest pain", r"(?:thirty|forty)[- ]?\w*|3\d|4\d", r"giddy|faint\w*|dizz\w*|black\w* out", r"pulse|heart|man|woman|old|age|block"),
    _sign("other signs that need a doctor soon", r"mouth|jaw", r"(?:doesn't|does not|won't|will not|can't|cannot|couldn't|could not|not|unable to) (?:be )?open\w*|lock\w*|clench\w*|trismus"),
    _sign("other signs that need a doctor soon", r"diabet\w+|sugar patient|insulin", _LIMB + r"|ulcer|sore|vomit\w*|drows\w*|breath\w*|sweet smell", r"black\w*|dark\w*|smell\w*|gangren\w*|infect\w*|numb\w*|ulcer\w*|vomit\w*|drows\w*|pus|fever|breath\w*|cold"),
    _sign("other signs that need a doctor soon", r"eyes?|vision|sight", r"sudden\w*|curtain|flash\w*|double|halo\w*|painful|acid|lime|chemical|hit|injur\w*|shadow", r"loss|lost|blind\w*|blurr\w*|see\w*|vision|sight|red|floaters|dim\w*|black|gone|splash\w*|half"),
    _sign("other signs that need a doctor soon", r"lump|mass|growth|swelling|nodule|knot|mole", r"breast|neck|armpit|groin|testic\w*|testis|abdomen|throat|skin|larynx|vocal|brain|tongue|lip|bowel", r"hard|grow\w*|grew|new|could be|may be|might be|painless|bleed\w*|fixed|drawn in|bigger|chang\w*|since|found|felt"),
    _sign("other signs that need a doctor soon", r"weight", r"los(?:t|es|ing|e)|drop\w*|fall\w*|going down|melt\w*", r"unexplain\w*|without (?:trying|reason|diet\w*)|kilos?|kg|pounds|stone|night sweats|fever|cough\w*|month\w*|appetite"),
    _sign("other signs that need a doctor soon", r"yellow\w*|jaundic\w*", r"eyes?|skin|whites|baby|newborn|urine", reach=45),
    _sign("serious infection", r"fever\w*|temperature", r"(?:weeks|fortnight|month|days)|crosses|above|over|10[2-6]|one (?:hundred (?:and )?)?(?:oh )?(?:two|three|four|five)|forty|travel\w*|africa|chemo\w*|does(?:n't| not) come down", r"not|crosses|mouth|rash|chill\w*|travel\w*|weight|cough\w*|chemo\w*|neck|confus\w*|spleen|yellow|urine|102|103|104|105"),
    _sign("serious infection", r"cough\w*|sputum|phlegm|spit\w*", r"blood\w*|rust\w*|night sweats|los\w* (?:of )?(?:\w+ )?weight|weight (?:loss|going)", reach=70),
    _sign("serious infection", r"cough\w*", r"(?:for|since|more than|over|past|of) (?:more than |over |about )?(?:\w+ (?:or \w+ )?)?(?:weeks|months)", reach=40),
    _sign("serious infection", r"bit(?:e|es|ten)?|stung|sting|scratch\w*", r"dog|cat|monkey|bat|snake|viper|cobra|krait|scorpion|spider|rat|fox|jackal|human"),
)  # fmt: skip

#: Words that send to care at once. What a sentence says besides them is then urgent by the lecturer's own word.
_SENDS = re.compile(
    r"\b(?:ambulance|casualty|a ?& ?e\b|(?:the |to )er\b|er,|emergenc(?:y|ies)|the emergency room|icu|ventilator|nine nine nine|999|911|112|108\b|blue light|"
    r"(?:go|goes|send|sends|sent|rush\w*|run|carry|carries|take|taken|bring|brought|straight|directly|off|needs?|belongs?|admit\w*|that's|that is|it's|this is|he is|she is|refer\w*)"
    r"(?: \w+){0,4}? (?:hospital|surgeon|maternity|theatre|casualty|emergency|ent|physician|specialist|psych|neurologist|cardiologist|paediatrician|pediatrician|doctor)"
    r"(?:[^.;?!]{0,40}\b(?:today|tonight|now|at once|immediately|same (?:day|night|hour)|that (?:day|night|hour|minute)|first|straight ?away|right away|within the hour))?|"
    r"(?:hospital|surgeon|doctor|x-?ray|ent|clinic)[^.;?!]{0,20}\b(?:today|tonight|at once|immediately|the same (?:day|night|hour|week)|that (?:same )?(?:day|night|hour|minute)|straight ?away|right away)|"
    r"(?:call|ring|phone|dial) (?:the |an |for )?(?:ambulance|help|emergency|family)|(?:do not|don't|never|not) (?:wait|sit (?:and|there|with)|leave (?:him|her|them) alone|discuss|let (?:him|her) leave)|"
    r"(?:isn't|is not|not|never) (?:a )?(?:homeopathic|homoeopathic|for (?:your|our|my|you)\b|(?:ours|yours|mine)\b|for (?:us|you and me)|a (?:conversation|case) for)|(?:,|:) (?:run|go)\b|"
    r"(?:that's|that is) (?:a )?(?:hospital|casualty|emergency|er|drip|sepsis|a drip|a bed|stroke|the surgeon)|(?:already|is) the hospital|no (?:debate|argument|discussion|second opinion))"
)
_SYMPTOM = re.compile(
    r"\b(?:pain\w*|ache|aching|swell\w*|swollen|fever\w*|temperature|bleed\w*|blood\w*|breath\w*|wheez\w*|vomit\w*|throw\w* up|stools?|urine|weak\w*|numb\w*|paraly\w+|floppy|limp|fits?|convuls\w+|"
    r"seizure\w*|rash|stiff\w*|swallow\w*|headache|vision|blind\w*|black|blue|pale|faint\w*|giddy|dizz\w*|confus\w+|drows\w+|sleepy|wak\w*|pulse|chest|neck|pupil\w*|sugar|toe|foot|abscess|"
    r"wound|burn\w*|sting|bite|bitten|poison\w*|swallowed|pregnan\w*|baby|infant|spotting|cramps?|pneumonia|asthma|diarrh\w*|dehydrat\w*|jaundic\w*|lump|suicid\w*|die|dying|hang\w*|hurt|kill\w*|"
    r"attack|cough\w*|stroke|mening\w+|sepsis|diphtheria|malaria|tb|diabet\w+|eye|eyes|mouth|tongue|lips?|throat|legs?|arms?|collaps\w*|unconscious|shiver\w*|sweat\w*)\b"
)
#: A list of the miasms, in which a recogniser may have written "psychosis" for sycosis.
MIASMS = re.compile(r"\b(?:psora|psoric|syphili\w+|sycosis|sycotic|miasm\w*|antipsoric\w*)\b")


def signs_in(low: str) -> list[tuple[str, int, int]]:
    """Condition and half-open characters of each sign told in one lower-case sentence."""
    found: list[tuple[str, int, int]] = []
    named: set[str] = set()
    for sign in SIGNS:
        if sign.name in named:
            continue
        span = _together(low, sign.groups, sign.reach)
        if span is not None:
            named.add(sign.name)
            found.append((sign.name, *span))
    return found


def _together(low: str, groups: tuple[re.Pattern[str], ...], reach: int) -> tuple[int, int] | None:
    """The nearest place where every group is met by words of its own."""
    places: list[list[tuple[int, int]]] = []
    for group in groups:
        here = [match.span() for match in group.finditer(low)]
        if not here:
            return None
        places.append(here)
    for first in places[0]:
        chosen = [first]
        for here in places[1:]:
            free = [span for span in here if all(span[1] <= s or e <= span[0] for s, e in chosen)]
            if not free:
                break
            chosen.append(min(free, key=lambda span: abs(span[0] - first[0])))
        else:
            start, end = min(s for s, _ in chosen), max(e for _, e in chosen)
            if end - start <= reach and not re.search(r"[.;?!] ", low[start:end]):
                return start, end
    return None


def sends_to_care(low: str) -> tuple[int, int] | None:
    """Half-open characters of a lower-case sentence that sends somebody with symptoms to medical care."""
    match = _SENDS.search(low)
    symptom = (
        None
        if match is None
        else next((s for s in _SYMPTOM.finditer(low) if s.end() <= match.start() or s.start() >= match.end()), None)
    )
    if match is None or symptom is None:
        return None
    return min(match.start(), symptom.start()), max(match.end(), symptom.end())
