"""Word lists the rules share: body parts by chapter, sensations, moods, modalities, clinical words.

Written for this tool from common clinical English; chapters follow the order of Kent's Repertory (1908).
The lists decide whether a sentence speaks of symptoms at all; which rubric it means is the vocabulary's part.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files

_CHAPTER_WORDS: dict[str, str] = {
    "mind":(
        "mind mental emotion emotions emotional emotionally mood moods temperament disposition memory "
        "intellect psyche"
    ),
    "vertigo": "vertigo giddiness giddy dizzy dizziness",
    "head":(
        "head headache headaches migraine migraines scalp forehead occiput occipital vertex temples temple "
        "hair dandruff brain hemicrania"
    ),
    "eye": "eye eyes eyelid eyelids lids conjunctiva conjunctivitis stye styes lachrymation cornea pupils pupil",
    "vision": "vision sight photophobia",
    "ear": "ear ears otitis otorrhoea earache tinnitus",
    "hearing": "hearing deafness",
    "nose":(
        "nose coryza nostril nostrils sneezing smell catarrh sinus sinusitis epistaxis polyp polypi "
        "nosebleed rhinitis"
    ),
    "face": "face cheek cheeks lips lip chin jaw complexion facial acne",
    "mouth": "mouth tongue saliva salivation taste gums gum aphthae breath",
    "teeth": "teeth tooth dentition toothache teething dental",
    "throat": "throat tonsil tonsils tonsillitis pharynx swallowing swallow uvula quinsy",
    "external-throat": "neck thyroid goitre goiter",
    "stomach":
        "stomach thirst thirstless thirstlessness thirsty appetite hunger hungry nausea vomiting vomit "
        "vomits retching eructation eructations belching heartburn "

        "gastric dyspepsia indigestion acidity waterbrash craving cravings craves desire desires desire "
        "aversion aversions averse digestion epigastrium hiccough hiccups",
    "abdomen":(
        "abdomen abdominal belly bloating bloated flatulence flatus gas colic liver spleen umbilicus navel "
        "bowels intestines hernia rumbling distension"
    ),
    "rectum":(
        "rectum anus anal constipation constipated diarrhoea diarrhea piles haemorrhoids hemorrhoids fissure "
        "fistula worms dysentery"
    ),
    "stool": "stool stools motion motions",
    "bladder": "bladder urination urinating urinate cystitis micturition enuresis bedwetting",
    "kidneys": "kidney kidneys renal ureter calculus",
    "prostate": "prostate",
    "urethra": "urethra gonorrhoea",
    "urine": "urine albumin sediment",
    "genitalia":
        "menses menstrual menstruation menstruating period periods leucorrhoea leucorrhea uterus uterine "
        "ovary ovaries ovarian vagina vaginal "

        "testes testicle testicles penis scrotum dysmenorrhoea labour pregnancy climacteric menopause "
        "menopausal menarche prolapse genitals genitalia sexual impotence semen",
    "larynx": "larynx voice hoarseness hoarse trachea laryngitis croup",
    "respiration":(
        "respiration breathing breathless breathlessness asthma asthmatic dyspnoea dyspnea wheezing wheeze "
        "suffocation"
    ),
    "cough": "cough coughing coughs",
    "expectoration": "expectoration sputum phlegm mucus",
    "chest":(
        "chest heart palpitation palpitations lungs lung bronchitis pneumonia mammae breast breasts nipple "
        "axilla pleurisy cardiac"
    ),
    "back": "back spine spinal sacrum sacral lumbar coccyx cervical scapula backache lumbago",
    "extremities":
        "extremities limbs limb leg legs arm arms foot feet hand hands finger fingers toe toes knee knees "
        "joint joints shoulder shoulders hip hips "

        "ankle ankles wrist wrists elbow thigh calf calves sole soles palm palms nail nails sciatica "
        "arthritis rheumatism rheumatic gout muscle muscles tendon",
    "sleep":(
        "sleep sleepless sleeplessness insomnia dream dreams dreaming sleepy yawning drowsy drowsiness "
        "sleeping nightmare nightmares sleeps"
    ),
    "chill": "chill chills rigor shivering",
    "fever": "fever fevers feverish temperature",
    "perspiration": "perspiration sweat sweats sweating perspires sweaty",
    "skin":
        "skin eruption eruptions eczema psoriasis urticaria wart warts itching itch itches boil boils "
        "abscess ulcer ulcers herpes rash ringworm "

        "blister blisters vesicles crack cracks cracked condylomata moles mole keloid scar scars suppuration "
        "pus acne pimples",
    "generalities":
        "chilly hot thermal weather cold warm warmth heat weakness weak debility emaciation obesity "
        "convulsions convulsion faintness fainting anaemia "

        "anemia dropsy haemorrhage hemorrhage bleeding bleeds glands gland trembling fatigue tired "
        "exhaustion exhausted tumour tumours cancer growths lean thin fat flabby "
    "periodicity left-sided right-sided sides side collapse swelling swollen oedema inflammation",
}  # fmt: skip

BODY_CHAPTERS: dict[str, str] = {
    word: chapter for chapter, words in reversed(_CHAPTER_WORDS.items()) for word in words.split()
}

SENSATIONS = frozenset(
    [
        "burning",
        "stitching",
        "stinging",
        "stabbing",
        "shooting",
        "throbbing",
        "pulsating",
        "bursting",
        "pressing",
        "pressure",
        "cramping",
        "cramp",
        "cramps",
        "drawing",
        "tearing",
        "boring",
        "digging",
        "gnawing",
        "cutting",
        "sore",
        "soreness",
        "bruised",
        "raw",
        "rawness",
        "smarting",
        "numb",
        "numbness",
        "tingling",
        "heaviness",
        "heavy",
        "dull",
        "sharp",
        "splinter",
        "bearing-down",
        "constriction",
        "tight",
        "tightness",
        "tickling",
        "crawling",
        "lump",
        "plug",
        "ball",
        "band",
        "fullness",
        "emptiness",
        "sinking",
        "pain",
        "pains",
        "painful",
        "painless",
        "ache",
        "aches",
        "aching",
        "discharge",
        "discharges",
        "bland",
        "acrid",
        "offensive",
        "foul",
        "putrid",
        "thick",
        "thin",
        "yellow",
        "green",
        "greenish",
        "yellowish",
        "stringy",
        "ropy",
        "tenacious",
        "watery",
        "bloody",
        "white",
        "black",
        "dark",
        "clotted",
        "profuse",
        "scanty",
        "excoriating",
        "corrosive",
        "hard",
        "dry",
        "dryness",
        "moist",
        "sticky",
        "blue",
        "pale",
        "red",
        "flushed",
        "hot",
        "cold",
        "coldness",
        "itchy",
        "sensitive",
        "tender",
        "swollen",
        "paralysis",
        "paralysed",
        "jerking",
        "twitching",
        "spasm",
        "spasms",
        "trembling",
        "stiff",
        "stiffness",
        "restless",
        "restlessness",
        "prostration",
        "changeable",
        "wandering",
        "radiating",
        "extending",
        "extends",
        "sudden",
        "gradual",
        "periodical",
        "periodic",
        "alternating",
        "alternate",
        "alternates",
        "left",
        "right",
        "lancinating",
        "colicky",
        "oversensitive",
        "sensitiveness",
        "symptom",
        "symptoms",
        "sensation",
        "sensations",
        "modality",
        "modalities",
        "complaint",
        "complaints",
        "ailment",
        "ailments",
        "pathology",
        "lesion",
    ]
)

MIND_WORDS = frozenset(
    [
        "anxiety",
        "anxious",
        "fear",
        "fears",
        "fearful",
        "afraid",
        "anger",
        "angry",
        "irritable",
        "irritability",
        "weeping",
        "weeps",
        "weep",
        "cries",
        "cry",
        "crying",
        "tearful",
        "grief",
        "sad",
        "sadness",
        "sorrow",
        "jealous",
        "jealousy",
        "suspicious",
        "suspicion",
        "timid",
        "shy",
        "bashful",
        "mild",
        "gentle",
        "yielding",
        "obstinate",
        "stubborn",
        "haughty",
        "proud",
        "indifferent",
        "indifference",
        "apathy",
        "hurried",
        "impatient",
        "fastidious",
        "despair",
        "hopeless",
        "suicidal",
        "consolation",
        "sympathy",
        "company",
        "alone",
        "solitude",
        "brooding",
        "melancholy",
        "delusion",
        "delusions",
        "delirium",
        "mania",
        "hysterical",
        "hysteria",
        "laughing",
        "moaning",
        "sensitive",
        "offended",
        "mortification",
        "indignation",
        "humiliation",
        "humiliated",
        "suppressed",
        "suppresses",
        "anticipation",
        "fright",
        "frightened",
        "terror",
        "dread",
        "anguish",
        "remorse",
        "guilt",
        "guilty",
        "conscientious",
        "dictatorial",
        "contemptuous",
        "quarrelsome",
        "malicious",
        "cruel",
        "violent",
        "rage",
        "cursing",
        "loquacious",
        "loquacity",
        "talkative",
        "taciturn",
        "absent-minded",
        "forgetful",
        "confused",
        "confusion",
        "dullness",
        "slow",
        "sluggish",
        "ambition",
        "ambitious",
        "perfectionist",
        "homesick",
        "homesickness",
        "nostalgia",
        "forsaken",
        "abandoned",
        "abandonment",
        "lonely",
        "loneliness",
        "love",
        "romantic",
        "sentimental",
        "religious",
        "affectionate",
        "affection",
        "capricious",
        "whining",
        "peevish",
        "cross",
        "contradiction",
        "contradicted",
        "thoughts",
        "ideas",
        "secretive",
        "closed",
        "reserved",
        "introvert",
        "extrovert",
        "insecurity",
        "insecure",
        "confidence",
        "cowardly",
        "courage",
        "responsible",
        "duty",
        "business",
        "poverty",
        "death",
        "dying",
        "thunderstorm",
        "thunderstorms",
        "dark",
        "ghosts",
        "robbers",
        "insanity",
        "insane",
        "hallucinations",
        "moody",
        "changeable",
        "scolded",
        "reprimanded",
        "scolding",
        "insult",
        "insulted",
        "excitement",
        "excitable",
        "nervous",
        "startled",
        "startles",
        "restless",
        "worry",
        "worries",
        "worried",
        "consoled",
        "comforted",
        "sympathetic",
        "selfish",
        "lazy",
        "industrious",
        "emotion",
        "emotional",
        "emotionally",
        "passive",
        "submissive",
    ]
)

MODALITY_WORDS = frozenset(
    [
        "worse",
        "better",
        "aggravation",
        "aggravations",
        "aggravated",
        "aggravates",
        "aggravating",
        "amelioration",
        "ameliorations",
        "ameliorated",
        "ameliorates",
        "relieved",
        "relieves",
        "relief",
        "relieving",
        "modality",
        "modalities",
        "intolerant",
        "intolerance",
    ]
)

CLINICAL_WORDS = frozenset(
    [
        "indicated",
        "indication",
        "indications",
        "useful",
        "used",
        "helps",
        "covers",
        "cures",
        "prescribe",
        "keynote",
        "keynotes",
        "picture",
        "constitution",
        "constitutional",
        "essence",
        "theme",
        "genius",
        "sphere",
        "affinity",
        "tissues",
        "tissue",
        "mucous",
        "membranes",
        "serous",
        "fibrous",
        "nerves",
        "glands",
        "organ",
        "organs",
        "miasm",
        "miasms",
        "psora",
        "psoric",
        "sycosis",
        "sycotic",
        "syphilis",
        "syphilitic",
        "tubercular",
        "miasmatic",
        "constitution",
        "lymphatic",
        "scrofulous",
        "nosode",
        "antidote",
        "antidotes",
        "complementary",
        "inimical",
        "chronic",
        "acute",
        "potency",
        "potencies",
        "dose",
        "doses",
        "repeat",
        "repetition",
        "deep-acting",
        "concomitant",
        "concomitants",
        "proving",
        "provings",
        "provers",
        "prover",
        "repertory",
        "rubric",
        "rubrics",
        "totality",
        "materia",
        "simillimum",
        "case-taking",
        "characteristic",
        "characteristics",
        "peculiar",
        "remedy",
        "remedies",
        "similar",
        "intense",
        "antipsoric",
        "anti-psoric",
        "grade",
    ]
)

GENERALISING = frozenset(
    [
        "patient",
        "patients",
        "person",
        "people",
        "child",
        "children",
        "woman",
        "women",
        "man",
        "men",
        "lady",
        "girl",
        "boy",
        "baby",
        "babies",
        "infant",
        "infants",
    ]
)

FILLERS = frozenset(["um", "uh", "er", "ah", "hmm", "hm", "mm", "eh", "uhm", "umm", "erm", "uhh", "aah"])

STOP_STEMS = frozenset(
    [
        "a",
        "an",
        "the",
        "of",
        "in",
        "on",
        "at",
        "to",
        "from",
        "by",
        "with",
        "and",
        "or",
        "for",
        "is",
        "are",
        "be",
        "it",
        "he",
        "she",
        "they",
        "his",
        "her",
        "their",
        "your",
        "you",
        "as",
        "that",
        "this",
        "there",
        "when",
        "do",
        "does",
        "not",
        "no",
        "but",
        "so",
        "very",
        "more",
        "much",
        "than",
        "then",
        "also",
        "who",
        "which",
        "has",
        "have",
        "had",
        "was",
        "were",
        "will",
        "would",
        "can",
        "may",
        "up",
        "out",
        "off",
        "into",
        "after",
        "before",
        "during",
        "while",
        "being",
        "feel",
        "get",
        "like",
        "ag",
        "amel",
        "all",
        "any",
        "some",
        "person",
        "peopl",
        "one",
        "ones",
        "go",
        "come",
        "make",
    ]
)


@lru_cache(maxsize=50_000)
def stem(word: str) -> str:
    """A light English stem, enough to meet ``comforted`` and ``comforts``.

    >>> stem("comforted") == stem("comforts") == stem("comforting")
    True
    """
    if len(word) <= 3:
        return word
    for ending in ("ingly", "edly", "ness", "ings", "ing", "ies", "ied", "es", "ed", "ly", "s", "e", "y"):
        if word.endswith(ending) and len(word) - len(ending) >= 3:
            base = word[: -len(ending)]
            if len(base) > 3 and base[-1] == base[-2] and base[-1] not in "lsz" and ending in ("ing", "ed", "ings"):
                base = base[:-1]
            if ending in ("ies", "ied"):
                return base
            return base
    return word


#: Conventional medicines by the ending of their name (the stems of the International Nonproprietary Names, from memory).
MEDICINE_ENDINGS = (
    r"(?:cycline|izine|idine|profen|gliptin|lukast|terol|tadine|zepam|dronate|parin|thiazide|semide|cillin|mycin|azole|olol|pril|sartan|prazole|"
    r"statin|cortisone|solone|methasone|triptan|oxacin|formin|quine|dipine|azepam)"
)
MEDICINE = re.compile(
    rf"\w{{2,}}(?:{MEDICINE_ENDINGS}|(?:nirole|phylline?|triptyline|oxetine|gliflozin|glitazone|floxacin|fibrate|stigmine|zolam|setron|xaban|pramine|trexate|"
    r"barbital|tropium|terenol|salazine|mesalamine|fungin|vudine|ciclovir|cyclovir|oxicam|coxib|lamide|pamide|mabs))"
)


@lru_cache(maxsize=1)
def word_classes() -> Mapping[str, int]:
    """The class of like words that each of the commoner words of English is in (``benchmarks/learn_classes.py``)."""
    text = files("notesmith.extract").joinpath("data", "word_classes.txt").read_text(encoding="utf-8")
    return {word: number for number, line in enumerate(text.splitlines()) for word in line.split()}
