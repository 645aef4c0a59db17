"""Words that may be heard as advice against surgery, medicines, vaccination, tests or referral.

Built from parts: a word for care, a word that sends away or forbids, a word that belittles, and how near they stand
in one sentence. The parts are ordinary English; the list of cares follows what the statements of NHMRC 2015 and WHO
2009 warn of delaying. Words that forbid to stop care ("never stop the insulin") keep it going and are no advice against it.
"""

from __future__ import annotations

import re
from functools import lru_cache

#: Places, people, acts and medicines of medical care, each plain enough to stand by itself.
CARE = (
    r"(?:surger(?:y|ies)|surgical\w*|operations?|operat(?:e|ed|ing)|(?:the |a )?(?:surgeon's )?knife|scalpel|"
    r"hysterectomy|\w+ectom(?:y|ies)|\w+plast(?:y|ies)|transplants?|amputations?|bypass|stents?|pacemaker|stitches|"
    r"caesarean|cesarean|c-section|forceps|plaster(?: cast)?|antibiotics?|steroids?|cortison\w*|hydrocortisone|"
    r"betamethasone|predniso\w+|inhalers?|insulin|injections?|jabs?|shots?(?! sulph)|vaccin\w*|immuni[sz]\w+|boosters?|"
    r"polio drops|doses? of polio|mmr|tetanus|antitoxin|anti-?venom|serum|allopath\w*|hospital\w*|casualty|icu|"
    r"ambulance|emergency (?:room|department|ward|care)|the emergency|clinic of the specialist|nursing home|"
    r"(?:the|an) ent\b|specialists?|surgeons?|physicians?|consultants?|\w+ologists?|psychiatrists?|pa?ediatricians?|oncolog\w+|dentists?|"
    r"(?:skin|eyes?|ears?|nose|throat|heart|lungs?|bones?|brain|nerve|kidney|liver|chest|stomach|head|mind|women's|ladies|children's|baby|cancer|sugar|family|town|hospital) doctors?|gyna?e(?:s|cs?)?\b|gps?\b|general practitioners?|chemotherap\w+|chemo|radiation|radiotherap\w+|"
    r"dialysis|transfusions?|painkillers?|analgesics?|anti[- ]?(?:epileptic|convulsant|depressant|psychotic|coagulant|"
    r"hypertensive|histamine|malarial|viral|fungal|pyretic|inflammator\w+|acid|tb|retroviral|thyroid|rabies|diabetic)"
    r"(?: (?:treatment|drugs?|medicines?|tablets?|therapy))?s?|anticoagulants?|antidepressants?|antihistamines?|"
    r"antipyretics?|blood thinners?|paracetamol|acetaminophen|aspirin|ibuprofen|brufen|crocin|thyroxine|eltroxin|"
    r"metformin|statins?|warfarin|lithium|chloroquine|quinine|ventolin|salbutamol|digoxin|morphine|"
    r"\w{3,}(?:cillin|mycin|prazole|olol|pril|sartan|oxacin|cycline|azepam|azepine|triptan|dipine|setron|statin)|hormone\w*|"
    r"the pill\b|contracepti\w+|antacids?|sleeping (?:pills|tablets)|tranquilli[sz]ers?|nebuli[sz]\w+|oxygen|saline|"
    r"(?:calcium|iron|vitamin(?: \w)?|zinc|folic acid|fluoride|eye|ear|nose|nasal|thyroid|worm|tb|sugar|heart|pressure) (?:drops?|tablets?|pills?|capsules?|syrup|sprays?|powder|supplements?|drugs?)|"
    r"angiogra\w+|(?<!like )(?:the|a|any|that|measles|flu) needles?(?! (?:test|prick|pain))|lancets?|scanners?|supplements?|grommets?|implants?|braces|catheters?|hearing aids?|adrenaline(?: pens?)?|epi-?pens?|auto-?injectors?|beta[- ]?blockers?|stents?|pacemakers?|angioplast\w+|water tablets?|diuretics?|pessary|pessaries|arvs?|antiretrovirals?|art drugs|ors\b|oral rehydration|formula feeds?|nasal sprays?|"
    r"tonsils? (?:removed|out)|adenoids? (?:removed|out)|iv fluids?|the drip|drips?\b|scans?|x-?rays?|biops(?:y|ies)|mri|ct scan|sonograph\w+|ultrasounds?|blood tests?|"
    r"screening|mammogra\w+|pap smears?|investigations?|check-?ups?|second opinion|referrals?|referr\w+|admission|admitt?\w*|"
    r"an(?:a)?esthetics?|an(?:a)?esthesia|epidurals?|spinal (?:block|injection)|induction of labou?r|(?:psycho|physio)therap\w+|therapists?|counsell\w+|midwi(?:fe|ves)|"
    r"the chemist(?:'s)?|worm (?:tablets?|medicine)|root canal|(?:asthma )?(?:pump|puffer)s?\b|prescriptions?|(?:blood|lab|scan|test|x-?ray) reports?|nitrates?|sorbitrate|cough (?:syrup|mixture)s?|ointments?|(?:steroid|skin|medicated|their|his|her) creams?|cream from the (?:doctor|hospital)|"
    r"(?:modern|western|conventional|orthodox|regular|official|english) (?:medicines?|drugs?|treatments?|doctors?|care)|"
    r"medical (?:help|care|advice|treatment|attention)|psychiatric (?:drugs?|medicines?|treatment))"
)
#: Words that in this subject may mean the remedy too, so that they count only with a word that says whose they are.
_PLAIN = (
    r"(?:(?:(?:all|all the|any|other|his|her|their|your|my|those|these|that|such|strong|daily|prescribed|doctor's|hospital|"
    r"allopathic|english|chemical|bp|blood pressure|pressure|sugar|heart|cardiac|thyroid|fits?|epilepsy|sleeping|pain|fever|"
    r"asthma|tb|hiv|cancer|diabetes|diabetic|hormonal|psychiatric|regular|usual|other doctor's) )+"
    r"(?:medicines?|tablets?|pills?|drugs?|treatments?|medications?|capsules?|syrups?|puffs?|drops|doctors?|tests?)"
    r"|medications?|tablets|pills|doctors)"
)
_ANY = rf"(?:{CARE}|{_PLAIN})"
_SEND_AWAY = (
    r"(?:stop(?:s|ped|ping)?|walk(?:s|ed|ing)? (?:out|away)|ran away|ignor\w*|neglect\w*|tear|tore|burn(?:t|ed)? the|throw\w*|threw|thrown|withdr[ae]w\w*|discontinu\w*|giv(?:e|es|ing|en) up|gave up|"
    r"le(?:ave|aves|aving|ft)(?: off| out| aside)?|discard\w*|avoid\w*|refus\w*|reject\w*|skip\w*|cancel\w*|postpon\w*|"
    r"delay\w*|put(?:s|ting)? off|taper\w*|wean\w*|cut(?:s|ting)? (?:down|out|back)|reduc\w+|halv\w+|(?:come|comes|came|"
    r"coming|get|gets|got|take|took|taken|taking|goes|go|went|keep|kept|stay|stayed) off|(?:keep|kept|stay|stayed|run|"
    r"ran|keeping|staying|remain) (?:well |far )?(?:away|clear)|(?:do|did|done|doing|manag\w+|cop\w+|live|lived|got|get) "
    r"without|get rid|got rid|getting rid|put(?:ting)? (?:away|aside|down|in the (?:bin|dustbin|drawer))|flush\w*|drop(?:s|ped|ping)? "
    r"(?:the|his|her|their|your|all|that)|chuck\w*|bin(?:ned)?|ditch\w*|omit\w*|quit\w*|ceas\w+|forget(?: about)?|say no|"
    r"said no|turn(?:ed)? down|declin\w+|tear up|tore up|burn(?:t)? (?:the|her|his) prescription|wash(?:ed)? your hands of|"
    r"pour\w*|(?:get|gets|got|getting|take|took|taken|wean\w*|keep|kept) (?:him|her|them|you|me|people|patients|the \w+|your \w+) (?:off|away|out)|free (?:of|from)|freed? (?:him|her|them) (?:of|from)|sav(?:e|ed|es|ing) (?:\w+ ){0,3}from|spar(?:e|ed|es) (?:\w+ ){0,2}|"
    r"knock(?:s|ed|ing)? back|pass(?:es|ed|ing)? (?:up|on (?:the|his|her|their|any))|turn(?:s|ed|ing)? (?:down|away)|opt(?:s|ed|ing)? out of|forb(?:ad|ade|id|ids|idden|idding)|prohibit\w*|bann?(?:s|ed|ing)?|outlaw\w*|condemn\w*|denounc\w*|dodg\w+|shun\w*|sw(?:ear|ore|orn) off|"
    r"hid(?:e|es|ing|den)? (?:\w+ ){0,3}?from|back(?:s|ed|ing)? out of|pull(?:s|ed|ing)? out of|steer\w* clear|h[eo]ld(?:s|ing)? off|(?:get|gets|got|getting) out of|say(?:s|ing)? no to|chop(?:ped)? out|"
    r"(?:keep|keeps|kept|keeping|h[eo]ld|holds|holding|talk(?:ed|s)?) (?:[\w'’-]+ ){0,4}?(?:back |out )?(?:from|of)|escap(?:e|ed|es)|rescu\w+ (?:\w+ )?from|protect\w* (?:\w+ )?from the|beware of|be wary of|fear)"
)
_NEGATION = (
    r"(?:no|not|never|nobody|no one|none|nothing|nor|neither|without|cannot|hardly|\w+n['’]t|dont|didnt|wont|cant|shouldnt|"
    r"neednt|doesnt|instead of|rather than|in place of|in lieu of|before (?:any|the|going|you go|running|rushing)|"
    r"against|unnecessary|useless|needless|avoidable|"
    r"(?:no|little|hardly any|without) (?:need|point|use|sense|reason|necessity|question|call) (?:of|for|in|to)?|"
    r"(?:waste|wasting) (?:\w+ ){0,3}(?:on|with)|why (?:should|do|would|must|take|go|give|run|rush|use|bother|have|look|seek|call|wait|visit|pay|spend|risk|put|let|send)|"
    r"what (?:is the need|do (?:you|we|they) need|need (?:is there|have we)|use (?:is|are)|good (?:is|are|will)|for)|who needs|"
    r"do (?:we|you) (?:really )?need|too much|too many|enough of)"
)
_BETWEEN = (
    r"(?:(?!(?:and|but|then|so|until|unless|till|because|who|which|although|though|if|when|she|he)\b)[\w'’-]+,? ){0,7}?"
)
_BELITTLED = (
    r"(?:useless|unnecessary|needless|superfluous|harmful|harm\w*|poison\w*|toxic|dangerous|suppress\w*|palliat\w+|cause[sd]? (?:of|more|half|"
    r"most|many|all|the|autism|asthma|cancer)|(?:the|real|root) (?:cause|culprit)|to blame|nonsense|not the answer|"
    r"no answer|never the answer|of no use|no use|no good|(?:a )?waste|avoid\w*|cancelled|postponed|stopped|withdrawn|thrown|"
    r"tapered|given up|left off|bad|evil|the enemy|spoil\w*|damag\w*|ruin\w*|weaken\w*|destroy\w*|kill\w*|nothing to offer|"
    r"(?:last |the )*(?:refuge|resort) of|(?:in|into) the (?:bin|dustbin|gutter|drain)|(?:can|could|may) (?:safely )?(?:be )?"
    r"(?:stop\w*|wait|avoid\w*|throw\w*|left|omit\w*|spared|forgotten)|(?:need|needs|do|does|did|will|would|is|are|was|were) "
    r"(?:not|never|no longer) (?:be )?(?:\w+ )?(?:need\w*|requir\w*|necessary|remov\w*|done|given|taken|call\w*|help\w*|"
    r"cure\w*|work\w*)|(?:isn't|aren't|wasn't|weren't|not|no longer|hardly|won't be|never) (?:\w+ ){0,2}?(?:needed|required|"
    r"necessary|called for|wanted)|need not|needn't|masks?|drives? (?:it|the disease) in\w*|only (?:suppress\w*|palliat\w+|make|fill\w*|pump\w*|stuff\w*|dop(?:e|es|ed|ing)|drug(?:s|ged)?|"
    r"harm\w*|cover\w*|hide\w*|weaken\w*)|more harm|surrender|defeat|fictions?|myths?|inventions?|fairy ?tales?|toys?|superstitions?|lies?\b|swindle|hoax|scam|spreads? (?:it|the|cancer)|frighten\w*|scare\w*|money|business|butcher\w*|fear of|barren|sterile|lazy|thicken\w*|root of|starv\w+)"
)
_CUT = r"(?:cut|remov\w+|take out|taken out|operate|open(?:ed)? (?:him|her|them)? ?up|open(?:ed)? (?:the |his |her |your |my )?(?:head|skull|chest|belly|heart|body|breast|knee|back|stomach|eye)|burn(?:t|ed)? off|admit|vaccinate|immuni[sz]e|refer|hospitali[sz]e|inject|transfuse)"

