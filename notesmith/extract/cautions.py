"""Places that need a caution: a dose, advice against care, an urgent condition, a claim of cure.

Each carries the reason, the usual advice, and a public source with its year. They cannot be switched off.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from notesmith.annotations import Caution, CautionKind
from notesmith.extract.prescriptions import Given, Said
from notesmith.extract.session import Session

#: Printed at the head of every published page and document.
STANDING_LINE = (
    "A record of what was taught in class, not medical advice. Nothing here implies that a remedy is effective. "
    "Do not delay, stop or replace medical care because of it. Prescribing is for licensed practitioners "
    "under local law. "
    "In an emergency call the local emergency number."
)

_WHO = "WHO, Safety issues in the preparation of homeopathic medicines, 2009"
_NHMRC = "NHMRC, Information Paper CAM02A, 2015"
_FDA = "FDA, Homeopathic Drug Products: guidance, 2022 (87 FR 75054)"
_FTC = "FTC, Enforcement Policy Statement on Marketing Claims for OTC Homeopathic Drugs, 2016 (81 FR 90122)"
_WHO_STAFF = "WHO staff statement on TB, malaria, HIV and infant diarrhoea, 2009 (press reports)"


@dataclass(frozen=True, slots=True)
class _Urgent:
    name: str
    pattern: re.Pattern[str]
    advice: str
    source: str = _NHMRC


def _urgent(name: str, words: str, advice: str, source: str = _NHMRC) -> _Urgent:
    return _Urgent(name, re.compile(rf"\b(?:{words})"), advice, source)


_NOW = "Needs emergency medical care at once; call the local emergency number."
_TODAY = "Needs to be seen by a doctor the same day."

#: Signs that need urgent medical care in ordinary emergency and first-aid teaching (common practice).
URGENT: tuple[_Urgent, ...] = (
    _urgent("breathing difficulty",
        r"(?:difficult\w*|trouble|cannot|can't|could not|couldn't|unable to|struggl\w+|gasp\w*|fight\w* for|"
        r"short\w*|laboured|labored|hard) (?:in |to |for |of |with )?(?:breath\w*|air)\b|breathing "
        r"(?:difficult\w*|trouble|was (?:bad|fast|difficult|laboured))|dyspn(?:o)?ea|breathless\w*|"
        r"suffocat\w+|chok\w+|status asthmaticus|(?:acute|severe|violent|bad) (?:attack of )?asthma|"

                r"asthma(?:tic)? attack|attack of asthma|breathing (?:that's |that is |was |is |got |became |"
                r"gets )?(?:fast|rapid|grunting|noisy)|(?:fast|rapid|grunting) breathing|(?:sucking|drawing|"
                r"pulling|going) in (?:below|under|between|of) the ribs|trouble (?:with )?breathing|"
                r"breathing troubles?|(?:can|could) hardly breathe|turn(?:s|ed|ing)? blue|blue lips|lips "
                r"(?:that (?:are|were|go) |\w+ )?(?:turn\w*|went|were|are|become|became|go) blue|cyanos\w+|"
                r"stridor|chest (?:was )?(?:going in|indrawing|retract\w*)|cannot lie (?:down|flat)|has to "
                r"sit up (?:to|for) breath|air hunger|croup|anaphyla\w+|swelling of (?:the )?(?:throat|"
                r"tongue|face and tongue)|oedema of (?:the )?(?:glottis|larynx)", _NOW),
    _urgent("chest pain", (
        r"chest pain|pain in (?:the |his |her )?(?:chest|heart)|(?:tight\w*|pressure|constrict\w+|heaviness|"
        r"squeez\w+|crushing|iron band)[^.;]{0,25}\b(?:chest|heart)\b|angina\w*|heart attack|myocardial|"
        r"cardiac (?:arrest|failure|asthma)|infarct\w*|radiat\w+ (?:down |to )(?:the )?left arm|(?:middle|"
        r"centre|center|left side) of (?:the |his |her )?chest|chest[^.;]{0,25}(?:jaw|arm|back)|(?:this|it) "
        r"(?:is|was) (?:the|his|her) heart|heart trouble|chest[^.;]{0,20}(?:going|goes|radiat\w+|extend\w+|"
        r"shoot\w+)[^.;]{0,15}left arm|coronary"
    ), _NOW),
    _urgent("stroke signs", (
        r"stroke|apoplex\w+|(?:sudden\w*|one[- ]sided|half of (?:the|his|her))[^.;]{0,25}(?:paralys\w+|"
        r"weakness of|numb\w*)|hemipleg\w+|hemipare\w+|(?:face|mouth) (?:is |was |has |had |went |"
        r"gone )?(?:droop\w*|pulled to|deviat\w+|fallen to)|slur\w+ (?:of )?(?:speech|words)|speech "
        r"(?:became|was|is|gets|got) (?:slurred|thick)|cerebral h(?:a)?emorrhage|facial palsy|bell's palsy"
    ), _NOW),
    _urgent("convulsion", (
        r"convuls\w+|seizure\w*|epilep\w+|fits?\b(?= (?:came|come|with|of|in|during|for|after|,|\.|and)|[,.]|"
        r"$)|febrile (?:fit|child|convulsion)|any fit|a fit\b|in a fit|fitting\b|eclamps\w+|status "
        r"epilepticus|tetanus|lockjaw|opisthoton\w*"
    ), _NOW),
    _urgent("sepsis or collapse", (
        r"seps\w+|septic\w*|blood poisoning|pyaemia|pyemia|gangren\w+|collapse[ds]?\b|unconscious\w*|coma\b|"
        r"comatose|(?:lost|losing|loss of) consciousness|stupor|cold sweat[^.;]{0,30}(?:collapse|pulse)|"
        r"pulse (?:was |is )?(?:thready|imperceptible|very weak)|shock\b(?! of| from (?:the )?(?:news|bad))|"
        r"puerperal fever|erysipelas|carbuncle|necro\w+|moribund|sinking (?:patient|condition)|high "
        r"fever[^.;]{0,30}(?:drowsy|confus\w+|delir\w+)"
    ), _NOW),
    _urgent("suicidal talk",
        r"suicid\w*|kill (?:himself|herself|themselves|myself)|end(?:ing)? (?:his|her|my|their|it) "
        r"(?:own )?(?:life|all)|tak(?:e|ing) (?:his|her|their|my) own life|want(?:s|ed|ing)? to die|"
        r"harm(?:ing)? (?:the |her |his )?(?:baby|child|himself|herself|themselves)|wish\w* (?:to die|for "
        r"death|she was dead|he was dead|(?:he|she|i) (?:were|was) dead)|(?:does not|doesn't|did not|didn't|"
        r"no longer|not) want(?:ed)? to live|(?:tired|weary|weariness) of life|loathing of life|life (?:is|"
        r"was) not worth|self[- ]harm|jump(?:ing)? (?:from|out of|off|in front|into)|"

                r"(?:hang|shoot|drown|throw|cut|poison)\w* (?:himself|herself|themselves|myself)|thoughts? "
                r"of (?:death|dying|ending)|better (?:off )?dead", (
                    "Talk of suicide is taken seriously: do not leave the person alone, get urgent "
                    "mental-health or emergency help."
                )),
    _urgent("meningitis signs", (
        r"mening\w+|stiff(?:ness)?(?: of| in)? (?:the )?neck|neck (?:was |is |became |went |gets |"
        r"gone )?(?:stiff|rigid)|rigid(?:ity)? (?:of )?(?:the )?neck|bulging fontanel\w*|(?:soft spot|"
        r"fontanel\w*)[^.;]{0,30}(?:bulg\w+|sunk\w*|tense)|stiff neck|(?:can't|cannot|couldn't|could not|"
        r"won't) be (?:woken|roused|wakened)|encephal\w+|hydrocephal\w*|photophobia with fever|bor(?:es|ing|"
        r"ed) (?:the |his |her )?head (?:in|into)|rash (?:that|which) (?:does|did|doesn't|didn't)(?: not)? "
        r"(?:fade|blanch|go|disappear|vanish)|shrill cry|cri encephalique|kernig\w*"
    ), _NOW),
    _urgent("acute abdomen", (
        r"acute abdomen|appendic\w+|perforat\w+|peritonit\w+|(?:abdomen|belly|stomach) (?:was |is |became |"
        r"went |gets )?(?:rigid|hard (?:as|like) (?:a )?board|board[- ]like)|(?:intestinal|bowel) "
        r"obstruction|strangulat\w+|intussuscept\w+|volvulus|ruptur\w+|pancreatitis|cholecystitis|vomit\w* "
        r"(?:of )?(?:blood|fa?ecal)|blood (?:in|with) (?:the )?vomit|h(?:a)?ematemesis|mel(?:a)?ena|black "
        r"tarry|renal colic|kidney stone|gall ?stone colic|ectopic|torsion"
    ), _NOW),
    _urgent("bleeding in pregnancy or heavy bleeding",
        r"(?:bleed\w*|h(?:a)?emorrhag\w+|spotting)[^.;]{0,40}(?:pregnan\w+|third month|miscarr\w+|abort\w+|"
        r"labou?r|delivery|placenta)|(?:pregnan\w+|weeks? pregnant|months? pregnant|"
        r"expecting)[^.;]{0,50}(?:bleed\w*|h(?:a)?emorrhag\w+|spotting)|threatened (?:abortion|miscarriage)|"
        r"miscarriage|abortion|post[- ]?partum h(?:a)?emorrhage|retained placenta|placenta pr(?:a)?evia|"
        r"flooding|profuse (?:bright red )?(?:bleeding|h(?:a)?emorrhage)|h(?:a)?emorrhage (?:profuse|bright|"
        r"from)|"

                r"(?:bleed\w*|h(?:a)?emorrhag\w+)[^.;]{0,20}(?:would not|wouldn't|does not|did not|didn't|"
                r"will not) stop|bleed\w* to death|coughing (?:up )?blood|h(?:a)?emoptysis|pre-?eclampsia|"
                r"baby (?:stopped|not) moving", _NOW),
    _urgent("a lethargic, feverish or dehydrated infant",
        r"(?:infant|baby|newborn|child|months? old|days? old)[^.;]{0,60}(?:letharg\w+|limp|(?:not|wasn't|"
        r"isn't|won't|stopped) (?:feed\w*|suck\w*|tak\w+ (?:the )?(?:breast|feeds?|bottle))|not (?:feeding|"
        r"sucking|waking|passing urine)|refus\w+ (?:the )?(?:feeds?|breast)|dehydrat\w+|sunken (?:eyes|"
        r"fontanel\w*)|floppy|drowsy|very hot|blue|convuls\w+|unrespons\w+|high fever|not respond\w*|will "
        r"not wake)|(?:letharg\w+|limp|floppy|dehydrat\w+|sunken fontanel\w*|drowsy)[^.;]{0,40}(?:infant|"
        r"baby|newborn|child)|"

                r"cholera(?! infantum)|cholera infantum|infant(?:ile)? diarrh(?:o)?ea|summer complaint|"
                r"marasmus|dehydrat\w+|sunken (?:eyes|fontanel\w*)|neonat\w+", _NOW, _WHO_STAFF),
    _urgent("serious infection", (
        r"tubercul(?:osis|ous mening\w*)|\btb\b|malaria\w*|\bhiv\b|aids\b|typhoid|typhus|pneumonia|"
        r"diphther\w+|cholera|dengue|rabies|hydrophob\w+|small ?pox|plague|yellow fever|measles with|"
        r"mastoid\w*|orbital cellulitis|quinsy|peritonsillar|osteomyelitis|septic arthritis|rheumatic fever|"
        r"nephritis|py(?:o|e)l(?:o)?nephritis|leptospir\w+|snake ?bites?|dog bites?|covid"
    ), "Needs medical diagnosis and treatment; homeopathy is not to be relied on here.", _WHO_STAFF),
    _urgent("injury or poisoning", (
        r"head injur\w*|concuss\w+|skull|fracture\w*|(?:road|car|traffic|motor ?cycle|bike) accident|"
        r"burn(?:s|t)? (?:of the|by|with|from) (?:fire|boiling|hot|acid|steam|oil|flame)|scald\w*|electric "
        r"shock|poisoning|overdose|swallowed (?:a |the |some )?(?:battery|poison|coin|bleach|kerosene)|"
        r"drown\w+|heat ?stroke|sun ?stroke|punctured wound|spinal injur\w*|eye injur\w*|deep (?:cut|wound)|"
        r"foreign body|bee sting[^.;]{0,30}(?:swell|breath)"
    ), _NOW),
    _urgent("other signs that need a doctor soon",
        r"blood in (?:the |her |his )?(?:stools?|urine|sputum|motion\w*)|h(?:a)?ematuria|passing blood|lump "
        r"in (?:the |her |his )?(?:breast|neck|testi\w+)|(?:cancer\w*|malignan\w+|carcinoma\w*|tumou?r\w*|"
        r"leuk(?:a)?emia|lymphoma|scirrh\w+|epithelioma\w*|sarcoma\w*|melanoma)|sudden (?:loss of (?:vision|"
        r"sight|hearing)|blindness)|(?:lost|losing) (?:his|her|the) (?:vision|sight)|jaundice|unexplained "
        r"(?:weight loss|fever)|losing weight rapidly|diabetic (?:coma|ketoacidosis)|ketoacidosis|"

                r"retention of urine|unable to (?:pass|urinate)|cannot pass urine|(?:no|not passed) urine|"
                r"sudden severe headache|worst headache|glaucoma|iritis|delirium(?! tremens)|delirium "
                r"tremens|psychosis|halluc\w+|hears? voices|anorexia nervosa|kidney failure|renal failure|"
                r"liver failure|cirrhosis|ascites|deep vein|thrombo\w+|embol\w+|swollen (?:calf|"
                r"leg)[^.;]{0,20}(?:pain|breath)", _TODAY),
)  # fmt: skip

_CARE = (
    r"(?:surger(?:y|ies)|operations?|operated|medicines?|medications?|tablets?|drugs?|antibiotics?|"
    r"steroids?|inhalers?|insulin|injections?|vaccin\w+|immuni[sz]ation\w*|allopath\w*|hospitals?|"
    r"hospitali[sz]ation|doctors?|specialists?|surgeons?|chemotherapy|chemo|radiation|radiotherapy|"
    r"dialysis|transfusions?|painkillers?|"
    r"anti-?\w+ics|antipyretics?|paracetamol|thyroxine|eltroxin|pressure tablets|bp tablets|scans?|"
    r"x-?rays?|biops(?:y|ies)|investigations?|referrals?|referred|physicians?|pills|caesarean|cesarean|"
    r"conventional (?:treatment|medicine|drugs?)|modern medicine|modern drugs|western medicine|doses? of "
    r"polio|shots?|jabs?|stents?|bypass|knife|cortisone|hydrocortisone|betamethasone|predniso\w+|aspirin|"
    r"ibuprofen|brufen|crocin|metformin|statins?|warfarin|lithium|chloroquine|quinine|ventolin|"
    r"salbutamol|hormon\w+|contracepti\w+|antacids?|sumatriptan|\w+(?:cillin|mycin|prazole|olol|pril|"
    r"sartan|oxacin)|blood pressure (?:tablets|pills)|check-?ups?|tests?|treatment from|drip|saline|"
    r"oxygen|psychiatrists?|psychiatric (?:drugs?|medicines?)|antidepressants?|sleeping pills|"
    r"nebuli[sz]er|nebuli[sz]ation|casualty|ambulance|er\b|icu)"
)
DISCOURAGES = (
    re.compile(
        r"\b(?:stop(?:ped|ping)?|throw(?:n|ing)? (?:away|out)|threw (?:away|out)|withdr[ae]w(?:n|ing)?|"
        r"discontinu\w+|give up|gave up|given up|leave(?: off)?|left off|discard\w*|avoid\w*|refus\w+|"
        r"reject\w*|skip\w*|cancel\w*|postpon\w+|delay\w*|taper\w*|wean\w*|cut (?:down|out)|come off|came "
        r"off|put away|flush\w*|drop(?:ped)?) (?:(?:all|any|the|his|her|your|their|my|that|this|these|those|"
        r"every|each|taking|giving|using|with|on|of|out|away|such|allopathic|strong|other|unnecessary|to|"
        rf"going|for|from|in|it|a|an|and|go) ){{0,5}}?{_CARE}\b"
    ),
    re.compile(
        r"\b(?:no need (?:of|for|to)|(?:do not|does not|did not|don't|doesn't|didn't|never|will not|won't|"
        r"should not|shouldn't|must not|need not|needn't|cannot|without|instead of|rather than|before|not|"
        rf"avoid|saved (?:her|him|them)? ?from|escape[ds]?|spared|against) (?:\w+ ){{0,6}}?(?:go(?:ing)? "
        r"(?:for|to|in for)|send(?:ing)?|take|taking|give|giving|need(?:s|ed)?|require[sd]?|refer(?:ring|"
        r"red)?|operate|rush(?:ing)?|run(?:ning)?|allow\w*|get(?:ting)?|do(?:ing)?|use|using|believe in|"
        r"depend(?:ing)? on|see(?:ing)?|touch|advise|call(?:ing)?|ask for|agree\w* (?:to|for)|listen to|"
        rf"trust\w*|waste \w+ on)) (?:\w+[, ]+){{0,6}}?{_CARE}\b"
    ),
    re.compile(
        r"\b(?:no need (?:of|for)|no|without(?: any)?|instead of|rather than|against|saved (?:her |him |"
        r"them )?from|escaped|spared|avoided|averted|unnecessary|useless|need not) (?:\w+ ){0,4}?(?:surgery|"
        r"operations?|antibiotics?|steroids?|vaccin\w+|immuni[sz]ation|allopath\w*|hospital\w*|insulin|"
        r"chemotherapy|inhalers?|painkillers?|allopathic \w+|conventional \w+|the knife|modern medicine|"
        r"injections?|surgeons?)\b(?! (?:worked|helped|had|history))"
    ),
    re.compile(
        rf"\b{_CARE}[^.;?!]{{0,50}}\b(?:(?:is not|are not|was not|were not|isn't|aren't|wasn't|weren't|not|"
        rf"never|no longer|hardly|won't be|will not be) (?:\w+ ){{0,2}}?(?:needed|required|necessary|called "
        rf"for)|(?:is|are|was|were|will be) (?:\w+ ){{0,3}}?(?:useless|unnecessary|harmful|poison\w*|"
        r"dangerous|suppressive|the (?:real )?(?:cause|culprit)|nonsense|not the answer|of no use|waste|"
        r"avoided|cancelled|postponed|stopped|withdrawn|thrown|tapered|bad|evil|the enemy)|only "
        r"(?:suppress\w*|palliat\w+|make|harm\w*)|(?:will|does|do|did) (?:only )?(?:more )?(?:harm|suppress|"
        r"nothing|damage|spoil)|suppress(?:es|ed)?|spoil(?:s|t|ed)?|damage[sd]?|ruin(?:s|ed)?|weaken(?:s|"
        r"ed)?|poison(?:s|ed)?|can (?:be )?(?:stop\w*|wait|avoid\w*|throw\w*)|should (?:be )?(?:stop\w*|"
        r"avoid\w*)|caused|causes|is responsible)"
    ),
    re.compile(
        r"\b(?:bad effects?|ill effects?|damage|harm|suppression|never well since|"
        rf"poison\w*)[^.;?!]{{0,25}}\b(?:of|from|by|since|after) (?:\w+ )?(?:{_CARE})\b"
    ),
    re.compile(
        r"\b(?:knife|surgeons?|allopaths?|allopathic doctors?|specialists?|hospitals?|doctors) (?:will|would|"
        r"just|only|always|want|wants|wanted|are|is|was|were)[^.;?!]{0,40}\b(?:but|cut|butcher|money|poison|"
        r"suppress|spoil|nothing|wrong|useless|business|fear|frighten|scare|ruin)"
    ),
    re.compile(
        r"\b(?:advis\w+|told|said|suggest\w+|fix\w*|plan\w*|recommend\w*|schedul\w+|posted for|listed for|"
        r"date (?:was )?(?:given|fixed))[^.;?!]{0,40}(?:surgery|operation|knife|hospital\w*|admission|"
        r"vaccin\w+|transplant|amputation|hysterectomy|tonsillectomy|removal)[^.;?!]{0,60}\b(?:but|and then|"
        r"i said no|refused|not needed|no need|avoided|cancelled|did not|didn't|never|gave|wait)"
    ),
    re.compile(
        r"\b(?:i|we|you) (?:said|told|tell|say|advised|ask(?:ed)?)[^.;?!]{0,25}\b(?:no (?:surgery|operation|"
        r"medicine|tablets?|antibiotics?|steroids?|injection|vaccin\w+|hospital)|not to (?:go|take|operate|"
        r"admit|vaccinate|use|give|continue))"
    ),
    re.compile(
        r"\b(?:homeopathy|homoeopathy|our (?:medicine|remedy|remedies|system)|this remedy|the remedy|\w+ "
        r"alone|it) (?:\w+ )?(?:alone )?(?:is|will be|was|are|can be) (?:enough|sufficient|all (?:you|she|he|"
        r"that|we) need\w*)|\b(?:replace|replaces|replaced|substitute for|does (?:the )?work of|instead of|"
        r"better than|safer than|superior to) (?:\w+ ){0,3}?(?:surgery|knife|operation|antibiotics?|"
        r"steroids?|insulin|vaccin\w+|allopath\w*|the surgeon|inhaler|chemo\w*|painkillers?)"
    ),
    re.compile(
        r"\b(?:vaccin\w+|immuni[sz]ation\w*)[^.;?!]{0,60}\b(?:autism|damage\w*|ruin\w*|avoid|not (?:give|"
        r"take|necessary|needed)|never|wait|skip|harm\w*|poison\w*|bad|after|since|ill|from)|\b(?:after|"
        r"since|from|against|anti) (?:the |this |that |a )?(?:vaccin\w+|immuni[sz]ation)|homeopathic "
        r"(?:vaccin\w+|prophyla\w+)|homoeoprophyla\w+|nosodes? (?:in place|instead) of"
    ),
    re.compile(
        r"\b(?:wait|try|give|keep (?:on )?(?:giving|waiting))[^.;?!]{0,40}\b(?:before|instead of|rather "
        r"than) (?:you )?(?:send\w*|rush\w*|call\w*|refer\w*|go\w*|tak\w+|operat\w+|hospital\w*|admit\w*|"
        r"surgery|surgical|seeing a)"
    ),
    re.compile(
        r"\b(?:do not|don't|never|no need to|need not) (?:be afraid|fear|panic|worry|rush|hurry|refer|send|"
        r"admit|call|operate)\b[^.;?!]{0,60}"
    ),
)  # fmt: skip
_PANIC_ONLY = re.compile(r"\b(?:do not|don't|never|no need to|need not) (?:be afraid|fear|panic|worry|rush|hurry)\b")
_MEDICAL_NEAR = re.compile(rf"\b{_CARE}\b|\bfever|emergency|acute|convuls|breath|casualty")

_CURE = re.compile(
    r"\b(?:cure[sd]?|curative|curing|curable|completely (?:gone|disappeared|dissolved|well|healed|"
    r"removed|vanished)|permanent(?:ly)? (?:cure\w*|gone|removed|relie\w+|well)|(?:100|hundred|cent) "
    r"per ?cent|100 ?%|miracle\w*|miraculous\w*|guarantee\w*|never fails?|will (?:certainly|surely|"
    r"definitely|always|never fail to) (?:cure|remove|dissolve|help|work|heal)|"
    r"(?:dissolve[sd]?|melt(?:s|ed)?|vanish\w*|disappear\w*|gone|shr[aiu]nk)[^.;?!]{0,30}\b(?:tumou?rs?|"
    r"stones?|fibroids?|cysts?|cancers?|warts?|growths?|polyp\w*|cataracts?|nodules?|lumps?)|"
    r"(?:tumou?rs?|stones?|fibroids?|cysts?|cancers?|growths?|polyp\w*|cataracts?|nodules?|lumps?|"
    r"diabetes|arthritis|asthma|psoriasis|eczema|epilepsy)[^.;?!]{0,40}\b(?:dissolv\w+|melt\w+|vanish\w*|"
    r"disappear\w*|(?:was|were|is|are|has|completely) gone|cured?|went away|reversed)|"
    r"works? like magic|magic(?:al)?(?: remedy)?|wonder (?:drug|remedy)|specific for|sure (?:shot|cure)|"
    r"saved (?:her|his|the|their) (?:life|leg|eye|tonsils|uterus|limb|kidney|child|baby)|restored|"
    r"totally well|free of the disease|complete (?:cure|recovery|remission)|reversed)\b"
)
_CURE_DENIED = re.compile(
    r"\b(?:law of|laws of|hering's (?:law|rule)|direction of|rules? of|not a|no|cannot|can't|never|don't|"
    r"do not|did not|didn't|will not|won't|not|nobody|incurable|obstacles? to|without) "
    r"(?:\w+ ){0,3}?(?:cure|cured|curing|guarantee|promise|claim)\b"
)


def find_cautions(session: Session, potencies: Sequence[Said], given: Sequence[Given]) -> tuple[Caution, ...]:
    found: list[Caution] = []

    def add(kind: CautionKind, reason: str, advice: str, source: str, start: int, end: int) -> None:
        found.append(Caution(kind, reason, advice, source, session.words(start, end), session.time(start, end)))

    covered: set[int] = set()
    for item in given:
        if item.potency_units is None and item.repetition_units is None:
            continue
        add("potency or dose", "A potency or dose as said in class.",
(
                "Recorded as stated; not a recommendation. Products labelled homeopathic are not approved by "
                "the FDA for safety or effect."
            ),
            _FDA, item.start, item.end)  # fmt: skip
        covered.update(range(item.start, item.end))
    for said in potencies:
        if said.start not in covered:
            add("potency or dose", "A potency or dose as said in class.",
                "Recorded as stated; low dilutions of toxic or contaminated sources can do harm." if _low(said.potency) else
(
                    "Recorded as stated; not a recommendation. Products labelled homeopathic are not "
                    "approved by the FDA for safety or effect."
                ),
                _WHO if _low(said.potency) else _FDA, said.start, said.end)  # fmt: skip
    for sentence in session.sentences:
        low = sentence.low
        for pattern in DISCOURAGES:
            match = next(iter(session.search(pattern, sentence.start, sentence.end)), None)
            if match is None:
                continue
            if _PANIC_ONLY.search(match[2][0]) and not _MEDICAL_NEAR.search(low):
                continue
            add("discourages care", "These words may be heard as advice against surgery, medicines, vaccination or referral.",

                    "Do not delay, refuse or stop medical care; changes to prescribed medicines are for the "
                    "doctor who prescribed them. "
                "Serious, chronic or possibly serious conditions should not be treated with homeopathy instead.",
                _NHMRC, match[0], match[1])  # fmt: skip
            break
        for urgent in URGENT:
            match = next(iter(session.search(urgent.pattern, sentence.start, sentence.end)), None)
            if match is not None:
                add("urgent condition", f"Mentions {urgent.name}.", urgent.advice, urgent.source, match[0], match[1])
        match = next(iter(session.search(_CURE, sentence.start, sentence.end)), None)
        if match is not None and not _CURE_DENIED.search(low):
            add("claim of cure", "A cure or lasting effect is stated without published proof.",

                    "A case told in class is not evidence of effect; no condition has been found with "
                    "reliable evidence that homeopathy is effective. "
                "Such claims need competent scientific evidence where they are advertised.",
                f"{_NHMRC}; {_FTC}", match[0], match[1])  # fmt: skip
    return tuple(sorted(found, key=lambda c: (c.words.start, c.kind, c.reason)))


def _low(potency: str) -> bool:
    if potency == "Q":
        return True
    digits = re.match(r"(\d+)([XDC])", potency)
    return bool(digits) and int(digits[1]) <= (12 if digits[2] in "XD" else 6)  # type: ignore[index]