PATTERNS = tuple(
    re.compile(pattern)
    for pattern in (
        # stop, throw away, come off, stay away from … care
        rf"\b{_SEND_AWAY} (?:[\w'’-]+,? ){{0,6}}?{_ANY}\b",
        rf"\b(?:put|chuck\w*|threw|throw\w*|flush\w*) (?:[\w'’-]+ ){{0,4}}?{_ANY} (?:away|out|in|into|down|off)\b",
        rf"\b(?:tell|told|tells|ask(?:ed)?|advis\w+|make|made|let|want\w*|persuad\w+) (?:[\w'’-]+ ){{0,3}}?(?:to )?(?:stop|leave|give up|"
        rf"come off|reduce|throw|discontinue|avoid|skip|refuse) (?:[\w'’-]+ ){{0,5}}?{_ANY}\b",
        # throw, burn, pour it away, whatever it is
        r"\b(?:thr[eo]w\w*|thrown|burn\w*|fl[iu]ng\w*|toss\w*|pour\w*|flush\w*|dump\w*|chuck\w*|bury|buried)(?: [\w'’-]+){1,9}? (?:in|into|on|onto|down|out|to|away) ?(?:the |of the |a )?(?:fire|(?:waste ?)?(?:paper ?)?(?:basket|bin)|bin|dustbin|trash|garbage|river|"
        r"sea|lake|toilet|drain|sink|gutter|window|well|dogs?|rubbish)\b",
        # nobody should sign, consent, agree
        r"\b(?:no|never|not|\w+n't|refus\w*)(?: [\w'’-]+){0,6}? (?:sign(?: for| the|ed)?|consent|agree) (?:for|to|the|it|that|this|any)\b",
        # no need of, don't go to, never allow, without, instead of … care
        rf"\b{_NEGATION} {_BETWEEN}{CARE}\b",
        rf"\b{_NEGATION} {_BETWEEN}(?:taking|take|took|need|use|want|on|of|for|with|touch|change|trust) {_PLAIN}\b",
        rf"\b(?:not|never|\w+n['’]t|dont|nobody|no need to|need not|refused? to|without) (?:[\w'’-]+ ){{0,4}}?{_CUT}\b(?! the (?:dose|remedy|"
        r"pain|story))",
        rf"\b{_CUT} [^.;?!]{{0,40}}\b(?:i|we|but i|but we) (?:did not|didn't|do not|don't|never|refused to|would not|wouldn't) (?:allow|"
        r"let|agree|permit|listen|hear)",
        # care … is useless, harmful, not needed, only suppresses
        rf"\b{CARE}\b[^.;?!]{{0,55}}\b{_BELITTLED}",
        rf"\b{CARE} (?:will|would|can|could|has|have|had|does|do) (?:\w+ )?(?:nothing|not help|never help|not cure|never cure|no effect)",
        # care offered, and no said to it; care left by whoever was to have it
        rf"\b(?:tell\w*|told|say|says|said|advis\w+|suggest\w*|offer\w*|want\w*|propos\w+) [^.;?!]{{0,20}}\b{CARE}\b[^.;?!]{{0,35}}\b(?:say|tell|told|said|answer\w*) (?:\w+ ){{0,2}}?no\b",
        rf"\b{_ANY}\b[^.;?!]{{0,75}}\b(?:she|he|they|people|folks?|i|we) (?:just |simply |has |have |had )?(?:left|leave|leaves|stopped|quit|dropped|threw|gave up|skipped|"
        r"refused|binned) (?:it|them|that|the lot|everything)\b",
        rf"\b{CARE}\b[^.;?!]{{0,60}}\b(?:do|does|did|doing|manage|managed|live|be|better|best|get by|get along|go|gone) (?:\w+ )?without\b(?! (?:pain|any pain|fever))",
        rf"\b{CARE}\b[^.;?!]{{0,60}}\b(?:do not|don't|dont|never) (?:go|do|sign|agree|submit|allow|undergo)\b",
        rf"\b{_ANY}\b[^.;?!]{{0,20}}\bonce (?:you|they|he|she|we|i) (?:start|begin)\w*,? (?:you|they|he|she|we|i) (?:can never|can't|cannot|can not|cant|never) (?:stop|leave|come off)",
        # harm from care
        rf"\b(?:bad effects?|ill effects?|side effects?|damage[sd]?|harm(?:ed)?|suppress\w*|never well since|poison\w*|spoil\w*|ruin\w*|"
        rf"victim\w*|dying|died|killed|fed up|drugged|cause[sd]?|brought on|result)[^.;?!]{{0,25}}\b(?:of|from|by|since|after|with) "
        rf"(?:[\w'’-]+ ){{0,2}}?(?:{CARE}|(?:the |these |those |so many |all these )?(?:drugs|medicines|tablets))\b",
        r"\b(?:dying|died|killed) (?:of|by|from) (?:the |his |her |their |these )?(?:drugs?|medicines?|treatment|tablets?)",
        # the remedy in place of care
        r"\b(?:replac\w+|substitut\w+ (?:for|of)|alternative to|do(?:es)? (?:the )?(?:work|job|duty) of|better than|safer than|stronger than|"
        r"superior to|as good as|equal to|in place of|takes? the place of|preferable to|equivalent of|homeopathic|homoeopathic|our (?:own )?)"
        r" ?(?:[\w'’-]+ ){0,3}?(?:surgery|knife|operation|antibiotics?|steroids?|insulin|vaccin\w*|immuni[sz]\w+|tetanus|allopath\w*|the "
        r"surgeon|inhaler|chemo\w*|painkillers?|hospital|prophyla\w+|shot|injection|antidepressants?|aspirin)\b",
        r"\b(?:homeopathy|homoeopathy|our (?:medicines?|remedy|remedies|system|pills|drops)|(?:this|the) remedy|[\w-]+ alone|[\w-]+ by itself)"
        r" (?:\w+ )?(?:alone )?(?:is|are|will be|was|can be) (?:quite |more than |always )?(?:enough|sufficient|all (?:you|she|he|that|we) need\w*)",
        r"\b(?:remedy|nosode|globules?|pills?|drops?|sulphur|thuja|ledum|arnica|belladonna|it) (?:\w+ )?(?:protects?|immuni[sz]es?) (?:against|"
        r"from|them|him|her|the)\b",
        r"\b(?:nosodes?|prophyla\w+) (?:protect\w*|instead|in place|is enough|are enough|works? better)",
        # vaccination
        r"\b(?:vaccin\w+|immuni[sz]ation\w*|inoculat\w+)[^.;?!]{0,60}\b(?:autism|damag\w*|ruin\w*|avoid|never|skip|harm\w*|poison\w*|bad|"
        r"since|ill|wait|not)\b|\b(?:after|since|from|against|anti|no|not|never|unvaccinated|without)[- ](?:the |this |that |a |any |single "
        r"|one )*(?:vaccin\w+|immuni[sz]\w+)|\bunvaccinated\b",
        # surgeons and hospitals belittled
        r"\b(?:knife|surgeons?|allopaths?|allopathic doctors?|specialists?|hospitals?|doctors|oncologists?) (?:will|would|just|only|"
        r"always|want|wants|wanted|are|is|was|were)[^.;?!]{0,40}\b(?:but|cut|butcher|money|poison|suppress|spoil|nothing|wrong|useless|"
        r"business|fear|frighten\w*|scare|ruin|kill)",
        r"\b(?:don't|do not|never|dont) (?:listen|go by|believe|obey|trust|follow|depend|rely|bother)[^.;?!]{0,30}\b(?:doctors?|them|hospital|"
        r"specialists?|surgeons?|reports?|tests?)\b(?=[^.;?!]*$)",
        # advised surgery and then not done
        r"\b(?:advis\w+|told|suggest\w+|fix\w*|plan\w*|recommend\w*|schedul\w+|posted for|listed for|date (?:was )?(?:given|fixed))"
        r"[^.;?!]{0,40}(?:surgery|operation|knife|hospital\w*|admission|vaccin\w+|transplant|amputation|\w+ectomy|removal|insulin|dialysis|"
        r"chemo\w*|steroids?)[^.;?!]{0,60}\b(?:i said no|refused|not needed|no need|avoided|cancelled|did not|didn't|never|wait|told her|"
        r"told him|told them|but (?:i|we) (?:said|told|gave))",
        r"\b(?:i|we|you) (?:said|told|tell|say|advised|ask(?:ed)?)[^.;?!]{0,30}\b(?:no (?:surgery|operation|medicines?|tablets?|antibiotics?|"
        r"steroids?|injections?|vaccin\w+|hospital|paracetamol|cream)|not to (?:go|take|operate|admit|vaccinate|use|continue|worry about the))",
        # worse is called a good sign, so that nobody goes
        r"\bhealing cris[ie]s\b",
        r"\b(?:told|tells|said to|says to|warn(?:ed|s)?) (?!me\b)(?:[\w'’-]+,? ){1,4}?(?:do not|don't|dont|not to|never) go\b(?! (?:near|out|up|down|home|alone|to (?:bed|sleep|school|work)))",
        # waiting before sending
        r"\b(?:wait|try|give|keep (?:on )?(?:giving|waiting))[^.;?!]{0,40}\b(?:before|instead of|rather than) (?:you )?(?:send\w*|rush\w*|"
        r"call\w*|refer\w*|go(?:es|ing)? to|tak\w+ (?:him|her|them|the child)|operat\w+|hospital\w*|admit\w*|surgery|surgical|seeing a)",
        r"\b(?:do not|don't|dont|never|no need to|need not|no hurry to) (?:be afraid|fear|panic|worry|rush|hurry|run)\b[^.;?!]{0,60}"
        r"(?:hospital|doctor|refer|send|admit|surg|operat|fever|fit|breath|emergency|casualty|ambulance|specialist)",
        r"\b(?:do not|don't|dont|never|no need to|need not) (?:refer|send|admit|call|operate|hospitali[sz]e|vaccinate)\b",
        # care put on the shelf, let go, sent fishing; a remark on whom it is for
        rf"\b(?:leave|leaves|left|put|puts|keep|keeps|kept|stay|stays|hide|let) (?:it|them|that|those|(?:[\w'’-]+ ){{0,4}}?{_ANY}|(?:the |that |those |his |her |your )(?:[\w'’-]+ )?(?:pump|syrup|tablets?|pills?|drops?|creams?|tubes?))"
        r" (?:[\w'’-]+ ){0,2}?(?:on|in|at|to) (?:the |her |his |your |its |their )?(?:shelf|shelves|cupboard|drawer|packet|box|pharmacy|chemist|fridge|glove ?box|cabinet|rack)\b",
        rf"\b{_ANY}\b[^.;?!]{{0,60}}\b(?:can|could|may|should|let it|let them) (?:\w+ )?(?:stay|remain|rest|sleep|wait) (?:on|in|at) (?:the |her |his |your |its )?(?:shelf|cupboard|drawer|packet|box|pharmacy|chemist|fridge|cabinet|rack)\b",
        rf"\blet(?:s|ting)? (?:[\w'’-]+ ){{0,2}}?(?:{_ANY}|(?:the|that|this) (?:tablet|pill|drop|syrup|medicine)s?) (?:\w+ )?(?:go|pass|stay|wait|sleep|rest|lie|expire|be)\b(?! (?:taken|given|done|on with|decided))",
        rf"\b{CARE} (?:\w+ )?(?:can|could|may) (?:\w+ )?(?:go (?:fishing|home|away|to sleep|on (?:a )?holiday|hang)|sleep|rest|whistle|keep (?:his|her|its|their))\b",
        rf"\b{CARE}(?:'s| is| are|'re) (?:\w+ )?(?:only |just |a thing )?for (?:the )?(?:old|weak|rich|cowards?|lazy|fools?|stupid|impatient|dying|those|people who|others)\b",
        rf"\b{CARE}\b[^.;?!]{{0,60}}\b(?:so|and|just) (?:you )?(?:refuse|stop|leave|throw|bin|skip|avoid|drop|burn) (?:it|them|all|everything|the lot)\b",
        r"(?<!the )(?<!a )\b(?:bin|chuck|ditch) (?:that|your|those|all that)\b",
        # who is cut or looked into is spoilt by it
        r"\b(?:girl|boy|woman|man|child|mother|patient|body|one|he|she|you|breast|belly|head|heart|knee|womb|chest|who|they|throat|back|nose|eye|ear)(?: (?:who|that|is|was|are|once|has been|have|had|gets?|got|been))* "
        r"(?:cut|opened|operated|drilled|injected|vaccinated)\b[^.;?!]{0,55}\b(?:never|no longer|not|won't|forget\w*|mad|barren|dead|dies?|ruin\w*|weak\w*|spoil\w*|lame)\b",
        r"\b(?:put(?:s|ting)?|push(?:es)?|stick(?:s|ing)?|enters? with|goes in with) (?:the |a |that |their |his )?(?:camera|tube|needle|wire|pipe|scope|catheter|machine|knife|drip)s?\b[^.;?!]{0,55}\b(?:never|not|no longer|won't|ruin\w*|dies?|dead|kill\w*|feet|worse|spread\w*)\b",
        r"\b(?:machine|scanner|x-?rays?|rays?|scan|needle|biopsy|injections?|vaccines?|jabs?|surgery|knife|operation|mammogram)s? (?:\w+ )?(?:puts?|brings?|brought|gives?|gave|makes?|made|spreads?|wakes?|burns?|caused?)\b[^.;?!]{0,30}\b(?:cancers?|tumou?rs?|disease|flu|autism|eczema|asthma|barren|brain|mad|weak|sick)\b",
        r"\b(?:unnecessary|needless|useless|pointless) (?:holes?|cuts?|tests?|scars?|scans?|drugs?|needles?|tablets?|medicines?|operations?|interventions?)\b",
        r"\bthey (?:just |only |always )+(?:want to )?(?:cut|operate|open|inject|drug)\b",
        r"\b(?:hole|cut|scar)s? (?:that |which )?they (?:make|made|cut)\b[^.;?!]{0,40}\b(?:never|not|won't)\b",
        r"\bthe (?:operating )?(?:table|slab|theatre|ward|needle|drip|knife) (?:will|would|can|could) (?:only )?(?:finish|kill|ruin|end|be the end|starve|spoil|break|take)\b",
        # kept at home, away from the table, told to wait it out
        r"\b(?:keep|keeps|kept|keeping)(?: [\w'’-]+){1,4}? (?:away from|off|out of|from) the (?:operating )?(?:table|slab|theatre|wards?)\b",
        r"\b(?:kept|keeping) (?:[\w'’-]+ ){1,4}?(?:at home|in bed|home) (?:for )?(?:\w+ ){0,2}(?:days?|weeks?|nights?|hours?)\b",
        r"\b(?:tell|told|tells|telling|advis\w+|asked?) (?:the |her |his |a |my |our )?(?:\w+ )?(?:mothers?|fathers?|parents|family|woman|women|man|husband|wife|him|her|them|patients?|people|grandmother) to (?:wait|sit|stay (?:at )?home|stay in bed|hold on|hang on|sleep on it)\b",
        r"\b(?:wait(?:ed|ing)?|sit(?:ting)?|sat|rid(?:e|ing)|rode|sweat(?:ing)?) (?:it|this|that|him|her) out\b",
        r"\b(?:better|best) (?:to )?(?:leave|let) (?:it|him|her|them|that|the \w+) (?:alone|sleep\w*|asleep|be|lie)\b",
        rf"\b{CARE}\b[^.;?!]{{0,90}}\b(?:let's|let us|do|need|must|should)(?: not|n't) (?:hurry|rush)\b",
        r"\bleave (?:him|her|them|it|the (?:child|boy|girl|baby|old \w+|man|woman)) to (?:me|us|the (?:lady|herbs?|remedy|drops|globules|pills)|nature|god|homoe?opathy|time)\b",
        r"\b(?:hang|hanging|hold|holding|keep|keeping|cling)(?: on)?(?: to)? (?:his|her|your|their|my|those|the) (?:own )?(?:gall ?bladder|tonsils?|womb|uterus|appendix|adenoids?|ovar\w+|prostate|thyroid|spleen|wisdom t\w+)\b",
        # nobody comes back from it; who is touched by it stays deaf or lame; "so don't give"
        r"\b(?:tubes?|drips?|hospitals?|theatre|(?:operating )?table|icu|ventilator|oxygen|machine|knife|casualty|ward|injections?|needles?|surgery|operations?)\b[^.;?!]{0,50}\b(?:they|you|he|she|people|nobody|no one|none|who)(?: \w+){0,2}? (?:(?:do |does |will |can)?(?:not|n't|never)|don't|doesn't|won't|never|cannot|can't|ever)? ?(?:come|comes|came|return|returns|returned|walk|walks|wake|wakes|get|gets|go) (?:back|out|again|up|home|alive)\b",
        r"\b(?:tubes?|drips?|hospitals?|theatre|(?:operating )?table|icu|ventilator|knife|casualty)\b[^.;?!]{0,50}\b(?:(?:do|does|did|will) ?(?:not|n't)|don't|doesn't|won't|never) (?:return|come back|survive|wake up)\b",
        rf"\b(?:doctors?|surgeons?|hospitals?|{_CUT}|knife|needle)\b(?: \w+){{0,4}} (?:pierc\w+|cut|cuts|open|opens|opened|touch\w*|remove[sd]?|operate[sd]?)?(?: \w+){{0,2}} ?(?:remains?|stays?|becomes?|goes|go|turns?) (?:deaf|blind|lame|barren|weak|dumb|stupid|sick|mad)\b",
        rf"\b(?:{_ANY}|(?:fever|cough|iron|worm|pain) (?:syrups?|tablets?|drops?|medicines?))\b[^.;?!]{{0,75}}\b(?:so |then |therefore |please )?(?:do not|don't|dont|never) (?:give|take|use|touch|buy|accept|swallow)(?: (?:it|them|any|that))?(?=$|[.;?!,]| (?:and|i|he|she|they|we|then|but|my|the)\b)",
        rf"\b(?:{_ANY})\b[^.;?!]{{0,75}}\bso (?:you )?(?:leave|stop|refuse|throw)(?: (?:it|them|all))?(?: (?:in|within|from|on) (?:one|a|the|two|this) (?:day|week|moment|spot)| today| at once| now|$)",
        rf"\b{_ANY} (?:\w+ ){{0,4}}?(?:is |are |will |does |do |only )?(?:makes?|making|gives?|giving|brings?|caus\w+|breeds?|feeds?) (?:the |a |you |your )?(?:cancers?|tumou?rs?|kidneys? (?:\w+ )?(?:stone|fail|rot)\w*|liver|autism|asthma|blindness|deafness|madness|impoten\w+|infertil\w+|clots?)\b",
        # fever and fits to be left alone
        r"\b(?:do not|don't|dont|never|no need to|need not) (?:\w+ ){0,2}?(?:bring|lower|suppress|reduce|control|cool)\b[^.;?!]{0,25}"
        r"(?:fever|temperature|it|down|eruption|discharge|fit)[^.;?!]{0,40}(?:tablets?|paracetamol|medicines?|drugs?|crocin|sponging)",
        r"\bfever is (?:a|your|our) friend",
    )
)

#: Most sentences have no word of care; what begins with one is then not tried at every word.
_CARED = re.compile(rf"\b{_ANY}\b")
_BEGINS_WITH_CARE = tuple(pattern.pattern.startswith((rf"\b{CARE}", rf"\b{_ANY}")) for pattern in PATTERNS)

#: Words that speak ill of a thing, or set another in its place, however they are joined with it.
_ILL = re.compile(
    r"\b(?:barren|sterile|lazy|thicken\w*|never (?:\w+ )?again|(?:doctor|surgeon|hospital|company)(?:'?s)?'? (?:wife|car|house|villa|pocket|profit|son|yacht)|surrender|defeat|fictions?|myths?|invention|fairy ?tales?|superstition|swindle|hoax|scam|going to (?:put|start|operate|admit|cut|remove)|pour\w*|sink|saved|give me|chance|sick|sicker|what (?:started|caused|did|brought)|(?:keep|kept|stay) [^.;?!]{0,20}out|sin|crime|criminal|crutch\w*|curse|crazy|mad|madness|foolish|fool\w*|stupid|idiot\w*|mistake\w*|blunder|wrong|evil|enemy|trap|cheat\w*|"
    r"fraud|loot\w*|money|business|slave\w*|addict\w*|depend\w*|habit\w*|burden|price|suffer\w*|victim\w*|pay for|eats?|eating|ate|burns?|burnt|"
    r"kills?|killed|killing|die|died|dies|death|poison\w*|toxi\w*|harm\w*|damage\w*|destroy\w*|ruin\w*|spoil\w*|weak\w*|suppress\w*|inside|inward\w*|"
    r"drive\w* (?:it|the)|push\w* (?:it|the)|worse|worsen\w*|useless|unnecessary|needless|superfluous|futile|waste\w*|nothing|nobody|none|never|no such|no (?:use|need|"
    r"point|value|role|place)|without|instead|rather|than|not (?:necessary|needed|required|believe|trust|work|help|cure|the answer|for us)|only "
    r"(?:palliat\w+|mask\w*|hide|cover|temporar\w+)|temporar\w+|refus\w*|reject\w*|avoid\w*|ignor\w*|throw\w*|threw|dustbin|bin|stop|stopped|halv\w+|"
    r"half|reduc\w+|cut|cuts|skip\w*|miss(?:ed)?|cancel\w*|postpon\w*|delay\w*|wait|against|allergic|afraid|fear\w*|scare\w*|fright\w*|unlucky|"
    r"regret\w*|pity|sorry|alas|unfortunately|hate\w*|laugh\w*|can (?:he|she|they|a|the) \w+ do|mean(?:s)? (?:nothing|little)|last resort|better than|side effects?)\b"
)
#: Words that keep care going, send to it, or tell it as plain history.
_KEEPS = re.compile(
    r"\b(?:(?:his|her|their|the|own) (?:own )?(?:\w+ologist|physician|doctor|surgeon|specialist|gp|consultant|paediatrician) (?:\w+ )?(?:reduced|stopped|tapered|"
    r"decided|changed|withdrew|decides|will|asked|advised)|(?:did not|didn't|never|not) (?:stop|touch|change)|not stopped|send (?:him|her|them|the|to|such|it)|sent (?:him|her|them|the|to|by|for)|refer(?:red)? (?:him|her|them|the|to|such|at|by)|must (?:go|be seen|be sent|"
    r"be shown|be operated|continue|take|see)|should (?:go|be seen|be sent|be under|be shown|continue|see|be referred)|needs? (?:to (?:go|be|see)|a |an |the |"
    r"surg\w*|antibiot\w*|hospital\w*)|continu\w+|go(?:es|ing)? on (?:with|taking)|went on (?:with|taking)|keep (?:on )?taking|kept (?:on )?taking|carry on|along with|"
    r"as (?:told|advised|prescribed)|under (?:the|his|her)|ask (?:the|his|her|your|their)|with (?:the|his|her) (?:doctor|physician|surgeon)'?s|own doctor|rush\w*|"
    r"ring|rang|call(?:ed)? (?:the|an) ambulance|admitted|was admitted|first|at once|immediately|indispensable|life[- ]?saving|necessary and|after (?:the |an |his |her )?(?:operation|surgery)"
    r"|was (?:given|taking|on|put|started|using|done|operated|repaired|drained)|had (?:taken|been|used|tried|had)|has (?:been|taken)|were (?:given|going)|started (?:him|her|on)|showed|shown|taken for)\b"
)
_CARE_WORD = re.compile(rf"\b(?:{CARE}|(?:the|these|those|strong|chemical) (?:drugs?|medicines?|tablets?))\b")
_NOT_ME = re.compile(r"\b(?:do not|don't|never) \w+ (?:at |near |to |with )?me\b")
_OF_CARE = re.compile(rf"\b(?:{_ANY}|{_CUT})\b")
_NEAR_CHARS = 60
_APART_CHARS = 120


#: A change made by the doctor whose it is to make.
_BY_THEIR_DOCTOR = re.compile(
    r"\b(?:his|her|their|the|own) (?:own )?(?:\w+ologist|physician|surgeon|specialist|gp|consultant|paediatrician|family doctor|chest physician)(?:'s)? "
    r"(?:\w+ )?(?:advice|reduced|stopped|tapered|decided|changed|withdrew|lowered|discharged|agreed)\b"
)
#: "Never stop the insulin", "nobody should throw away the inhaler": forbidding to stop care keeps it going.
_FORBIDS_STOPPING = re.compile(
    rf"\b(?:never|not|nobody|no one|none of you|\w+n['’]t|dont)(?: (?:ever|to|tell|ask|let|you|him|her|them|people|a|the|patients?|anyone|anybody|should|must|may|can|just|"
    rf"dare|think of|go and)){{0,4}} {_SEND_AWAY} (?!at )(?:[\w'’-]+ ){{0,6}}?{_ANY}\b(?!(?: \w+)? (?:is|are|was|were) (?:the|a|bad|poison|harm))"
)
#: A modality: what comes after an act of care, not a word against it.
_TAUGHT_AFTER = re.compile(
    rf"\b(?:worse|better|aggravat\w+|ameliorat\w+)(?: [\w'’-]+){{0,2}}? (?:after|from|since|by|for|with) (?:(?:the|a|an|every|any|having|being) )?{CARE}\b"
)
_ONE_SELF = re.compile(r"\b(?:i|we|our|my|me|you)\b")


#: "Stopping suddenly is dangerous", "that is for whoever prescribed them".
_WARNS_OF_STOPPING = re.compile(
    r"\b(?:stopping|leaving|withdrawing|skipping|coming off|cutting)\b[^.;?!]{0,40}\b(?:dangerous|risky|unsafe|harmful|kills?|can kill)\b|\b(?:whoever|who) prescribed\b"
)


def keeps_others_away(low: str) -> bool:
    """Whether lower-case words keep people away from the one who speaks, as patients do ("do not touch me"), with no word of
    medical care."""
    return _NOT_ME.search(low) is not None and _OF_CARE.search(low) is None


def warns_of_stopping(text: str) -> bool:
    """Whether a lower-case sentence warns of stopping a treatment, forbids it, or leaves it to the prescriber."""
    return bool(_WARNS_OF_STOPPING.search(text) or _FORBIDS_STOPPING.search(text))


_CONDITION = re.compile(r"\b(?:if|unless|until|till|why|when|as long as|because)\b[^,.;]*$")


def _blotted(match: re.Match[str]) -> str:
    """Letters made unreadable, every word and place kept; not where the denial is itself a condition or a question."""
    if _CONDITION.search(match.string[: match.start()]):
        return match[0]
    return re.sub(r"\S", "_", match[0])


def discouraging_place(text: str) -> re.Match[str] | None:
    """The words of a lower-case sentence that may be heard as advice against care, None where there are none.

    First the patterns above; then any care beside a word that speaks ill of it, unless the sentence keeps care going.
    """
    return next(iter(discouraging_places(text)), None)


@lru_cache(maxsize=8192)
def discouraging_places(text: str) -> tuple[re.Match[str], ...]:
    """All such places of a sentence, in order, well apart from each other: without stops a sentence may be very long."""
    found: list[re.Match[str]] = []
    while (match := _first_place(text)) is not None:
        if all(abs(match.start() - one.start()) > _APART_CHARS for one in found):
            found.append(match)
        text = text[: match.start()] + re.sub(r"\S", "_", match[0]) + text[match.end() :]
    return tuple(sorted(found, key=lambda one: one.start()))


def _first_place(text: str) -> re.Match[str] | None:
    if _BY_THEIR_DOCTOR.search(text) and not _ONE_SELF.search(text):
        return None
    for harmless in (_FORBIDS_STOPPING, _TAUGHT_AFTER):
        text = harmless.sub(_blotted, text)
    cared = _CARED.search(text) is not None
    for pattern, begins in zip(PATTERNS, _BEGINS_WITH_CARE, strict=True):
        if (cared or not begins) and (match := pattern.search(text)) is not None:
            return match
    if _KEEPS.search(text):
        return None
    for match in _CARE_WORD.finditer(text):
        if _ILL.search(text, max(0, match.start() - _NEAR_CHARS), min(len(text), match.end() + _NEAR_CHARS)):
            return match
    return None
