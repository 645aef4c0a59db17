"""Names and other identifiers in the speech, and what publication prints and mutes in their place.

The checklist is the 18 classes of HIPAA Safe Harbor, 45 CFR 164.514(b)(2). Authors of books stay. A remedy is
never taken for a person. What the rules are unsure of is hidden and marked doubtful until a person rules.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import cast

from rapidfuzz import fuzz, process
from wordfreq import zipf_frequency

from notesmith.annotations import PersonMention, PersonRole
from notesmith.dictionary import in_dictionary
from notesmith.extract.cases import PERSON
from notesmith.extract.keys import key_of
from notesmith.extract.lexicon import MEDICINE
from notesmith.extract.mentions import Hit, label_index
from notesmith.extract.name_words import learnt_names
from notesmith.extract.names import AUTHORS, OTHER_PROPER, STATES, name_lists
from notesmith.extract.potency_words import NUMBER, NUMBER_WORDS, number_of
from notesmith.extract.session import OPENERS, Sentence, Session, bare, lowered, runs
from notesmith.extract.spoken_ids import FEASTS, feasts_in, find_spoken
from notesmith.extract.told_times import spelled_names, times_in, widened
from notesmith.transcript import TimeSpan, Word, WordRange, sounding
from notesmith.verdicts import PersonVerdict, VerdictEntry
from notesmith.vocabulary import Vocabulary

REPLACEMENTS: dict[PersonRole, str] = {
    "student": "a student",
    "patient": "the patient",
    "relative": "a relative",
    "colleague": "a colleague",
    "author": "the author",
    "lecturer": "the lecturer",
    "place": "a place",
    "date": "a date",
    "phone": "a phone number",
    "address": "an address",
    "record number": "a record number",
    "age over 89": "90 or over",
    "other identifier": "an identifier",
}

_TITLES = frozenset(
    [
        "mr",
        "mrs",
        "ms",
        "miss",
        "dr",
        "doctor",
        "prof",
        "professor",
        "shri",
        "smt",
        "sri",
        "shrimati",
        "kumari",
        "master",
        "baby",
        "sister",
        "brother",
        "father",
        "mother",
        "uncle",
        "aunty",
        "auntie",
        "aunt",
        "principal",
        "sister-in-charge",
        "captain",
        "major",
        "colonel",
        # how one addresses people in other tongues: a title alone names nobody, what comes after it does
        *"""puan encik cik datuk tuan ibu bapak herr frau fräulein doktor monsieur madame mademoiselle señor señora señorita senhor senhora
        dona doña signor signora dottore dottoressa doctora doamna domnul domnule pani gospodin gospozha kyrios kyria kyrie meneer mevrouw sayyid sayyida""".split(),
    ]
)
#: Words for kin, elders and callings that stand before a name in many tongues. Some are names themselves or ordinary words:
#: alone they name nobody and are left as they are.
_KIN_TITLES = frozenset(
    """papa mama maama maame mami mum dad daddy baba mzee bibi bwana nana nan nanna granny gran grandma grandpa grandad opa oma nonno nonna abuelo abuela tia tio
    tía tío tita tito lola lolo kuya nanay tatay pak mbak tante oncle onkel zio zia amca teyze abla hanim hanım bey effendi khala khalu mausi maushi chacha chachi
    kaka kaki dada dadi nani didi bhabhi bua thatha paati ammamma appa amma ayya akka anna machan apa begum haji hajji hajia hajiya alhaji malam mallam maulana
    maulvi mufti ustad ustaz pandit sardar thakur khun nurse matron pastor reverend rev padre pater frère soeur sœur schwester bruder fra sor sheikh shaikh
    oga madam maam don doña seu sergeant lieutenant inspector constable headmaster headmistress""".split()
)
#: Titles after which, where nothing is written large, hardly anything but a name stands.
_SURE_TITLES = frozenset(
    "mr mrs ms dr prof frau herr monsieur madame mademoiselle señor señora signor signora senhor senhora puan encik doktor shri smt shrimati".split()
)
_COLLEAGUE_TITLES = frozenset(["dr", "doctor", "prof", "professor", "principal"])
_AFTER_TITLES = frozenset(
    [
        "sir",
        "madam",
        "ma'am",
        "maam",
        "mam",
        "ji",
        "bhai",
        "ben",
        "behen",
        "didi",
        "anna",
        "akka",
        "saheb",
        "sahab",
        "saab",
        "garu",
        "tai",
        "dada",
        "kaka",
        "mausi",
        "bhaiya",
        "aunty",
        "uncle",
        "da",
        "bai",
        "bhau",
        "amma",
        "mama",
        "chacha",
        "nana",
        "sahib",
        "guruji",
        "babu",
        "beta",
        "miss",
        "teacher",
        "mavshi",
        "maushi",
        "kaku",
    ]
)
_RELATIVES = frozenset(
    [
        "wife", "husband", "son", "daughter", "brother", "sister", "mother", "father", "uncle", "aunt", "aunty",
        "grandmother", "grandfather", "niece", "nephew", "cousin", "mother-in-law", "father-in-law",
        "daughter-in-law", "son-in-law", "sister-in-law", "brother-in-law", "granddaughter", "grandson",
    ]
)  # fmt: skip
_SPEECH_VERBS = frozenset(
    [
        "asks", "asked", "asking", "says", "said", "saying", "told", "tells", "wants", "wanted", "wrote", "writes",
        "raised", "answered", "came", "reported", "complained", "called", "phoned", "is", "has", "was", "had",
        "will", "would", "can", "could", "did", "does", "typed", "types", "kept", "keeps", "sends", "sent",
        "raises", "wishes", "thinks", "thought", "went", "lives", "works", "gave", "calls", "rang",
    ]
)  # fmt: skip
_VOCATIVE_BEFORE = frozenset(
    [
        "yes", "no", "okay", "ok", "thanks", "thank", "you", "hello", "hi", "good", "morning", "afternoon",
        "evening", "dear", "question", "point", "answer", "correct", "right", "please", "sorry", "and", "so",
        "now", "come", "welcome", "excellent", "exactly", "absolutely", "wonderful", "great", "very", "nice",
        "like", "listen", "wait", "sit", "ask", "tell", "madam", "sir",
    ]
)  # fmt: skip
_VOCATIVE_AFTER = frozenset(
    [
        "what", "why", "how", "when", "where", "who", "which", "can", "could", "please", "you", "your", "tell",
        "do", "did", "are", "is", "any", "has", "have", "will", "would", "go", "come", "read", "repeat", "mute",
        "unmute", "sit", "don't", "ji", "sir", "madam", "speak", "start", "switch", "close", "open", "one", "let",
    ]
)  # fmt: skip
_CALLS = frozenset(["yes", "thank", "thanks", "you", "okay", "ok", "hello", "hi", "dear", "no"])
#: How alike (0 to 100) an unknown word and the name of a remedy of the session must be to be taken for a garble of it.
GARBLED = 74
#: The same for remedies the session has not named: names such as Jaspreet are near to many of them.
GARBLED_ANYWHERE = 88
#: The same for remedies of two words heard as one.
GARBLED_JOINED = 68
#: Words that are written with a capital wherever they stand.
_ALWAYS_CAPITAL = frozenset(("i", "i'd", "i'll", "i'm", "i've"))
_NEVER = frozenset(
    [
        "the", "and", "but", "now", "then", "here", "there", "this", "that", "otherwise", "because", "whereas",
        "unmute", "mute", "mic", "mike", "aadhaar", "aadhar", "uhid", "okay", "yeah", "hmm", "ooh", "aah", "oops",
        # words of Indian tongues that come up in a lecture in English
        "achha", "accha", "acha", "achcha", "chalo", "chalega", "haan", "han", "nahi", "nahin", "theek", "thik", "bas",
        "bus", "arre", "arey", "are", "bolo", "boliye", "dekho", "dekhiye", "suno", "matlab", "samjhe", "samjha",
        "namaste", "namaskar", "vanakkam", "namaskaram", "pranam", "shukriya", "dhanyavad", "kya", "kyun", "beta",
        "beti", "yaar", "ji", "jee", "aur", "lekin", "phir", "abhi", "kal", "aaj", "woh", "yeh", "hai", "baba", "maa",
        "amma", "appa", "nani", "dadi", "roti", "chapati", "chapatti", "dal", "daal", "ghee", "dahi",
        "lassi", "chai", "paan", "ladoo", "ladoos", "laddu", "idli", "dosa", "sambar", "samosa", "pakoda", "bhaji",
        "churan", "churna", "tulsi", "haldi", "jaggery", "khichdi", "dhoti", "saree", "sari", "salwar", "kurta",
        # forms of address, healers by their trade, garments, food; medicines by the names on the packet, tests and places by their letters
        *"""janab jenab akka tantie makcik pakcik profe ostad ustad ustaad mahattaya bomoh dhami kaviraj apa yuh mejo mamu doc
        chappal papadam channa luchi muri suya sandesh prasad khakhra polao bhat jerrican matatu telly handphone reviver kaput helicopter
        ponstan buscopan betnovate cataflam nytol paracetamol panadol brufen combiflam dettol vicks strepsils oxybutynin artemether lumefantrine linctus
        epidural ige igg phc opd icu ecg eeg ddt x-ray xray genito gynae gynaec onco sessional compounder""".split(),
        "puja", "mandir", "masjid", "gurudwara", "hakim", "tantrik",
        # calls and greetings of many tongues
        "oh", "ah", "ay", "aye", "ma", "oi", "oye", "oya", "aiyo", "aiyoh", "ayyo", "ehen", "ehn", "abeg", "alas", "wow", "hey", "uy", "hala", "naku",
        "habari", "jambo", "sawa", "karibu", "asante", "daktari", "mwalimu", "kalispera", "kalimera", "kalinihta", "kalinichta", "yassou", "opa",
        "bom", "boa", "tarde", "noite", "obrigado", "obrigada", "tchau", "logo", "buenos", "buenas", "tardes", "noches", "gracias",
        "hola", "adios", "bueno", "bonjour", "bonsoir", "merci", "voila", "salut", "servus", "guten", "gruss", "danke", "bitte", "genau", "tschuss",
        "ciao", "buongiorno", "grazie", "allora", "salaam", "salam", "alaikum", "khuda", "hafiz", "inshallah", "mashallah", "alhamdulillah", "shukran",
        "habibi", "yalla", "merhaba", "ayubowan", "bohoma", "sthuthi", "sat", "akal", "ingat", "salamat", "kumusta", "magandang", "umaga", "hapon",
        "sawubona", "ngiyabonga", "dumela", "privet", "spasibo", "dobry", "dzien", "arigato", "konnichiwa", "selamat", "pagi", "terima", "kasih",
        "xin", "chao", "ach", "bismillah", "allah", "filakia", "tschuess", "hallo", "achso", "naja", "nanu", "ojala", "allahu", "subhanallah", "mabuhay", "jare", "slan", "slainte", "begorrah", "aloha", "shalom", "sabaidee",
        # greetings, thanks, farewells and forms of address once more, tongue by tongue; calls to prayer
        *"""buonanotte buonasera arrivederci prego scusa scusi permesso perdón perdon perdona disculpa disculpe besos abrazos chau hasta luego mañana vale
        bula vinaka moce talofa tofa hocam güle gule teşekkür tesekkur teşekkürler günaydın gunaydin iyi akşamlar aksamlar selam tamam efendim buyurun
        assalamu assalamualaikum walaikum waalaikum wasalam aleikum khoda hafez adaab adab aadab namashkar nomoskar bhalo dhonnobad dhanyavaad dhanyavadagalu namaskara
        sasriakal nandri romba nanni poyittu kwaheri tafadhali poleni samahani shikamoo marahaba hujambo sijambo herh medaase akwaaba maakye daabi
        wiederschauen wiedersehen wiederhören grüß grüss gott moin tschau pfiat bitteschön dankeschön gell jawohl multumesc mulțumesc revedere noapte ziua seara
        hvala doviđenja zdravo dziękuję dziekuje proszę widzenia czesc köszönöm viszlát szia kiitos takk tack hej ziens goedemorgen goedenavond
        welterusten doei bedankt efharisto efcharisto parakalo kalinichta afwan ahlan marhaba wallah yani khalas paalam gabi opo sige maraming salamat
        sawasdee khrap terimakasih makasih tolong maaf petang malam siang tinggal sayang annyeong kamsahamnida gomawo ohayo sayonara otsukare sensei xiexie
        zaijian nihao laoshi azan azaan adhan fajr zuhr dhuhr maghrib iftar suhoor sehri namaz salah""".split(),
    ]
)  # fmt: skip
#: Word endings of English, by which an unknown word written small is told from a name.
_ENGLISH_ENDING = re.compile(
    r"(?:ing|ings|ed|ness|ly|tion|tions|sion|ous|ical|ative|able|ible|ism|ist|ists|ity|ment|ments|less|ful|like|wise|"
    r"itis|osis|aemia|emia|algia|rrhoea|rrhea|opathy|opathic|ology|ologist|ectomy|scopy|graphy|gram|uria|oma|oid|"
    r"ising|izing|ised|ized|ers|est|ship|hood|some|ward|wards)$"
)
#: Words for a person, after which a proper noun is that person's name: "my patient Savitri", "a boy Zubin".
_PERSON_NOUNS = frozenset(
    [
        "patient", "lady", "girl", "boy", "man", "woman", "gentleman", "child", "student", "friend", "colleague",
        "neighbour", "neighbor", "teacher", "senior", "junior", "assistant", "intern", "nurse", "guy", "fellow", "kid",
        "classmate", "roommate", "boss", "driver", "maid", "servant", "compounder", "receptionist", "secretary",
        "partner", "batchmate", "housewife", "lawyer", "engineer", "madam", "mister", "ma'am", "lad", "baby",
    ]
)  # fmt: skip
#: Small words and describing words that may stand in capitals before a word for a place without naming one.
_GENERAL_BEFORE_PLACE = frozenset(
    [
        "the", "a", "an", "our", "my", "your", "his", "her", "their", "this", "that", "some", "any", "every", "one",
        "another", "same", "other", "private", "government", "govt", "general", "civil", "public", "charitable",
        "municipal", "district", "local", "nearby", "big", "small", "new", "old", "good", "free", "mobile", "village",
        "eye", "ent", "dental", "medical", "mental", "maternity", "children's", "children", "mission", "military",
        "army", "railway", "police", "primary", "nursing", "teaching", "in", "at", "to", "from", "of", "and", "or",
        "health", "homeopathic", "homoeopathic", "allopathic", "ayurvedic", "evening", "morning", "weekly", "first",
        "second", "last", "next", "main", "high", "cross", "home", "base", "referral", "cancer", "tb", "heart", "bus",
        "train", "petrol", "by", "for", "with", "is", "was", "clinic", "hospital", "college", "school", "each", "no",
    ]
)  # fmt: skip
#: Words that open a sentence or address a whole class; no one person's name.
_NOT_CALLED = frozenset(
    "first second third finally remember also however actually basically anyway again here there then today tomorrow yesterday sometimes usually doctor doctors "
    "friends students everyone everybody guys folks class ladies gentlemen people children god lord heaven note mark see look well yes no okay alright sure fine "
    "good great nice exactly correct right true next last instead perhaps maybe otherwise still only even both all none clearly obviously naturally similarly secondly "
    "firstly thirdly mainly chiefly generally often always never now so but and or because if when while since after before until though although unlike like "
    "compare think take give ask read write study keep hold stop wait sorry please thanks welcome hello professor teacher sister brother mother father colleagues "
    "i we you she he they it this that these those what why how who where which one two three four five six seven eight nine ten".split()
)
#: Verbs after which a person's name stands without an article; and those by which somebody is reported.
_RUNG = frozenset(["call", "ring", "text", "phone", "message", "email", "tell", "thank", "ask"])
_REPORTS = frozenset(["asks", "asked", "typed", "types", "wrote", "writes", "wants", "says", "said"])
#: After these a proper noun tells when; before those it names a feast.
_SINCE = frozenset(["since", "until", "till", "before", "after", "during", "around"])
_FEAST_NOUNS = frozenset(
    "day weekend festival eve holiday holidays fair mela night jayanti jatra puja pooja carnival fast".split()
)
#: Endings of kinship and respect in several tongues, joined to a name (common practice).
_RESPECT = re.compile(
    r"([^\W\d_]{2,})-(?:da|di|dada|didi|ji|jee|bhai|ben|behn|bhaiya|saab|sahab|saheb|sahib|san|sama|kun|chan|apa|bhau|tai|garu|anna|akka|mama|kaka|babu|bhabhi|amma|gaaru|nim|ssi)"
)
_MONTH_NAMES = frozenset(["april", "may", "june", "august"])
_DAY_NAMES = frozenset(["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"])
#: Words the rules alone decide on: regions, feasts, parts of dates, titles.
_SETTLED = STATES | FEASTS | _MONTH_NAMES | _DAY_NAMES | _NEVER | _TITLES
_INITIAL = re.compile(r"^[A-Z]\.?,?$")
_INTRODUCES = re.compile(
    r"\b(?:(?:my|his|her|their|whose|the|patient's|child's|boy's|girl's) name (?:is|was)|named|name is|"
    r"name was|called|i am|i'm|myself|this is|calling from|goes by)$"
)
#: "his full name we do not say so he is …", "her name …", "we call him …": where a transcript without capitals brings a name.
_NAME_COMES = re.compile(
    r"\b(?:names?\b(?: (?!names?\b)[\w'’]+){1,8} (?:so |then |but |and )?(?:he|she)(?:'s| is| was| will be)|(?:my|his|her|their|whose|side) name|"
    r"(?:call|calls|calling|named?) (?:him|her))$"
)
#: What is said to a person and hardly of a remedy, right after a name.
_TO_A_PERSON = re.compile(
    r"(?:your (?:question|hand|turn|mic|mike|microphone|camera|answer|screen|phone|line|voice|sound|notes|internet|dog|child|baby)|"
    r"i (?:can |can't |cannot |will )?(?:see|hear|saw|heard|call|called) (?:you|your)|i'll (?:come to|take|ask) you|we (?:can |can't |cannot )?hear you|"
    r"you (?:asked|wanted|wrote|raised|have your hand|had your hand|had a|are (?:muted|on mute|frozen)|go(?: first| next| ahead)?\b|can go|unmute|were sleeping|may)|"
    r"you're (?:muted|on mute|next|frozen)|(?:un)?mute\b|sit down|go ahead|speak up|switch (?:on|off)|turn (?:on|off)|can you hear|are you (?:there|with us|still|awake)|"
    r"the question in the chat|stop (?:talking|laughing|typing)|wake up|good (?:morning|evening|afternoon|question|girl|boy)|thank you|thanks)"
)
#: What stands right before a person called on, thanked or greeted, after which a name ends the call.
_CALLED_ON = re.compile(
    r"(?:(?:^|[,;.?!] )(?:go|go on|go ahead|over to you|your turn|you first|sit down|sit|thank you|thanks|many thanks|thank you so much|thank you very much|welcome|hello|hi|hey|"
    r"good (?:morning|evening|afternoon|night)|sorry|bye|goodbye|happy birthday|well done|bravo|unmute),?)$"
)
_NAMED_SO = re.compile(
    r"(?:"
    r"\b(?:her|his|your|my|their|the (?:girl|boy|baby|child|patient|lady|man|woman|student)'s) (?:own |real |first |good |full )?name(?:'s| is| was)|"
    r"\b(?:a|the|this|that|my|our) (?:girl|boy|lady|woman|man|patient|student|baby|child|friend|neighbour|colleague) (?:named|called|by name))$"
)
_PLACE_BEFORE = frozenset(["from", "in", "at", "near", "to", "of", "around", "outside", "via"])
_PLACE_SUFFIX = re.compile(
    r"^[a-z]{2,}(?:pur|puram|nagar|abad|ganj|halli|palli|palle|wadi|gaon|garh|khed|pet|patnam|kotta|giri|"
    r"vadi|pura|kuppam|cheri|bagh|ville|burgh|shire)$"
)
_PLACE_WORDS = frozenset(
    [
        "hospital", "clinic", "college", "school", "nursing", "institute", "colony", "road", "street", "lane",
        "sector", "layout", "village", "taluka", "taluk", "district", "chowk", "market", "mandir", "temple",
        "church", "society", "apartments", "apartment", "towers", "complex", "university", "bazaar", "nagar",
        "block", "phase", "cross", "extension", "factory", "company", "mill", "mills", "industries", "works",
        "hotel", "station", "airport", "gardens", "beach", "bridge", "circle", "depot", "farm", "estate", "bhavan",
        "bhawan", "sadan", "niwas", "ashram", "trust", "foundation", "centre", "center", "diagnostics",
        "laboratory", "pharmacy", "chemists", "bank", "hostel", "mansion", "heights", "vihar", "enclave", "gram",
        "maidan", "ground", "stadium", "mall", "cinema", "theatre", "museum", "library", "fort", "ghat", "gate", "bagh",
        "lake", "square", "terrace", "avenue", "court", "lodge", "hall", "villa", "chambers", "plaza", "cottage",
        "polyclinic", "dispensary", "infirmary", "medical", "memorial", "forge", "textiles", "infotech",
    ]
)  # fmt: skip
_WAYS = frozenset("street road lane avenue terrace square gardens".split())
#: First words of the names of many towns.
_TOWN_FIRST = frozenset("bad san santa santo sao são saint st sankt sint los las puerto porto porta fort".split())
#: Small words inside names of places, and the places of a town that stand after its name.
_PLACE_PARTICLES = frozenset(
    "de do da dos das del della di la le les du upon on under next the in bei am al el ul und sur sous san".split()
)
_PUBLIC_PLACES = frozenset(
    "bus stand|bus stop|bus station|railway station|train station|station|market|beach|bridge|temple|church|mosque|gurdwara|mandir|hospital|clinic|school|college|"
    "road|street|junction|roundabout|circle|crossing|signal|police station|post office|town hall|high school|health centre|health center|town|village|district|"
    "quarter|suburb|harbour|harbor|port|fort|palace|park|river|lake|island|colony|factory|mill|mine|estate|plantation|barracks|prison|dispensary|parish|abbey|"
    "cathedral|monastery|ghat|bazaar|mall|stadium|depot|dam".split("|")
)
#: What is named after saints and is none of their places.
_OF_SAINTS = frozenset("wort bean dance fire passion oil herb root plant".split())
#: Words for a part of the country after the name of a town, and nouns that stand without an article after "at".
_REGIONS = frozenset("side area town city village district region people way quarter".split())
_WITHOUT_ARTICLE = frozenset(
    """home work school college church mass night noon midnight dawn dusk daybreak nightfall lunch dinner breakfast supper tea rest play sea bedtime first last least
    most once all puberty menopause birth term present random risk peace hand length sunrise sunset university prayer prayers ease times base court table teatime
    lunchtime dinnertime daytime nighttime weekend weekends reception theatre camp training practice assembly exercise large it him her them me us you what which
    that this these those one someone anyone everyone somebody half twilight moonrise full new sundown closing opening hospital clinic casualty emergency outpatient
    admission discharge discretion will heart worst best bay fault hospital delivery kindergarten nursery crèche creche office market temple mosque""".split()
)
_BEFORE_TIME = frozenset("in since of during until by before after".split())
_SUBJECTS = frozenset("they he she we i it the his her and then where when".split())
_MONTHS = (
    "january|february|march|april|may|june|july|august|september|october|november|december|jan|feb|mar|apr|"
    "jun|jul|aug|sept|sep|oct|nov|dec"
)
_TENS = (
    r"(?:ninet(?:ieth|y[ -](?:first|second|third|fourth|fifth|sixth|seventh|eighth|ninth))|hundredth|9\dth|1[01]\dth)"
)
_ORDINAL = (
    r"(?:\d{1,2}(?:st|nd|rd|th)?|(?:twenty[ -]|thirty[ -])?(?:first|second|third|fourth|fifth|sixth|"
    r"seventh|eighth|ninth)|tenth|eleventh|twelfth|"
    r"thirteenth|fourteenth|fifteenth|sixteenth|seventeenth|eighteenth|nineteenth|twentieth|thirtieth)"
)
_DATE = re.compile(
    rf"\b{_ORDINAL}(?: of)? (?:{_MONTHS})\b\.?(?:,? \d{{4}})?|\b(?:{_MONTHS})\.? (?:the )?{_ORDINAL}\b(?:,? \d{{4}})?"
    rf"|\b(?:mon|tues|wednes|thurs|fri|satur|sun)day,? the {_ORDINAL}(?: of (?:{_MONTHS})\b(?:,? \d{{4}})?)?|\bthe {_ORDINAL}(?= of (?:this|last|next|that|the same) month\b)"
    rf"|\b(?:{_MONTHS})\.? (?:nineteen|twenty|two thousand)(?: (?:and )?\w+(?:teen|ty|one|two|three|four|five|six|seven|eight|nine|ten))+\b"
    r"|\b\d{1,2}[/.-]\d{1,2}[/.-](?:\d{4}|\d{2})\b|\b\d{4}-\d{2}-\d{2}\b"
)
_MONTH_ALONE = re.compile(
    r"\b(?:in|since|from|last|till|until|by|of|on|during|mid|early|late|this|next|around|about|between|and|to|"
    r"through|after|before|every|that) "
    rf"(?P<month>{_MONTHS})(?P<year>,? (?:of )?(?:\d{{4}}|two thousand[a-z ]*))?(?=[ ,.;?!]|$)"
)
#: A season that dates what was, not one in which a complaint is worse.
_SEASON = re.compile(
    r"\b(?:came|died|born|left|went|returned|operated|delivered|married|seen|saw|met|began|started)\b[^.;?!]{0,25}\b(?:in|that|last|this|the next|until|by) (?:the |late |early )?"
    r"(?P<season>spring|summer|autumn|winter|monsoon|rainy season|dry season|harmattan)(?=[ ,.;]|$)"
)
_VISITS = re.compile(
    r"\b(?:came|admitted|operated|died|born|delivered|visited|consulted|discharged|(?:saw|met|examined) (?:her|him|"
    r"this|the|them)|passed away|first visit|follow[- ]?up)\b"
)
_TOLD_OF_ONE = re.compile(
    r"\b(?:she|he|his|her|him|they)\b.*\b(?:was|were|had|came|got|went|did|lost|gave|saw|became|began)\b|"
    r"\b(?:was|were|had|came|got|went|gave|saw)\b.*\b(?:she|he|his|her|him|them)\b"
)
_TIME_BEFORE = re.compile(
    r"\b(?:by|until|till|before|after|since|around|from|during|last|come|past)(?: the| this| that| last| next)*$"
)
_ONE_PERSON = re.compile(r"\b(?:s?he|her|his|him|herself|himself)\b")
_MONTHS_IN_FULL = frozenset(_MONTHS.split("|"))
#: A year within living memory after a word of time; years of the books lie before.
_YEAR = re.compile(
    r"\b(?:in|since|from|of|till|until|by|before|after|around|about|late|early|mid)(?: the| year)* (?P<year>19[4-9]\d|20[0-4]\d|nineteen (?:forty|fifty|sixty|seventy|eighty|ninety)(?:[ -](?:one|two|three|"
    r"four|five|six|seven|eight|nine))?|two thousand(?: and)? (?:twenty(?:[ -](?:one|two|three|four|five|six|seven|eight|nine))?|one|two|three|four|five|six|seven|eight|nine|ten|\w+teen|eleven|twelve)|twenty (?:ten|eleven|twelve|\w+teen|twenty(?:[ -]\w+)?))(?=[ ,.;?!]|$)"
)
#: A year by its last two figures, after what happened in it ("the flood of eighty eight"), or of one person.
_TWO_FIGURES = r"(?:(?:forty|fifty|sixty|seventy|eighty|ninety)(?:[ -](?:one|two|three|four|five|six|seven|eight|nine))?|'?[4-9]\d)"
_EVENT_YEAR = re.compile(
    r"\b(?:floods?|wars?|strikes?|riots?|batch|class|winter|summer|spring|autumn|monsoon|drought|famine|earthquake|quake|cyclone|hurricane|storm|typhoon|tsunami|epidemic|"
    r"outbreak|lockdown|curfew|emergency|elections?|fire|coup|revolution|uprising|crash|cup|olympics|season|harvest|intake|year|january|february|march|april|may|june|july|"
    rf"august|september|october|november|december) (?:of |in )?(?P<year>{_TWO_FIGURES})(?=[ ,.;?!]|$)(?! (?:percent|per|patients?|cases?|people|days?|weeks?|months?|years?|dead|marks))"
)
_YEAR_OF_ONE = re.compile(
    r"\b(?:in|since|from|until|till|by|back in) (?P<year>(?:fifty|sixty|seventy|eighty|ninety)[ -](?:one|two|three|four|five|six|seven|eight|nine))"
    r"(?=[,.;?!]|$| (?:he|she|they|i|we|when|after|before|and (?:he|she|they|i|we|then)|it|there)\b)"
)
#: After these a month dates also what somebody tells in the present: "from the month of November I cannot tie the shoe".
_SINCE_MONTH = re.compile(r"^(?:since|until|till|of|last)\b")
_NEXT_MONTH = re.compile(rf"\b(?:following|previous|preceding|same|coming|past) (?P<month>{_MONTHS})(?=[ ,.;?!]|$|')")
_ANYBODY = re.compile(r"\b(?:i|we|my|our|s?he|her|his|him|they|their)\b")
#: ``the Marian year``, ``bhadra month``: a time by a name of its own; in lower case only where English has no such word.
_NAMED_TIME = re.compile(r"\b(?P<name>[^\W\d_]{3,}) (?P<time>year|month)\b")
#: ``college street``, where nothing has a capital.
_STREET = re.compile(
    r"\b(?P<street>(?!(?:the|an?|this|that|these|my|our|his|her|your|their|each|every|which|what|same|other|next|main|high|whole|one|on|in|of|to|and|or|is|was)\b)[a-z]{3,} "
    r"(?:street|road|lane|avenue|nagar|colony|chowk|bazaar|marg))\b"
)
_TIMETABLE = re.compile(
    r"\b(?:exam\w*|class(?:es)?|lectures?|semester|term|timetable|fees?|forms?|seminar|workshop|conference|holidays?|syllabus|batch|submit|session|deadline)\b"
)
#: What goes on after the number of a house: "third staircase", "flat two", "first floor".
_TAIL = re.compile(
    rf"(?:,? ?(?:and )?(?:on )?(?:the )?(?:(?:{_ORDINAL}|{NUMBER}|ground|top|lower|upper|left|right) (?:floor|staircase|stairs?|stairway|door|flat|bell|block|building|entrance|wing|"
    rf"gate|house|apartment|room|landing|unit|level|tower|courtyard|lift|storey|story)|(?:flat|floor|door|block|building|apartment|staircase|stair|entrance|scala|interno|"
    rf"unit|tower|lift|bell|room|wing)(?: number)? (?:{NUMBER}|[a-z](?![\w']))|(?:the|a) (?:[\w-]+ )?(?:house|gate|door|building|flat|shop|compound|bungalow|hut|cottage) "
    r"(?:just )?(?:after|behind|beside|near|opposite|next to|by|past|before|above|facing) (?:the|a) [\w-]+)(?![\w-]))+"
)
_SPOKEN_DIGIT = (
    r"(?:zero|oh|one|two|three|four|five|six|seven|eight|nine|(?:double|triple) (?:zero|one|two|three|four|"
    r"five|six|seven|eight|nine)|\d+)"
)
_PHONE_CUE = re.compile(
    r"\b(?:phone|mobile|cell|contact|whatsapp|telephone|landline|(?:my|his|her|their|the|our|this|clinic's?) number|"
    r"number is|(?:call|ring|reach|text|message|dial|phone|contact) (?:me|us|him|her|them|on|at))\b"
)
_SPOKEN_PAIR = (
    r"(?:(?:twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety)(?:[ -](?:one|two|three|four|five|six|seven|eight|"
    r"nine))?|ten|eleven|twelve|thirteen|fourteen|fifteen|sixteen|seventeen|eighteen|nineteen)"
)
_PHONE_IN_PAIRS = re.compile(
    rf"\b(?:{_SPOKEN_PAIR}|{_SPOKEN_DIGIT})(?:[ ,.-]+(?:and )?(?:{_SPOKEN_PAIR}|{_SPOKEN_DIGIT})){{3,}}\b"
)
_PHONE = re.compile(
    rf"(?<![\w/.])(?:\+?\d[\d\-() .]{{6,}}\d)(?![\w/])|\b{_SPOKEN_DIGIT}(?:[ ,-]+{_SPOKEN_DIGIT}){{5,}}\b"
)
_EMAIL = re.compile(
    r"\b[\w.+-]+@[\w-]+\.[\w.]+|\b[\w.]+(?: (?:dot|underscore|dash|hyphen) [\w.]+)* at (?:the rate (?:of )?)?"
    r"(?:[a-z]+ ?mail|yahoo|hotmail|outlook|icloud|live|proton)(?:,? (?:dot|point) (?:com|in|co|net|org|uk|me))+"
)
_URL = re.compile(r"\bhttps?://\S+|\bwww\.\S+|\b\w+ dot (?:com|org|net|co dot in)\b|\b(?:\d{1,3}\.){3}\d{1,3}\b")
_RECORD = re.compile(
    r"\b(?:(?:o\.?p\.?d|i\.?p\.?d|registration|regd|reg|file|record|case|card|patient|mrd|mrn|uhid|"
    r"aadhaar|aadhar|pan|passport|licen[cs]e|policy|account|"
    r"insurance|membership|hospital|vehicle|car|roll|bed|room|ward|token|enrol?ment|social security|"
    r"ssn)(?: (?:card|paper|record|plate))? ?(?:number|no\.?|id|#)|"
    r"uhid|mrn|mrd|aadhaar|ssn|registration|policy|passport|licen[cs]e|enrol?ment)"
    r"(?:,? (?:is|was|being|of|ends? (?:in|with)|ending (?:in|with)|starts? with|here is|it is|it's))?[ :,]+"
    rf"(?P<id>(?:[a-z]{{1,4}}[-/ ]?)?\d[\w/-]*(?: ?[/-] ?\d+| \d[\w/-]*)*|"
    rf"{_SPOKEN_DIGIT}(?: {_SPOKEN_DIGIT})+|[a-z]*\d[\w-]*)"
)
#: "number 4471", "meeting id 845 221 990", "passcode A 1452": three figures or more after a word for a number.
_ANY_NUMBER = re.compile(
    r"(?<!page )(?<!rubric )(?<!aphorism )(?<!paragraph )(?<!line )(?<!chapter )(?<!slide )(?<!section )(?<!volume )\b(?:numbers?|no\.|id|code|passcode|password|file|sheet|receipt|"
    r"bill|token|folder|reference|ref)(?:,[^,.;?!]{3,50},)?(?: (?:is|was|being|said|reads))?[ :,]+(?P<id>(?!(?:200|1000|10000)\b)(?:[a-z]{1,4}[-/ ]?)?\d{3,}(?:[-/ ]?\d+)*\b|[a-z]{1,4}[-/ ]\d{2,}\b|"
    rf"(?:[a-z] )?{_SPOKEN_DIGIT}(?:[ ,]+{_SPOKEN_DIGIT}){{3,}})"
)
_HANDLE = re.compile(
    r"(?<!\w)@\w[\w.]+|\b(?:instagram|insta|facebook|twitter|skype|telegram|linkedin|snapchat) (?:id|handle|name|page|account|username)(?: is| was)? (?P<id>\S+)|"
    r"\b[\w.]+ at (?:the rate (?:of )?)?\w+ (?:dot|point) (?:com|org|net|in|edu|co|uk|info)\b"
)
_VEHICLE = re.compile(r"\b(?P<id>[a-z]{2}[ -]?\d{1,2}[ -]?[a-z]{1,3}[ -]?\d{4})\b")
_ADDRESS = re.compile(
    r"\b(?:flat|house|plot|door|shop|room|block|building|sector|lane|ward|survey|bungalow|gali|floor|cottage|quarters?)(?: "
    r"(?:number|no\.?))? ?[a-z]?-?\d+[a-z]?(?:[/-]\d+)?(?:,? (?:[\w']+ ){0,4}(?:road|street|lane|colony|"
    r"nagar|society|"
    r"apartments?|avenue|marg|layout|cross|block|chowk|sector \d+))?|\b\d+[a-z]?(?:/\d+)?,? "
    r"(?:[\w']+ ){1,3}(?:road|street|lane|avenue|marg|drive|close|cross|main road)\b|"
    # numbers in words: "Block nine, Lot four, Sampaguita Street", "number twelve Lorong Cempaka three"
    rf"\b(?:(?:block|lot|flat|plot|door|house|gali|galli|lane|sector|lorong|purok|bungalow) (?:(?:number|no\.?) )?{NUMBER}\b(?! (?:times|hours?|days?|weeks?)\b),? ?)+"
    rf"(?:[\w']+ (?:street|road|lane|avenue|colony|nagar)\b|(?:lorong|jalan|calle|rua|rue|via|strada) [\w']+(?: {NUMBER}\b)?)?|"
    rf"\b(?:number )?{NUMBER},? (?:lorong|jalan|calle|rua|rue|via|strada) [\w']+(?: {NUMBER}\b)?|"
    rf"\b(?:number {NUMBER}|{NUMBER} slash \w+),? (?!(?:in|the|on|of|a|to|down|up|along|long|main|big|narrow|same|other|next)\b)[\w']+ (?:road|street|lane|avenue|colony|nagar)\b|"
    r"\b(?:pin ?code|zip ?code|postcode|pincode)(?: is| number)? ?\d[\d ]{3,}|\b[1-9]\d{5}\b(?= ?(?:pin|pincode))"
)
_OLD_AGE = re.compile(
    rf"\b(?P<age>{NUMBER})(?=[ -]?(?:years?|yrs?|yr)(?:[ -]?olds?| of age)?\b)"
    r"|\b(?:aged?|age of|age is|age was|turned|turning|completed|(?:she|he|i|who|mother|father|"
    r"grandmother|grandfather|granny|aunt|uncle)(?:'s| is| was|'m| am)|lady of|man of|woman of|"
    r"gentleman of|patient of)"
    rf"(?: (?:not|about|almost|nearly|around|only|just|already|now|over|past))* (?P<age2>{NUMBER})(?=[ "
    r",.;?!]|$)(?! (?:times|kilos|kg|percent|per|degrees|pounds|miles|minutes|days|weeks|months))"
    r"|\b(?:in )?(?:her|his|their) (?:early |mid |late )?(?P<nineties>nineties|hundreds)|\b(?P<word>nonagenarian|centenarian)"
    rf"|\b(?:is|was|are|were|\w+'s)(?: (?:now|about|almost|nearly|already|only|just|over|past|fully))* (?P<age4>{NUMBER})(?=[.,;!?]|$)"
    rf"|\b(?:(?:'d|would|must|should|will|may|might) be|touching|crossing|nearing|past|over)(?: (?:now|about|almost|nearly|already))* (?P<age5>{NUMBER})(?=[.,;!?]|$| (?:now|by now|today|this)\b)"
    r"|(?<!teen )(?<!two )(?<!three )(?<!four )(?<!five )(?<!few )\b(?P<plus>(?:ninety|hundred|9\d)(?:[ -](?:plus|odd|something|and above|\+)))"
    rf"|\b(?P<birthday>{_TENS})(?= (?:birthday|year)\b)"
    r"|\b(?:at|till|until|nearing|approaching|(?:she|he|who|they|mother|father|granny|grand\w+) (?:has |had |have )?"
    rf"(?:crossed|reached|passed)) (?:the age of )?(?P<age3>{NUMBER})"
    r"(?=[,.;?!]|$| (?:she|he|and|too|also|still|now|years?)\b)"
    # set beside a person between commas, or given by a register
    rf"|(?:^|[,;] )(?:and |of |about |nearly |almost |already |a good )*(?P<age6>{NUMBER})(?=[,.;]|$)|\b(?:has|have|had|says?|said|gives?|counts?|counted|makes? (?:her|him|it)) (?P<age7>{NUMBER})(?=[,.;]|$)"
)
#: Of numbers that stand so without a word for age, those that are hardly a potency, a weight or a price.
_BARE_OLD_AGES = frozenset((*range(90, 100), *range(101, 110)))
#: A sentence on the life of an author of books: its towns are history and stand.
_LIVES_OF_AUTHORS = re.compile(
    r"\b(?:born|prov\w+|publish\w+|practi[sc]ed|wrote|written|moved|settled|taught|lectured|translated|edition|century|died|studied|lived|graduated|"
    r"journal|school|1[678]\d\d|eighteen \w+|seventeen \w+)\b"
)
_MEASURED = re.compile(
    r"\b(?:fever|temperature|degrees?|pulse|pressure|bp|weigh\w*|kilos?|pounds|per ?cent|score|rate|"
    r"saturation|oxygen|sugar|potenc\w+|page|line)\b"
)


@dataclass(frozen=True, slots=True)
class _Found:
    start: int
    end: int
    role: PersonRole
    doubtful: bool = False
    hide: bool = True


def find_persons(
    session: Session,
    hits: Sequence[Hit],
    cases: Sequence[tuple[int, int]],
    question_ranges: Sequence[tuple[int, int]],
    lecturer_names: Sequence[str] = (),
) -> tuple[PersonMention, ...]:
    """All identifiers in order of time. ``cases`` and ``question_ranges`` are half-open over units."""
    found = [*_patterns(session, cases)]
    taken = {unit for item in found for unit in range(item.start, item.end)}
    names = _Names(session, hits, cases, question_ranges, lecturer_names, taken)
    found += names.find()
    found += _told_names(session, names, {unit for item in found for unit in range(item.start, item.end)})
    found += _learnt(session, names, {unit for item in found for unit in range(item.start, item.end)})
    found += _read_as_names(session, names, {unit for item in found for unit in range(item.start, item.end)})
    found = [item for item in found if not (item.doubtful and _is_a_remedy(session, names, item))]
    named = frozenset(unit for item in found for unit in range(item.start, item.end))
    for start, end in spelled_names(session, named):
        if not named.issuperset(range(start, end)):
            found.append(_Found(start, end, "other identifier", doubtful=True))
    for at, item in enumerate(found):
        start, end = widened(session, item.role, item.start, item.end, named) if item.hide else (item.start, item.end)
        if (start, end) != (item.start, item.end) and not names.remedy_units & ({*range(start, end)} - named):
            found[at] = replace(item, start=start, end=end)
    whole: list[_Found] = []
    for item in sorted((_made_whole(session, names, item) for item in found), key=lambda f: (f.start, -f.end)):
        if whole and whole[-1].hide and item.hide and whole[-1].start < item.start < whole[-1].end < item.end:
            whole[-1] = replace(whole[-1], end=item.end)  # two pieces of one identifier
        else:
            whole.append(item)
    mentions: list[PersonMention] = []
    for item in whole:
        words = session.words(item.start, item.end)
        if mentions and words.start < mentions[-1].words.end:
            continue
        said = bare(session.text(item.start, item.end))
        mentions.append(
            PersonMention(
                key_of("person", item.role, sounding(said)), item.role, said, words,
                session.time(item.start, item.end), _replacement(session, item), item.hide, item.doubtful,
            )
        )  # fmt: skip
    return tuple(mentions)


def _learnt(session: Session, names: _Names, covered: set[int]) -> Iterable[_Found]:
    """What only the learnt model takes for a name: doubtful, without the units found already and without words that
    are no name by themselves or are the rules' to decide (feasts, authors, regions, the words of the subject)."""
    for role, start, end in learnt_names(session, names.term_units, names.term_words, names.cased):
        free = [unit for unit in range(start, end) if unit not in covered and names.may_be_name(unit)]
        for first, last in runs(free):
            yield from _asked_about(session, role, free[first], free[last - 1] + 1)


def _asked_about(session: Session, role: str, start: int, end: int) -> Iterator[_Found]:
    """What a model takes for a name, unless it is an age that need not be hidden."""
    if role != "age over 89" or not _is_young(session.low(start, end)):
        yield _Found(start, end, cast(PersonRole, role), doubtful=True)


#: The probability from which the language model's word that a unit is a name is asked about, and from which it is so
#: where no list or dictionary lets it be a name, or where others have capitals and it has none.
NAME_FROM, NAME_IN_SPITE, NAME_SMALL = 0.25, 0.6, 0.9
SMALL_WORD = 5.0  # on wordfreq's Zipf scale
_NAMED = frozenset(("student", "patient", "relative", "colleague", "place"))


def _is_number(low: str) -> bool:
    return low.isdigit() or low in NUMBER_WORDS


def _read_as_names(session: Session, names: _Names, covered: set[int]) -> Iterable[_Found]:
    """What the language model takes for a name or another identifier and nothing else did: doubtful."""
    opinions = session.opinions
    inside = opinions.inside("name")

    def counts(unit: int) -> bool:
        """A number alone, which the rules decide on."""
        near = [
            names._key(at) for at in (unit - 1, unit, unit + 1) if 0 <= at < len(inside) and inside[at] >= NAME_IN_SPITE
        ]
        return sum(_is_number(low) for low in near) < 2 and _is_number(names._key(unit)) and len(names._key(unit)) < 5

    def may_be(unit: int) -> bool:
        low = names._key(unit)
        return names.may_be_name(unit) or (
            inside[unit] >= NAME_IN_SPITE
            and low not in _SETTLED
            and low not in names.author_words
            and unit not in names.term_units
            and not _foreign(low)
            and not names._history(unit)
            and not counts(unit)
        )

    for start, end in opinions.spans("name", NAME_FROM):
        free = [unit for unit in range(start, end) if unit not in covered and may_be(unit)]
        for first, last in runs(free):
            begin, stop = free[first], free[last - 1] + 1
            role = opinions.role(begin, stop)
            lows = [names._key(unit) for unit in range(begin, stop)]
            named = role in _NAMED and not any(map(_is_number, lows))
            capital = any(names._capital(unit) for unit in range(begin, stop))
            if named and names.cased and not capital and inside[begin:stop].max() < NAME_SMALL:
                continue  # a name mostly has a capital where anything has
            if all(zipf_frequency(low, "en") > SMALL_WORD and not _is_number(low) for low in lows):
                continue
            yield from _asked_about(session, role, begin, stop)


def _is_a_remedy(session: Session, names: _Names, item: _Found) -> bool:
    """Whether only words of remedies, nobody's given names, were taken for a name, and the language model reads none there."""
    if _CALLED.search(session.low(max(0, item.start - 4), item.start)):
        return False  # "her name is Sepia"
    inside = session.opinions.inside("name")[item.start : item.end]
    keys = [names._key(unit) for unit in range(item.start, item.end)]
    return (
        bool(inside.max() < NAME_FROM)
        and names.words_of_remedies.issuperset(keys)
        and names.lists.given.isdisjoint(keys)
    )


_CALLED = re.compile(r"\b(?:names?|named|called|calls|calling|nicknamed)\b")


#: Identifiers said piece by piece, and what is said between the pieces.
_IN_PIECES = frozenset(("phone", "record number", "address", "other identifier"))
_BETWEEN_PIECES = frozenset(
    "no not wait sorry um uh er eh ah oh hmm mm yes yeah is it it's let me see and then again dash hyphen minus dot point at slash stroke underscore double triple of the".split()
)
_BETWEEN_DATES = frozenset("of the in before after last this that year".split())
PIECE_FROM, MOST_BETWEEN = 0.25, 5


def _made_whole(session: Session, names: _Names, item: _Found) -> _Found:
    """An identifier with the pieces of it that stand beyond a hesitation or a small word, as the language model tells."""
    if not item.hide or not (item.role in _IN_PIECES or item.role == "date"):
        return item
    between = _BETWEEN_DATES if item.role == "date" else _BETWEEN_PIECES
    inside = session.opinions.inside("name")

    def reached(at: int, step: int) -> int:
        """The last unit in this direction that belongs to it."""
        gap, look = 0, at + step
        while 0 <= look < len(inside) and gap <= MOST_BETWEEN and look not in names.remedy_units:
            if gap and session.units[min(look, look - step)].text.endswith((".", "?", "!")):
                break  # a sentence ends in between
            low = session.units[look].low.strip(".,")
            if inside[look] >= PIECE_FROM:
                at, gap = look, 0
            elif low in between or _is_number(low):
                gap += 1
            else:
                break
            look += step
        return at

    start, end = reached(item.start, -1), reached(item.end - 1, 1) + 1
    if item.role == "other identifier":
        start, end = _whole_address(session, start, end)
    if item.role == "date" and start and session.units[start - 1].low == "the":
        start -= 1
    return replace(item, start=start, end=end)


_DOTS, _AT_SIGNS = frozenset(("dot", "point")), frozenset(("at", "arobase", "arroba"))
_BEFORE_ADDRESS = frozenset(
    "to on write writes email e-mail mail is it's its was send sends address site website page link channel look under find visit join".split()
)
MOST_OF_ADDRESS = 7  # units before the part of it that is found


def _whole_address(session: Session, start: int, end: int) -> tuple[int, int]:
    """An address of the net to its last part, and from the word that led to it ("write to sepia class at ... dot com")."""
    lows = [unit.low.strip(".,;:?!") for unit in session.units[max(0, start - MOST_OF_ADDRESS) : end + MOST_OF_ADDRESS]]
    first = start - max(0, start - MOST_OF_ADDRESS)
    last = first + end - start
    if not _DOTS & {*lows[first : last + 1]}:
        return start, end
    stop = last
    while stop < len(lows) and (lows[stop - 1] in _DOTS or lows[stop] in _DOTS):
        stop += 1
    at_sign = next((n for n in range(first, max(-1, first - 3), -1) if lows[n] in _AT_SIGNS), None)
    begin = first
    if at_sign is not None or _AT_SIGNS & {*lows[first:last]}:
        led = next((n for n in range(first - 1, -1, -1) if lows[n] in _BEFORE_ADDRESS), None)
        begin = led + 1 if led is not None else min(first, max(0, (first if at_sign is None else at_sign) - 2))
    elif (
        first
        and lows[first - 1] not in _BEFORE_ADDRESS | _AT_SIGNS
        and session.units[start - 1].text[-1:] not in ",.;:?!"
    ):
        begin = first - 1
    return start - (first - begin), end + (stop - last)


_CALLED_SO = frozenset("call called calling named nicknamed".split())
_OBJECTS = frozenset("him her them it me us".split())
_OUT_AT = re.compile(
    r"\b(?:out past|out at|out near|down in|up in|over in|back in|outside|beyond|(?:man|woman|lady|girl|boy|doctor|healer|fellow|somebody|someone|one|people|parents|couple|farmer|teacher|nurse) (?:in|from|near))$"
)
_GONE_TO = frozenset("reached reach reaching gone passing leaving left".split())


def _told_names(session: Session, names: _Names, covered: set[int]) -> Iterable[_Found]:
    """Names known only by how they are told: "they call him Turbo", "Lic. Barradas", "Parth's roommate", "my tanty
    ursuline", "a man in bursa", "Delph way", "at the Royal". All are doubtful."""
    for at in range(1, len(session.units)):
        low = names._key(at)
        if at in covered or not low.isalpha() or len(low) < 3 or _other(low) or low in STATES or low in _NEVER:
            continue
        found = _told_name(session, names, at)
        if found is not None and not names._taught(at, low):
            yield found


def _told_name(session: Session, names: _Names, at: int) -> _Found | None:
    units, low = session.units, names._key(at)
    before, second = units[at - 1].low.rstrip("."), units[at - 2].low if at > 1 else ""
    after = "" if names._comma(at) or at + 1 >= len(units) else units[at + 1].low
    parted = units[at - 1].text[-1:] in ",;:?!"
    author = low in names.author_words
    large = names.cased and names._capital(at)
    capital = large and at not in names.sentence_starts and not units[at].bare.isupper()
    if capital and not parted and not author:
        if (
            before in _OBJECTS
            and second in _CALLED_SO
            or before in _CALLED_SO - {"calling"}
            and second not in ("is", "was", "remedy")
        ):
            return _Found(at, at + 1, "patient", doubtful=True)
    if before in _SHORT_TITLES and (large or not names.cased and _is_rare(low)):
        return _Found(at, at + 1, "colleague", doubtful=True)
    if large and units[at].low.endswith("'s") and after in _KIN_OF and not author and low not in _NOT_CALLED:
        return _Found(at, at + 1, "student", doubtful=True)
    if not names.cased and not parted and not author:
        kin = second in ("my", "his", "her", "our") and before in _RELATIVES | _KIN_TITLES
        if (
            (kin or before in _TITLES_ALONE)
            and _is_rare(low)
            and session.parse.tag(at) in ("NN", "NNP", "NNS", "JJ", "FW")
        ):
            return _Found(at, at + 1, "colleague" if before in ("nurse", "matron") else "relative", doubtful=True)
    if capital and at not in names.term_units:
        if (
            before == "the"
            and low in _REGIONS_NAMED
            or after in ("way", "side", "direction")
            and zipf_frequency(low, "en") < 3.5
        ):
            return _Found(at, at + 1, "place", doubtful=True)
        next_large = bool(after) and units[at + 1].bare[:1].isupper()
        if before == "the" and second in ("at", "in", "to", "from") and low in _HOUSES_OF_CARE and not next_large:
            return _Found(at - 1, at + 1, "place", doubtful=True)
    if names.cased:
        told = not parted and capital and at not in names.term_units and not author
        return (
            _Found(at, at + 1, "place", doubtful=True)
            if told and _OUT_AT.search(session.low(max(0, at - 3), at))
            else None
        )
    if (
        low in ("civil", "general")
        and before in ("at", "in")
        and second in _TAKEN_IN
        and after not in ("hospital", "practice", "surgery")
    ):
        return _Found(at, at + 1, "place", doubtful=True)
    if low in names.lists.places and not parted and zipf_frequency(low, "en") < 3.7:
        gone = (
            before in _GONE_TO | {"hospital", "college", "infirmary"}
            and low not in names.lists.ordinary_places
            and low not in names.term_words
        )
        if gone or _OUT_AT.search(session.low(max(0, at - 3), at)) and session.parse.tag(at) != "VB":
            return _Found(at, at + 1, "place", doubtful=True)
    return None


def _is_rare(low: str) -> bool:
    """A word that English seldom has, and not by its ending one of English."""
    return zipf_frequency(low, "en") < 3.0 and not _ENGLISH_ENDING.search(low)


_TAKEN_IN = frozenset("operated admitted was seen delivered treated born kept".split())
_SHORT_TITLES = frozenset(
    "lic ing arq adv lcda lcdo licenciado licenciada ingeniero dott avv rag mtro mtra dra".split()
)
_TITLES_ALONE = frozenset(
    "nurse matron aunty auntie tanty tantie uncle granny pastor sergeant mister missus headmaster".split()
)
_KIN_OF = frozenset(
    "roommate flatmate brother sister mother father wife husband son daughter friend uncle aunt cousin neighbour neighbor boss mum mam dad grandmother grandfather".split()
)
#: Parts of a country that are named by a plain noun in the plural.
_REGIONS_NAMED = frozenset(
    "borders midlands highlands lakes dales fens potteries downs cotswolds glens marches lowlands islands hills valleys".split()
)
_HOUSES_OF_CARE = frozenset(
    "royal general infirmary memorial victoria western northern eastern southern county civil queen's".split()
)


def _is_young(said: str) -> bool:
    """Whether a number is an age that need not be hidden."""
    value = number_of(said)
    return value is not None and value < 90


def _replacement(session: Session, item: _Found) -> str:
    if item.doubtful and item.role in ("student", "patient", "relative", "colleague"):
        return "[name]"  # it may be a misheard remedy: no role is made up for it
    low = session.low(item.start, item.end)
    year = re.search(r"\b(?:19|20)\d\d\b", low)
    if item.role == "date" and year is not None and bare(low) != year[0]:
        return year[0]  # the year may stand under Safe Harbor
    if item.role == "age over 89" and "years" in session.low(item.start, item.end):
        return "90 or over"
    return REPLACEMENTS[item.role]


# ---------------------------------------------------------------- identifiers with a shape


def _patterns(session: Session, cases: Sequence[tuple[int, int]]) -> Iterable[_Found]:
    taken: set[int] = set()
    for sentence in session.sentences:
        in_case = any(s < sentence.end and sentence.start < e for s, e in cases)
        # Where a sentence ends without a stop it may be the recogniser's line that ends, inside a number.
        open_ended = session.units[sentence.end - 1].text[-1:].isalnum() and sentence.index + 1 < len(session.sentences)
        until = session.sentences[sentence.index + 1].end if open_ended else sentence.end
        for start, end, spoken_role in find_spoken(session, sentence.start, until):
            if not taken & set(range(start, end)):
                if spoken_role == "address":
                    # "Block nine, Lot four, Sampaguita Street": the numbers before the street's are of the address too
                    for house_start, house_end, _ in session.search(_ADDRESS, sentence.start, until):
                        if house_start < end and start < house_end and not taken & set(range(house_start, house_end)):
                            start, end = min(start, house_start), max(end, house_end)
                    end = _with_tail(session, end, until)
                taken.update(range(start, end))
                yield _Found(start, end, spoken_role)
        for pattern, role in (
            (_EMAIL, "other identifier"), (_HANDLE, "other identifier"), (_URL, "other identifier"), (_RECORD, "record number"), (_ADDRESS, "address"), (_DATE, "date"),
            (_PHONE, "phone"), (_PHONE_IN_PAIRS, "phone"), (_VEHICLE, "record number"), (_ANY_NUMBER, "record number"), (_OLD_AGE, "age over 89"),
        ):  # fmt: skip
            for start, end, match in session.search(pattern, sentence.start, until):
                if taken & set(range(start, end)):
                    continue
                if pattern is _PHONE_IN_PAIRS and not _PHONE_CUE.search(sentence.low):
                    continue
                item = _shaped(session, sentence.start, start, end, match, role)  # type: ignore[arg-type]
                if item is not None:
                    taken.update(range(item.start, item.end))
                    yield item
        told = (
            in_case
            or bool(_VISITS.search(sentence.low))
            or bool(_TOLD_OF_ONE.search(sentence.low))
            or _of_one(session, sentence.index)
        )
        for start, end in feasts_in(session, sentence.start, until):
            if _dated_by(session, sentence, start, told) and not taken & set(range(start, end)):
                if start > sentence.start and session.units[start - 1].low == "the":
                    start -= 1
                taken.update(range(start, end))
                yield _Found(start, end, "date")
        for start, end in times_in(session, sentence, told or bool(_ANYBODY.search(sentence.low))):
            if not taken & set(range(start, end)):
                taken.update(range(start, end))
                yield _Found(start, end, "date", doubtful=True)
        if told and _past(session, sentence):
            for _, _, match in session.search(_SEASON, sentence.start, sentence.end):
                first, last = session.span_of(sentence.start, match, "season")
                if not taken & set(range(first, last)):
                    taken.update(range(first, last))
                    yield _Found(first, last, "date")
        for start, end, match in session.search(_MONTH_ALONE, sentence.start, sentence.end):
            month = match["month"]
            first, _ = session.span_of(sentence.start, match, "month")
            if taken & set(range(start, end)) or (
                month in ("march", "may", "mar") and not match["year"] and not session.units[first].bare[:1].isupper()
                and not (not session.cased and month != "mar" and told and session.low(max(start, first - 1), first) in ("in", "since", "last", "until", "till", "during")
                         and session.low(first + 1, min(len(session), first + 2)) not in ("past", "fracture", "fractures", "off", "of"))
            ):  # fmt: skip
                continue
            own_words = (
                _ANYBODY.search(sentence.low)
                and not (_TIMETABLE.search(sentence.low) or _ANNOUNCED.search(sentence.low))
                and (
                    _SINCE_MONTH.search(match[0])
                    or _ONE_PERSON.search(sentence.low)
                    and _tells_the_past(session, sentence)
                )
            )
            if told or match["year"] or own_words:
                edge = re.search(r"(?:the )?(?:end|beginning|start|middle|(?:first|second|third|last) week) of$|(?:early|mid|late) ?$",
                                 session.low(max(sentence.start, first - 4), first))  # fmt: skip
                if edge is not None:
                    first -= edge[0].count(" ") + 1
                yield _Found(first, end, "date")
                taken.update(range(first, end))
        for item in _unlisted(session, sentence, told):
            if not taken & set(range(item.start, item.end)):
                taken.update(range(item.start, item.end))
                yield item
        for unit in range(sentence.start, sentence.end):
            # "the first week of that January", "came back in, I think, October": a month in a person's story
            if (
                told and unit not in taken and session.units[unit].low in _MONTHS_IN_FULL and session.units[unit].bare[:1].isupper()
                and (session.units[unit].low not in ("march", "may") or unit > sentence.start)
                and not _TIMETABLE.search(sentence.low) and session.parse.tag(unit) in ("NNP", "NNPS", "NN")
            ):  # fmt: skip
                taken.add(unit)
                yield _Found(unit, unit + 1, "date")


def _with_tail(session: Session, end: int, until: int) -> int:
    """Where an address ends, with the stair, floor or door said after the house."""
    match = _TAIL.match(session.low(end, until))
    return end + len(match[0].split()) if match else end


def _unlisted(session: Session, sentence: Sentence, told: bool) -> Iterator[_Found]:
    """Years, times and streets by how they are said, all doubtful: what dates a person, or where somebody lives."""
    of_author = _LIVES_OF_AUTHORS.search(_YEAR.sub("", sentence.low)) and any(
        session.units[u].low.removesuffix("'s") in AUTHORS for u in range(sentence.start, sentence.end)
    )
    if (told or _ANYBODY.search(sentence.low)) and not of_author:
        for _, _, match in session.search(_YEAR, sentence.start, sentence.end):
            yield _Found(*session.span_of(sentence.start, match, "year"), "date", doubtful=True)
        for _, _, match in session.search(_EVENT_YEAR, sentence.start, sentence.end):
            yield _Found(*session.span_of(sentence.start, match, "year"), "date", doubtful=True)
    if (told or _ANYBODY.search(sentence.low)) and not _MEASURED.search(sentence.low):
        for _, _, match in session.search(_YEAR_OF_ONE, sentence.start, sentence.end):
            yield _Found(*session.span_of(sentence.start, match, "year"), "date", doubtful=True)
    if not _TIMETABLE.search(sentence.low):
        for _, _, match in session.search(_NEXT_MONTH, sentence.start, sentence.end):
            yield _Found(*session.span_of(sentence.start, match, "month"), "date", doubtful=True)
    for start, end, match in session.search(_NAMED_TIME, sentence.start, sentence.end):
        name = session.units[start]
        own = (
            name.bare[:1].isupper() and start > sentence.start
            if session.cased
            else zipf_frequency(match["name"], "en") < 2.5
        )
        dated = session.units[max(0, start - 2)].low in _BEFORE_TIME
        if (told or dated) and own and name.low not in _MONTHS_IN_FULL and number_of(name.low) is None:
            yield _Found(start, end, "date", doubtful=True)
    if not session.cased:
        for start, end, _ in session.search(_STREET, sentence.start, sentence.end):
            if session.parse.tag(start) in ("NN", "NNP", "NNS", "FW") and session.units[start - 1].low != "the":
                yield _Found(start, end, "place", doubtful=True)


_PART_OF = re.compile(r"\b(?:week|month|night|day|eve|time) of(?: the)?$")
#: What the class is to do, and when; no visit is dated by it.
_ANNOUNCED = re.compile(r"\b(?:we|i|you)(?:'ll| will| shall)\b|\bnext (?:class|lecture|session|time|meeting|week)\b")


def _dated_by(session: Session, sentence: Sentence, at: int, told: bool) -> bool:
    """``by Lent he was at the nets``, ``since Easter``: whether a feast dates what is told, and no lesson to come."""
    if told and _past(session, sentence):
        return True
    before = session.low(max(sentence.start, at - 3), at)
    timed = bool(_TIME_BEFORE.search(before) or _PART_OF.search(before))
    if timed and (_ONE_PERSON.search(sentence.low) or _VISITS.search(sentence.low)):
        return True
    return (told or timed) and not _ANNOUNCED.search(sentence.low) and not _TIMETABLE.search(sentence.low)


def _tells_the_past(session: Session, sentence: Sentence) -> bool:
    return any(session.parse.tag(unit) == "VBD" for unit in range(sentence.start, sentence.end))


def _past(session: Session, sentence: Sentence) -> bool:
    """Whether a sentence tells what was, or has no verb in the present at all."""
    tags = {session.parse.tag(unit) for unit in range(sentence.start, sentence.end)}
    return "VBD" in tags or not tags & {"VBZ", "VBP"}


def _of_one(session: Session, index: int) -> bool:
    """Whether a sentence and its neighbours tell in the past tense of one person."""
    sentence = session.sentences[index]
    near = session.sentences[max(0, index - 2) : index + 2]
    past = any(session.parse.tag(u) == "VBD" for u in range(sentence.start, sentence.end))
    return past and sum(bool(_ONE_PERSON.search(s.low)) for s in near) >= 2


def _shaped(session: Session, base: int, start: int, end: int, match: re.Match[str], role: PersonRole) -> _Found | None:
    if role == "phone":
        digits = re.sub(r"\D", "", match[0])
        words = len(re.findall(r"[a-z]+", match[0]))
        if words and len(re.findall(r"[a-z]+ty\b|[a-z]+teen\b|ten|eleven|twelve", match[0])) >= 3:
            words += 2  # numbers said in pairs stand for two figures each
        steps = [int(figure) for figure in re.findall(r"\d+", match[0])]
        if (
            not words
            and len(steps) > 3
            and steps == sorted(steps)
            and not _PHONE_CUE.search(session.sentence_at(start).low)
        ):
            return None  # 3, 6, 12, 30, 200, 1000: steps of potency
        # counting aloud ("one, two, three …") is no number anybody can call
        counting = re.match(r"(?:zero|one|1)[ ,]+(?:one|two|2)[ ,]+(?:two|three|3)\b", match[0])
        return None if counting or len(digits) + words < 7 else _Found(start, end, role)
    if role == "record number":
        first, last = session.span_of(base, match, "id")
        return _Found(first, last, role)
    if role == "age over 89":
        for whole in ("nineties", "word", "birthday", "plus"):
            if match[whole]:
                return _Found(*session.span_of(base, match, whole), role)
        group = next(name for name in ("age", "age2", "age3", "age4", "age5", "age6", "age7") if match[name])
        beside = group in ("age6", "age7")
        sentence, at = session.sentence_at(start), session.span_of(base, match, group)[0]
        before = session.low(max(sentence.start, at - 4), at) if beside else sentence.low
        if group != "age" and _MEASURED.search(before):
            return None  # fever at 104, a pulse of 96
        value = number_of(match[group])
        if value is None or not 90 <= value <= 125:
            return None
        low = sentence.low
        if beside and not (value in _BARE_OLD_AGES and (_ONE_PERSON.search(low) or re.search(rf"\b{PERSON}\b", low))):
            return None
        return _Found(*session.span_of(base, match, group), role, doubtful=beside)
    if role == "date":
        low = session.sentence_at(start).low
        if (
            _TIMETABLE.search(low)
            and not re.search(r"\d{4}", match[0])
            and not (_ONE_PERSON.search(low) or _VISITS.search(low))
        ):
            return None  # the day of the examination is nobody's own
        while start and (session.units[start - 1].low == "the" or session.units[start - 1].low.endswith("day")):
            start -= 1
    return _Found(start, end, role)


# ---------------------------------------------------------------- names


class _Names:
    def __init__(
        self,
        session: Session,
        hits: Sequence[Hit],
        cases: Sequence[tuple[int, int]],
        question_ranges: Sequence[tuple[int, int]],
        lecturer_names: Sequence[str],
        taken: set[int],
    ) -> None:
        self.session = session
        self.lists = name_lists()
        self.cases = cases
        self.question_ranges = question_ranges
        self.taken = taken
        # "the lecturer" is how one without a name is printed; it is no name.
        self.lecturer = {
            word
            for name in lecturer_names
            for word in sounding(name).split()
            if word not in _TITLES and word not in {"the", "lecturer", "and", "of"} and len(word) > 1
        }
        vocabulary = session.vocabulary
        self.term_words = _term_words(vocabulary)
        self.words_of_remedies = _words_of_remedies(vocabulary)
        self.author_words, self.author_names = _author_words(vocabulary)
        self.author_full = _author_full(vocabulary)
        self.labels = label_index(vocabulary).labels
        self.remedy_words = [word for word in label_index(vocabulary).single_words if len(word) > 3]
        self.term_units = {
            unit
            for hit in hits
            if hit.exact and not hit.concept_id.startswith("author/")
            for unit in range(hit.start, hit.end)
        }
        self.remedy_units = {
            unit
            for hit in hits
            if hit.exact and hit.concept_id.startswith("remedy/")
            for unit in range(hit.start, hit.end)
        }
        self.spoken_words = sorted(
            {word for unit in self.remedy_units if len(word := session.units[unit].low.removesuffix("'s")) > 3}
        )
        #: Remedies of two words as one, which is how a recogniser that does not know them writes them.
        self.spoken_joined = sorted(
            {word for hit in hits if hit.exact and hit.concept_id.startswith("remedy/") and hit.end - hit.start > 1
             if len(word := "".join(session.units[u].low for u in range(hit.start, hit.end))) > 7}
        )  # fmt: skip
        self.sentence_starts = {sentence.start for sentence in session.sentences}
        self.entities: dict[int, str] = {}
        self.cased = session.cased
        for start, end, label in session.parse.entities(self._may_hold_a_name()):
            for unit in range(start, end):
                self.entities[unit] = label
        self.unsure: set[int] = set()  # units at which a place begins that may be none
        self.lower_seen = {unit.bare for unit in session.units if unit.bare.islower()}

    def _may_hold_a_name(self) -> list[Sentence]:
        """The sentences whose entities can matter: all where no capitals are written, else those with a capital on a
        word that is neither of the vocabulary nor only the first of its sentence."""
        if not self.cased:
            return list(self.session.sentences)
        wanted = {
            self.session.sentence_at(unit).index
            for unit in range(len(self.session.units))
            if self._capital(unit)
            and unit not in self.term_units
            and self.session.units[unit].low not in _ALWAYS_CAPITAL
            and (unit not in self.sentence_starts or self._key(unit) not in OPENERS)
        }
        return [self.session.sentences[index] for index in sorted(wanted)]

    def find(self) -> list[_Found]:
        found = self._places()
        used = self.taken | {unit for item in found for unit in range(item.start, item.end)}
        names: list[_Found] = []
        at = 0
        while at < len(self.session.units):
            item = None if at in used else self._name_at(at, used)
            if item is None:
                at += 1
                continue
            names.append(item)
            at = item.end
        names += self._again(names, used)
        return found + self._whole(names, used)

    # A name once known is hidden wherever it is said again, whatever its case.
    def _again(self, names: list[_Found], used: set[int]) -> list[_Found]:
        known: dict[str, _Found] = {}
        for item in names:
            if not item.hide:
                continue
            for unit in range(item.start, item.end):
                low = self._key(unit)
                if low in self.author_words:
                    continue  # a student Kent Joseph, or one called on as Kent, does not make the author one
                if len(low) > 2 and low not in _TITLES and low not in _AFTER_TITLES and low not in _NEVER:
                    known.setdefault(low, item)
        covered = used | {unit for item in names for unit in range(item.start, item.end)}
        more: list[_Found] = []
        for at, _ in enumerate(self.session.units):
            low = self._key(at)
            if at in covered or low not in known:
                continue
            ordinary = low in self.lists.ordinary_names or zipf_frequency(low, "en") > 4.2 or low in self.term_words
            if (ordinary and not self._capital(at)) or at in self.remedy_units:
                continue
            more.append(_Found(at, at + 1, known[low].role, known[low].doubtful))
        return more

    def _whole(self, names: list[_Found], used: set[int]) -> list[_Found]:
        """The whole of a name said again, with the word before it where that stood before it elsewhere, ordinary or not."""
        pairs = {
            (self._key(u - 1), self._key(u)) for item in names if item.hide for u in range(item.start + 1, item.end)
        }
        covered = used | {unit for item in names for unit in range(item.start, item.end)}
        return [
            replace(item, start=item.start - 1)
            if item.start > 0
            and item.start - 1 not in covered
            and (self._key(item.start - 1), self._key(item.start)) in pairs
            and not self._parted(item.start - 1)
            else item
            for item in names
        ]

    def _said_once(self, at: int) -> bool:
        """Whether the word of a remedy stands nowhere else in the session, so that it is hardly taught there."""
        return sum(self._key(unit) == self._key(at) for unit in self.remedy_units) == 1

    def _taught(self, at: int, low: str) -> bool:
        """A remedy that is nobody's given name, in a session that says it again ("my aunty Calcarea cured")."""
        return at in self.remedy_units and low not in self.lists.given and not self._said_once(at)

    def _key(self, unit: int) -> str:
        return self.session.units[unit].low.removesuffix("'s").removesuffix("'")

    def _capital(self, unit: int) -> bool:
        text = self.session.units[unit].bare
        return text[:1].isupper() and not (len(text) > 3 and text.isupper())

    def _before(self, unit: int, back: int = 1) -> str:
        return self.session.units[unit - back].low if unit - back >= 0 else ""

    def _after(self, unit: int) -> str:
        return self.session.units[unit].low if unit < len(self.session.units) else ""

    def _comma(self, unit: int) -> bool:
        return 0 <= unit < len(self.session.units) and self.session.units[unit].text.endswith(
            (",", ".", "?", "!", ";", ":")
        )

    def _listed(self, unit: int) -> bool:
        low = self._key(unit)
        if "-" in low:
            return all(
                (part in self.lists.given or part in self.lists.surnames) and part not in self.lists.ordinary_names
                for part in low.split("-")
            )
        if re.match(r"(?:o|d|l|mc|mac)['’][a-z]{3,}$", low):
            return True
        return low in self.lists.given or low in self.lists.surnames

    def _name_at(self, at: int, used: set[int]) -> _Found | None:
        low = self._key(at)
        if (
            low in _MONTH_NAMES | _DAY_NAMES and self._capital(at)
            and (self._vocative(at) and self._after(at + 1) in _VOCATIVE_AFTER or at in self.sentence_starts and self._addressed(at, at + 1))
        ):  # fmt: skip
            return _Found(at, at + 1, "student", doubtful=True)
        if any(c.isdigit() or c == "." for c in low):
            return None  # LM1, e.g.
        if (kin := self._with_respect(at, low)) or (kin := self._at_a_persons_place(at, low)):
            return kin
        if not low or not low[0].isalpha() or _other(low) or low in STATES or low in _NEVER or _plain(low) in _NEVER:
            return None
        if feast := self._unknown_feast(at, low, used):
            return feast
        if initialled := self._initials(at, used):
            return initialled
        before, after = self._before(at), self._after(at + 1)
        title = before.rstrip(".") if at - 1 not in used else ""
        titled = (title in _TITLES and self._title_meant(at, title)) or self._after_kin(at, title)
        if low in {"so", "good", "well", "now"} and not titled:
            return None  # names somewhere, but hardly ever meant
        if low in _TITLES and not titled:
            rank = low not in {
                "doctor",
                "dr",
                "professor",
                "prof",
                "miss",
                "sister",
                "mother",
                "father",
                "baby",
                "master",
            }
            if rank and self._capital(at) and at not in self.sentence_starts and self._vocative(at) and self.cased:
                return _Found(at, at + 1, "student", doubtful=True)  # "a little, Colonel.": a name misheard
            return None
        capital, listed = self._capital(at), self._listed(at)
        frequency = zipf_frequency(low, "en")
        tag = self.session.parse.tag(at)
        ordinary = low in self.lists.ordinary_names or (low in self.term_words and low not in self.lists.given)
        ordinary = ordinary or (frequency >= 4.7 and tag not in ("NNP", "NNPS"))
        called = after in _AFTER_TITLES and not self._comma(at) and low not in _GENERAL_BEFORE_PLACE
        inner = at not in self.sentence_starts and self.cased
        # a word no list has, written with a capital where English has none
        proper = capital and inner and not listed and frequency < 4.0 and self._proper(at)
        sure_title = self._after_sure_title(at, title, frequency)
        if (
            not listed
            and frequency >= 3.2
            and not (titled and capital)
            and not (called and capital and frequency < 4.5)
            and not proper
            and not sure_title
        ):
            return self._called_by_word(at, low, capital)
        name_like = capital or (listed and not ordinary)
        evidence, strong, introduced = 0.0, False, False
        if titled:
            evidence += (
                3.0 if capital else 2.0 if listed and not ordinary else 1.6 if sure_title or self._unknown(at) else 0.0
            )
            strong = capital or listed
        if called and name_like:
            evidence += 2.5
            strong = True
        addressed = capital and self.cased and self._addressed(at, at + 1)
        if addressed and (listed or self._unknown(at)) and frequency < 5.2:
            evidence += 1.6
            strong = strong or listed
        if self._vocative(at) and (name_like or (not self.cased and self._unknown(at))):
            # without a capital only a plain form of address will do ("yes priya")
            if capital or not self.cased or before in _CALLS:
                evidence += 1.6
            strong = strong or (capital and (listed or self.entities.get(at) == "PERSON"))
        preceding = self.session.low(max(0, at - 4), at)
        if _INTRODUCES.search(preceding) and name_like:
            evidence += 2.0
            introduced = not re.search(r"(?:i am|i'm|this is|called|named)$", preceding)
            strong = strong or introduced
        joined = at > 0 and at not in self.sentence_starts
        if before in _RELATIVES and name_like and joined:
            evidence += 1.5
        if (
            before in _PERSON_NOUNS
            and joined
            and name_like
            and (capital or self._unknown(at) or low in self.lists.given)
        ):
            evidence += 1.5
        if after in _SPEECH_VERBS and capital:
            evidence += 0.8 if tag not in ("NNP", "NNPS") or low in self.term_words else 1.5
        if self.session.units[at].low.endswith("'s") and after in _RELATIVES and capital:
            evidence += 1.5
        if capital:
            if listed and not ordinary:
                evidence += 2.2 if low in self.lists.given else 1.6
            elif listed:
                evidence += 0.4 if at in self.sentence_starts else 1.0
            if self.entities.get(at) == "PERSON" and (listed or frequency < 3.2):
                evidence += 1.0
            begins = at in self.sentence_starts
            if self._unknown(at) and (
                not begins
                or (
                    frequency < 1.5
                    and tag in ("NNP", "NNPS")
                    and not self._comma(at)
                    and after not in ("", "and", "the")
                )
                or after in _SPEECH_VERBS
                or self.entities.get(at) == "PERSON"
                or addressed
                or (self.session.units[at].text.endswith(",") and tag in ("NNP", "NNPS"))
            ):
                evidence += 1.5
            if proper:
                evidence += 1.5
        elif not self.cased:
            if low in self.lists.given and not ordinary and frequency < 4.0:
                evidence += 1.6
            elif self._unknown(at) and (
                frequency < 1.9 or before in _CALLS or after in _VOCATIVE_AFTER or before in _PERSON_NOUNS or self._introduced(at)
            ) and not _ENGLISH_ENDING.search(low):  # fmt: skip
                evidence += 1.5
        elif listed and not ordinary and before in {"named", "called"}:
            evidence += 1.5
        named = (
            low in self.lists.given
            and capital
            and inner
            and not any(i.startswith("remedy/") for i in self.labels.get(low, ()))
        )
        saintly = before.rstrip(".") in {"saint", "st", "san", "santa"}
        if saintly and (
            after in _OF_SAINTS or (self._before(at, 2) == "of" and self._before(at, 3).removesuffix("s") in _OF_SAINTS)
        ):
            return None  # a plant, a disease or a piece of music
        if after in {"chaturthi", "festival", "puja", "utsav", "temple", "disease", "syndrome", "palsy", "sign"}:
            return None
        if (at in self.term_units or low in self.term_words) and not (
            (strong and capital and at not in self.remedy_units)
            or sure_title
            or ((titled or called or introduced) and capital and not self._taught(at, low))
            or (named and at not in self.term_units and frequency > 2.0)
            or (addressed and low in self.lists.given and (at not in self.remedy_units or self._said_once(at)))
        ):
            # Sabina, Iris, Veronica are remedies as well as names: only a title or a form of address decides.
            return None
        if at in self.remedy_units:
            strong = False
        if evidence < 1.5 and self._foreign_name(at, low, capital):
            return _Found(
                at, at + 1, "student" if not any(s <= at < e for s, e in self.cases) else "patient", doubtful=True
            )
        if evidence < 1.5:
            return self._called_by_word(at, low, capital)
        if before in _PLACE_BEFORE and not titled and not listed and self._history(at):
            return None  # "Hahnemann was born in Meissen"
        end = at + 1
        while end < len(self.session.units) and not self._parted(end - 1) and end not in used and self._continues(end):
            end += 1
        if end < len(self.session.units) and self._key(end) in _AFTER_TITLES and not self._comma(end - 1):
            end += 1
        start = at - 1 if titled and (title not in _RELATIVES or self._capital(at - 1)) else at
        while start == at and self._leads(at - 1, used):
            at -= 1
            start = at
        if (
            not self.cased
            and start == at
            and at > 1
            and at - 1 not in used
            and self._introduced(at - 1)
            and self._may_lead(at - 1)
        ):
            start = at - 1  # "his name allah rakha"
        if (
            start == at
            and at not in self.sentence_starts
            and before.rstrip(".") in _COLLEAGUE_TITLES
            and at - 1 not in used
        ):
            start = at - 1  # "doctor bhattacharjee" in a transcript without capitals
        if start < at and start > 1 and self._before(start) == "and" and self._before(start, 2).rstrip(".") in _TITLES:
            start -= 2  # "Mr. and Mrs. Talwar"
        found = self._role(at, end, titled, strong or (listed and evidence >= 2.0))
        return None if found is None else _Found(start, found.end, found.role, found.doubtful, found.hide)

    def _called_by_word(self, at: int, low: str, capital: bool) -> _Found | None:
        """``Good, Sunny, sit down.``: an ordinary word in a capital where somebody is addressed. Always doubtful."""
        if (
            not capital
            or not self.cased
            or len(low) < 3
            or low in _NOT_CALLED
            or low in _VOCATIVE_BEFORE | _GENERAL_BEFORE_PLACE
        ):
            return None
        if self._at_a_person(at, low):
            return _Found(at, at + 1, "relative" if self._before(at) in _RELATIVES else "patient", doubtful=True)
        if self._names_a_person(at, low):
            return _Found(at, at + 1, "student", doubtful=True)
        praised = self._before(at) in _CALLS | {"good", "right", "nice", "correct", "excellent"} and self._comma(at - 1)
        if (low in self.term_words and not praised) or at in self.remedy_units or self.session.units[at].bare.isupper():
            return None
        inner = at not in self.sentence_starts
        opening = self.session.units[at].text.endswith(",") and self.session.parse.tag(at) in ("NNP", "NNPS")
        set_off = self._comma(at) and (
            self._comma(at - 1) if inner else opening and self._after(at + 1) in _VOCATIVE_AFTER
        )
        if set_off or (inner and self._before(at) in _CALLS and self._comma(at)):
            return _Found(at, at + 1, "student", doubtful=True)
        return None

    def _names_a_person(self, at: int, low: str) -> bool:
        """An ordinary word in a capital where by grammar only a person stands: ``Precious move your bag`` (one subject,
        a plain verb), ``Mere asked``, ``call Lucky for the key``, ``Lucky, that's the name``."""
        units, parse, sentence = self.session.units, self.session.parse, self.session.sentence_at(at)
        if (
            low in self.term_words
            or at in self.term_units
            or low in self.author_words
            or _other(low)
            or low in OPENERS | FEASTS
        ):
            return False
        tag = parse.tag(at)
        if (
            tag in ("NNS", "NNPS", "PRP", "DT", "WP", "WRB", "IN", "CC", "MD", "CD", "EX")
            or units[at].bare.isupper()
            or at + 1 >= sentence.end
        ):
            return False
        after = units[at + 1].low
        opens = at == sentence.start
        if units[at].text.endswith(","):
            return bool(
                re.match(
                    r"(?:that's|that is|this is) (?:the|her|his|a) (?:\w+ )?name\b",
                    self.session.low(at + 1, min(sentence.end, at + 6)),
                )
            )
        if self._comma(at):
            return not opens and self._before(at) in _RUNG
        if opens and after in _REPORTS and tag in ("NN", "NNP", "JJ", "RB", "UH"):
            return True
        if (
            not opens
            and self._before(at) in _RUNG
            and tag in ("NNP", "NN", "JJ")
            and parse.tag(at + 1) not in ("NN", "NNS")
        ):
            return True
        return (
            opens and tag in ("NNP", "NN", "JJ") and parse.tag(at + 1) in ("VB", "VBP") and at + 2 < sentence.end
            and units[at + 2].low in {"your", "you", "me", "us", "the", "that", "my", "it"} and after not in {"are", "do", "have", "am"}
        )  # fmt: skip

    def _unknown_feast(self, at: int, low: str, used: set[int]) -> _Found | None:
        """``since Dasain``, ``on Waitangi weekend``: a proper noun of no list where time is told dates something."""
        if (
            not self._capital(at)
            or not self.cased
            or at in self.sentence_starts
            or self._listed(at)
            or at in self.term_units
        ):
            return None
        end = at + 1
        while end < len(self.session.units) and end not in used and self._capital(end) and not self._parted(end - 1):
            end += 1
        ends_so = end < len(self.session.units) and not self._parted(end - 1) and self._key(end) in _FEAST_NOUNS
        if not ends_so and self._key(end - 1) in _FEAST_NOUNS and end - at > 1:
            ends_so, end = True, end - 1
        timed = self._before(at) in _SINCE or (self._before(at) == "the" and self._before(at, 2) in _SINCE)
        if not (ends_so or timed) or not (self._unknown(at) or self._proper(at)) or self._history(at):
            return None
        return _Found(at, end + ends_so, "date", doubtful=True)

    def may_be_name(self, at: int) -> bool:
        """Whether a word can be a name or part of one at all, wherever it stands."""
        low = self._key(at)
        known = (
            low in self.term_words
            or low in self.author_words
            or at in self.term_units
            or _other(low)
            or bool(MEDICINE.fullmatch(low))
        )
        if known or low in _SETTLED or len(low) < 3 or not low.isalpha() or self._history(at):
            return False
        if self.session.parse.tag(at) == "NNS" and low not in self.lists.given:
            return False
        if in_dictionary(low) and not (self.cased and self._capital(at)):
            return False
        return zipf_frequency(low, "en") < (4.6 if low in self.lists.given else 3.6)

    def _with_respect(self, at: int, low: str) -> _Found | None:
        """``Mohan-da``, ``Keiko-san``: a name with an ending of kinship or respect."""
        match = _RESPECT.fullmatch(low)
        if (
            match is None
            or not self._capital(at)
            or match[1] in _TITLES
            or match[1] in _RELATIVES
            or match[1] in _NEVER
        ):
            return None
        if match[1] in {"guru", "swami", "master", "teacher", "doctor", "daktar", "sir", "madam"}:
            return None
        return _Found(at, at + 1, "student", doubtful=zipf_frequency(match[1], "en") > 4.2)

    def _whose_person(self, at: int) -> bool:
        """``my neighbour Silica``: a capital right after somebody's relative or friend."""
        return (
            at > 1 and not self._comma(at - 1) and self._before(at, 2) in {"my", "our", "his", "her", "your", "their"}
            and self._before(at) in _RELATIVES | _PERSON_NOUNS - {"patient", "child", "baby", "teacher", "senior"}
        )  # fmt: skip

    def _foreign_name(self, at: int, low: str, capital: bool) -> bool:
        """A capital and letters English has not, inside a sentence, and no word of the vocabulary or of a greeting."""
        plain = _plain(low)
        return (
            capital and self.cased and _foreign(low) and at not in self.sentence_starts and len(low) > 2 and plain not in _NEVER
            and low not in self.term_words and plain not in self.term_words and low not in self.author_words and plain not in self.author_words
            and at not in self.term_units and low not in self.lower_seen and plain not in OTHER_PROPER
            and plain + "'s" not in OTHER_PROPER and self._after(at + 1) not in {"syndrome", "disease", "duct", "sign", "reflex", "test", "salts"}
        )  # fmt: skip

    def _at_a_persons_place(self, at: int, low: str) -> _Found | None:
        """A word of the vocabulary, an author or a feast where only a person is called, thanked or named: doubtful.

        ``Go, Sepia.``, ``Dunham, your question``, ``her name is Iris``. The position outranks the lists.
        """
        if not self._capital(at) or not self.cased or low in _TITLES or low in _NOT_CALLED or len(low) < 3:
            return None
        if low in _NEVER and low not in FEASTS:
            return None
        foreign = _foreign(low)
        known = at in self.term_units or low in self.term_words or low in self.author_words or low in FEASTS
        if not known and not foreign:
            return None
        units, sentence = self.session.units, self.session.sentence_at(at)
        opens = at == sentence.start or self._comma(at - 1)
        ends = self._comma(at) or at + 1 >= sentence.end
        after = self.session.low(at + 1, min(sentence.end, at + 7))
        before = self.session.low(max(sentence.start, at - 5), at)
        given = low in self.lists.given or foreign
        called = bool(ends and _CALLED_ON.search(before)) and not ("sorry" in before and units[at].text.endswith(","))
        called = called or bool(_NAMED_SO.search(before)) or self._whose_person(at)
        spoken_to = opens and bool(_TO_A_PERSON.match(after))
        asked = (
            units[at].text.endswith("?") and self._comma(at - 1) and sentence.end - sentence.start <= 3
            and self._before(at) in {"yes", "okay", "ok", "hello"}
        )  # fmt: skip
        by_name = given and opens and self._addressed(at, at + 1) and (foreign or low not in self.author_words)
        if not (called or spoken_to or asked or by_name):
            return None
        if by_name and not (called or spoken_to or asked) and low not in self.lists.given:
            return None if _plain(low) in _NEVER else _Found(at, at + 1, "student", doubtful=True)
        return _Found(at, at + 1, "student", doubtful=True)

    def _at_a_person(self, at: int, low: str) -> bool:
        """``my brother Hope``, ``a girl called Sunny``: any capital right after a word for a person or a naming."""
        before = self._before(at)
        return (
            (before in _RELATIVES or before in _PERSON_NOUNS or bool(_INTRODUCES.search(self.session.low(max(0, at - 4), at))))
            and at not in self.sentence_starts and not self._comma(at - 1) and at not in self.term_units
            and low not in self.term_words and low not in self.author_words and not _other(low) and low not in FEASTS
            and self.session.units[at].bare not in ("I",) and not self.session.units[at].bare.isupper()
        )  # fmt: skip

    def _initials(self, at: int, used: set[int]) -> _Found | None:
        """``Dr. S. K. Banerjee``, ``A. P. Kelkar``, ``Mrs. K.``: initials are not published either."""
        units = self.session.units
        if (
            not _INITIAL.match(units[at].text.strip("\"'("))
            or units[at].bare == "I"
            and not units[at].text.endswith(".")
        ):
            return None
        title = self._before(at).rstrip(".")
        titled = title in _TITLES and self._title_meant(at, title)
        end = at + 1
        while end < len(units) and end not in used and _INITIAL.match(units[end].text) and not self._parted(end - 1):
            end += 1
        lettered = all(units[unit].text.endswith(".") for unit in range(at, end))
        named = False
        while (
            end < len(units) and end not in used and not self._parted(end - 1) and self._capital(end)
            and not _INITIAL.match(units[end].text) and self._key(end) not in OTHER_PROPER and end not in self.remedy_units
            and (titled or named or self._unknown(end) or (self._listed(end) and zipf_frequency(self._key(end), "en") < 4.7))
        ):  # fmt: skip
            named = True
            end += 1
        before = self._before(at)
        if not (titled or (named and lettered) or (lettered and before in _PERSON_NOUNS)):
            return None
        found = self._role(at, end, titled, True)
        start = at - 1 if titled else at
        return None if found is None else _Found(start, end, found.role, found.doubtful, found.hide)

    def _parted(self, unit: int) -> bool:
        """A comma or stop after a unit, other than the stop of an initial."""
        return self._comma(unit) and not (_INITIAL.match(self.session.units[unit].text) and self._key(unit) != "i"
                                          and self.session.units[unit].text.endswith("."))  # fmt: skip

    def _proper(self, unit: int) -> bool:
        """A proper noun by tag and shape, not a word of the subject, a people, a tongue or a make known to the lists."""
        low = self._key(unit)
        if (
            low in self.term_words or low in OTHER_PROPER or low in STATES or low in self.author_words
            or low in self.lower_seen or unit in self.term_units or len(low) < 3
            or not (low.isalpha() or re.fullmatch(r"[A-Z]\w+(?:-[A-Z]\w+)+", self.session.units[unit].bare.removesuffix("'s")))
            or self.session.units[unit].bare.isupper() or low in self.lists.places
        ):  # fmt: skip
            return False
        if re.search(r"(?:ian|ean|ish|ese|ic|ism|ist|ology|opathy)$", low):
            return False
        if process.extractOne(low, self.spoken_words, scorer=fuzz.ratio, score_cutoff=GARBLED) is not None:
            return False
        return self.session.parse.tag(unit) in ("NNP", "NNPS") or self.entities.get(unit) == "PERSON"

    def _history(self, at: int) -> bool:
        """Whether a sentence outside a case speaks of an author of books."""
        sentence = self.session.sentence_at(at)
        return (
            bool(_LIVES_OF_AUTHORS.search(sentence.low))
            and any(self._key(u) in self.author_words and self._capital(u) for u in range(sentence.start, sentence.end))
            and (self._key(sentence.start) in self.author_words or not any(s <= at < e for s, e in self.cases))
        )

    def _after_kin(self, at: int, title: str) -> bool:
        """``papa ofosu``, ``Mzee Juma``: a name after a word for an elder or a calling; "Papa Hahnemann" stays."""
        low = self._key(at)
        if title not in _KIN_TITLES or self._comma(at - 1) or low in self.author_words or at in self.term_units:
            return False
        if self.cased:
            return self._capital(at) and self._capital(at - 1) and low not in self.term_words
        return self._unknown(at) or (
            low in self.lists.given and low not in self.lists.ordinary_names and zipf_frequency(low, "en") < 4.0
        )

    def _after_sure_title(self, at: int, title: str, frequency: float) -> bool:
        """``mrs dympna``, ``dr lim`` where no capitals are written: a noun or a word of no list."""
        low = self._key(at)
        return (
            not self.cased and title in _SURE_TITLES and not self._comma(at - 1) and frequency < 4.6 and low.replace("-", "").isalpha() and len(low) > 1
            and at not in self.remedy_units and low not in self.author_words
            and self.session.parse.tag(at) in ("NN", "NNP", "NNS", "NNPS", "FW", "JJ", "UH")
        )  # fmt: skip

    def _title_meant(self, at: int, title: str) -> bool:
        if title in {
            "sister",
            "brother",
            "father",
            "mother",
            "uncle",
            "aunt",
            "aunty",
            "auntie",
            "baby",
            "master",
            "major",
            "doctor",
            "principal",
            "miss",
        }:
            return self._capital(at) and not self._comma(at - 1)
        # A stop belongs to a title only where it is shortened: "Prof. Rao", not "Yes, Professor. It is".
        return not self._comma(at - 1) or (
            self.session.units[at - 1].text.endswith(".") and len(title) < 5 and title not in {"baby", "miss"}
        )

    def _introduced(self, at: int) -> bool:
        """Whether the words before say that a name comes."""
        low = self.session.low(max(0, at - 13), at)
        return bool(_INTRODUCES.search(low) or _NAME_COMES.search(low))

    def _may_lead(self, unit: int) -> bool:
        """Whether a word without a capital, where a name is told, may be the first of two names."""
        low = self._key(unit)
        return (
            low.isalpha() and len(low) > 2 and zipf_frequency(low, "en") < 5.2 and unit not in self.term_units
            and self.session.parse.tag(unit)[:2] in ("NN", "JJ", "FW", "UH")
        )  # fmt: skip

    def _leads(self, unit: int, used: set[int]) -> bool:
        """``Princess`` before Mae, ``Blessing`` before Udo: a capital that belongs to the name after it."""
        if (
            unit < 0
            or unit in used
            or not self.cased
            or not self._capital(unit)
            or self._comma(unit)
            or unit in self.term_units
        ):
            return False
        low = self._key(unit)
        if (
            low in _TITLES
            or low in OTHER_PROPER
            or low in _NEVER
            or low in _NOT_CALLED
            or low in _RELATIVES
            or not low.isalpha()
        ):
            return False
        if (
            low in _VOCATIVE_BEFORE
            or low in _PERSON_NOUNS
            or low in STATES
            or (low in self.author_words and not self._listed(unit))
        ):
            return False
        if unit not in self.sentence_starts:
            return True
        return (
            self._listed(unit)
            and low not in OPENERS
            or (
                self.session.parse.tag(unit) in ("NNP", "NN") and zipf_frequency(low, "en") < 5.0 and low not in OPENERS
            )
        )

    def _continues(self, unit: int) -> bool:
        low = self._key(unit)
        if not self.cased:
            return self._goes_on(unit, low)
        if not self._capital(unit) or low in OTHER_PROPER or low in self.term_words or unit in self.term_units:
            return False
        return (
            self._listed(unit)
            or self._unknown(unit)
            or zipf_frequency(low, "en") < 4.0
            or self.entities.get(unit) == "PERSON"
            or len(low) == 1
        )

    def _goes_on(self, unit: int, low: str) -> bool:
        """Whether a name goes on with this word where no capitals are written: ``lim siew hong``, ``livia munteanu-pop``."""
        if (
            not low.replace("-", "").isalpha() or low in OTHER_PROPER or low in self.term_words or unit in self.term_units
            or low in _NEVER or low in _AFTER_TITLES or self.session.parse.tag(unit).startswith("V") or in_dictionary(low)
        ):  # fmt: skip
            return False
        frequency = zipf_frequency(low, "en")
        if low in self.lists.ordinary_names and not (
            self._key(unit - 1) in self.lists.given
            and self.session.parse.tag(unit) in ("NN", "NNP")
            and frequency < 4.0
        ):
            return False
        if self._listed(unit):
            return frequency < 4.3
        return (frequency < 2.0 or ("-" in low and frequency < 3.0)) and not _ENGLISH_ENDING.search(low)

    def _unknown(self, unit: int) -> bool:
        """A word that neither the vocabulary nor the dictionary knows, and that does not sound like a remedy."""
        low = self._key(unit)
        if low in self.term_words or low in OTHER_PROPER or low in STATES or low in self.author_words or len(low) < 3:
            return False
        if low in self.lower_seen and self.cased:
            return False
        if MEDICINE.fullmatch(low) or ((not self.cased or unit in self.sentence_starts) and in_dictionary(low)):
            return False
        if zipf_frequency(low, "en") >= 2.6 or any(c.isdigit() for c in low) or "'" in low or "-" in low:
            return False
        here = process.extractOne(low, self.spoken_words, scorer=fuzz.ratio, score_cutoff=GARBLED)
        if here is None and len(low) > 5:
            here = process.extractOne(low, self.spoken_joined, scorer=fuzz.ratio, score_cutoff=GARBLED_JOINED)
        best = here or process.extractOne(low, self.remedy_words, scorer=fuzz.ratio, score_cutoff=GARBLED_ANYWHERE)
        return best is None

    def _addressed(self, first: int, last: int) -> bool:
        """Whether units ``first`` to ``last`` (half-open) are set off and what follows speaks to somebody.

        ``Iris, pull over that door``: an imperative, a question or a ``you`` after the comma.
        """
        units = self.session.units
        sentence = self.session.sentence_at(first)
        if last >= len(units) or not (
            first == sentence.start
            or self._comma(first - 1)
            or self._before(first) in _CALLS | {"and", "please", "so", "but"}
        ):
            return False
        if not units[last - 1].text.endswith((",", ":", "?", "!")) and units[last].low != "please":
            return False
        if last >= sentence.end:
            return units[last - 1].text.endswith("?") and last - first == sentence.end - sentence.start
        if units[last].low == "please" or units[last - 1].text.endswith(":"):
            return True
        stop = next((u + 1 for u in range(last, sentence.end) if self._comma(u)), sentence.end)
        words = [units[u].low for u in range(last, stop)]
        if {"you", "your", "you're", "you've", "yours", "you'd", "yourself", "you'll"} & set(words[:6]):
            return True
        if sentence.text.rstrip("\"'”’ ").endswith("?"):
            return True
        tag = self.session.parse.tag(last)
        return tag == "VB" or (
            tag == "VBP" and last + 1 < len(units) and self.session.parse.tag(last + 1) not in ("VBN", "VBG")
        )

    def _vocative(self, at: int) -> bool:
        before, after = self._before(at), self._after(at + 1)
        opens = at in self.sentence_starts
        set_off_before = opens or self._comma(at - 1)
        set_off_after = self._comma(at)
        if (
            not opens
            and before in {"thank", "thanks", "you"}
            and self._before(at, 2) in {"thank", "yes", ""}
            and set_off_after
        ):
            return True
        if set_off_before and set_off_after:
            return opens is False or after in _VOCATIVE_AFTER or after in _VOCATIVE_BEFORE
        if before in _VOCATIVE_BEFORE and set_off_after and before not in {"and", "so", "now", "like", "very", "the"}:
            return True
        return opens and set_off_after and after in _VOCATIVE_AFTER

    def _role(self, start: int, end: int, titled: bool, sure: bool) -> _Found | None:
        lows = {self._key(unit) for unit in range(start, end)}
        if lows & self.lecturer:
            return _Found(start, end, "lecturer")
        known_authors = lows & self.author_words
        before = self._before(start)
        title = before.rstrip(".") if titled else ""
        if (
            known_authors
            and not self._student_context(start, end)
            and not (start + 1 < end and self._addressed(start, end))
            and (not titled or title in _COLLEAGUE_TITLES)
        ):
            # An author's surname together with another given name is another person of that name.
            others = {low for low in lows - known_authors if low in self.lists.given and low not in self.author_names}
            if (
                len(lows) > 1
                and not any(lows <= name for name in self.author_full)
                and lows & self.lists.given
                and start + 1 < end
            ):
                others |= lows - known_authors or lows
            near = self.session.low(max(0, start - 5), start - 1 if titled else start)
            living = titled and re.search(r"\b(?:my|our) (?:\w+ )?(?:friend|colleague|teacher|senior|junior|partner|doctor|"
                                          r"surgeon|physician|neighbou?r)$|\bby$|\bto$|\brang$|\bcalled$|\bphoned$", near.strip(" ,"))  # fmt: skip
            if not others and living and any(s <= start < e for s, e in self.cases):
                return _Found(start, end, "colleague", doubtful=True)
            if not others:
                return None
        if titled and before.rstrip(".") in _COLLEAGUE_TITLES:
            role: PersonRole = "colleague"
        elif before in _RELATIVES:
            role = "relative"
        elif (
            self._student_context(start, end)
            or self._addressed(start, end)
            or any(s <= start < e for s, e in self.question_ranges)
        ):
            role = "student"
        elif any(s <= start < e for s, e in self.cases):
            role = "patient"
        else:
            role = "student"
        return _Found(start, end, role, doubtful=not sure)

    def _student_context(self, start: int, end: int) -> bool:
        after = self._after(end)
        return (
            self._vocative(start)
            or self._vocative(end - 1)
            or (after in {"asks", "asked", "wants"} and not any(s <= start < e for s, e in self.cases))
        )

    # ------------------------------------------------------------ places

    def _places(self) -> list[_Found]:
        found: list[_Found] = []
        units = self.session.units
        at = 0
        while at < len(units):
            end = self._place_end(at)
            if end is None:
                at += 1
                continue
            sentence = self.session.sentence_at(at)
            history = bool(_LIVES_OF_AUTHORS.search(sentence.low)) and any(
                self._key(u) in self.author_words and self._capital(u) for u in range(sentence.start, sentence.end)
            )
            in_case = any(s <= at < e for s, e in self.cases) and self._key(sentence.start) not in self.author_words
            if not (history and not in_case):
                saint = at and self._before(at).rstrip(".") in {"st", "saint"} and at - 1 not in self.taken
                found.append(_Found(at - 1 if saint else at, end, "place", doubtful=at in self.unsure))
            at = end
        return found

    def _place_end(self, at: int) -> int | None:
        units = self.session.units
        if at in self.taken or at in self.remedy_units:
            return None
        if self.cased and not self._capital(at) and self._before(at).rstrip(",") not in {"from", "village"}:
            return None  # where capitals are written, no other place goes without one
        low = self._key(at)
        if not low or low in OTHER_PROPER:
            return None
        before = self._before(at).rstrip(",")
        if (holy := self._holy_place(at, low)) is not None:
            return holy
        for length in range(min(self.lists.longest_place, 4), 0, -1):
            end = at + length
            if end > len(units) or any(self._comma(u) for u in range(at, end - 1)):
                continue
            name = " ".join(self._key(unit) for unit in range(at, end)).replace("-", " ")
            if name in self.lists.places and name not in STATES:
                if length > 1 and all(
                    self._capital(u) or (at < u < end - 1 and self._key(u) in _PLACE_PARTICLES) for u in range(at, end)
                ):
                    return self._extended(end)
                if length == 1 and self._single_place(at, name, before):
                    return self._extended(end)
        if self._capital(at) and low not in self.term_words:
            if (
                low not in STATES
                and _PLACE_SUFFIX.match(low)
                and zipf_frequency(low, "en") < 3.0
                and not self._listed(at)
            ):
                return self._extended(at + 1)
            # "Saraswati Clinic", "Ashok Nagar", "MG Road": a proper noun and a word for a place, both with capitals
            end = at + 1
            while end < len(units) and end - at < 5 and self._capital(end) and not self._parted(end - 1):
                end += 1
            last = end - 1
            if (
                end < len(units)
                and not self._parted(end - 1)
                and self._key(end)
                in _PLACE_WORDS - {"block", "phase", "cross", "bank", "works", "medical", "trust", "bridge"}
            ):
                last = end
                end += 1
            own = [
                u for u in range(at, last) if self._key(u) not in _GENERAL_BEFORE_PLACE and u not in self.remedy_units
            ]
            if (
                end > at + 1
                and self._key(last) in _WAYS
                and last not in self.sentence_starts
                and at not in self.sentence_starts
            ):
                return end  # "College Street": with a capital, a way is always somebody's address
            if end > at + 1 and self._key(last) in _PLACE_WORDS and own and (
                at not in self.sentence_starts or self._listed(at) or self._unknown(at) or low in {"saint", "st"}
            ) and not all(self._key(u) in OTHER_PROPER or self._key(u) in STATES or self.session.units[u].bare.isupper()
                          and len(self._key(u)) > 2 for u in own):  # fmt: skip
                return end
        # An unknown proper noun after "from", "in", "near": a village no list knows.
        if (
            before in {"from", "in", "near", "at", "to"} and not self._comma(at - 1) and self._capital(at) and at not in self.term_units
            and (self._unknown(at) or self._proper(at) or (self._listed(at) and before in {"from", "near"} and low not in self.lists.given))
            and low not in self.author_words
        ):  # fmt: skip
            return self._rest_of_place(at + 1)
        if (
            before in {"from", "in", "near", "at"} and not self._comma(at - 1) and re.fullmatch(r"[A-Z][a-z]", units[at].bare) and at not in self.sentence_starts
            and at not in self.term_units and low not in self.term_words and low not in OPENERS and self.session.parse.tag(at) == "NNP"
        ):  # fmt: skip
            self.unsure.add(at)
            return at + 1  # "in Wa": a town of two letters
        if (
            before in _PLACE_BEFORE
            and self._capital(at)
            and re.match(r"[A-Z]\w+(?:-\w+)*-[A-Z]\w+$", units[at].bare)
            and low not in self.lower_seen
        ):
            return at + 1  # "Wells-next-the-Sea", "Stratford-upon-Avon"
        if (
            self._capital(at)
            and at not in self.sentence_starts
            and at not in self.remedy_units
            and low not in self.term_words
        ):
            # "the Periyar bus stand": a name and, written small, what stands there
            end = at + 1
            while end < len(units) and self._capital(end) and not self._parted(end - 1):
                end += 1
            for length in (2, 1):
                said = " ".join(self._key(u) for u in range(end, min(end + length, len(units))))
                if said in _PUBLIC_PLACES and not any(self._comma(u) for u in range(at, end + length - 1)) and (
                    before in _PLACE_BEFORE | {"the"} and (self._unknown(at) or self._proper(at) or self._listed(at))
                ):  # fmt: skip
                    return end + length
        if self._capital(at) or self.cased and before not in {"from", "village"}:
            return None
        if not self.cased and (loose := self._place_written_small(at, low, before)) is not None:
            return loose
        if not self.cased and at not in self.remedy_units and not self._comma(at):
            # "in ruby hall clinic": no article between the preposition and the name
            for length in (1, 2, 3):
                if at + length >= len(units) or any(self._comma(u) for u in range(at, at + length)):
                    break
                words = [self._key(u) for u in range(at, at + length)]
                if any(word in _GENERAL_BEFORE_PLACE for word in words):
                    break
                if self._key(at + length) in {"hospital", "clinic", "college", "road", "nagar", "colony", "nursing"} and (
                    (length == 1 and zipf_frequency(low, "en") < 3.2 and low not in self.term_words)
                    or (before in _PLACE_BEFORE and not self.remedy_units & set(range(at, at + length)))
                ):  # fmt: skip
                    return at + length + 1
        if (before in {"from", "village"} or not self.cased and before in {"in", "at", "near", "to"}) and (
            low in self.lists.places
        ):
            ordinary = (
                low in self.lists.ordinary_places
                or (self.cased and low in self.lower_seen - {low})
                or zipf_frequency(low, "en") > 4.3
            )
            if not ordinary and low not in self.term_words and low not in STATES:
                return at + 1
        return None

    def _place_written_small(self, at: int, low: str, before: str) -> int | None:
        """A town where no capitals are written: of several words ("torre del greco"), before a word for a region of it
        ("canning side"), rare and after a preposition; and, in a person's story, any noun that stands without an article
        after "at" where only a name can ("at ridge they found"), which is doubtful."""
        units, lists = self.session.units, self.lists
        for length in (4, 3, 2):
            end = at + length
            if end > len(units) or any(self._comma(u) for u in range(at, end - 1)):
                continue
            words = [self._key(u) for u in range(at, end)]
            name = " ".join(words).replace("-", " ")
            if (
                name in lists.places
                and name not in STATES
                and (before in _PLACE_BEFORE or min(zipf_frequency(w, "en") for w in words) < 2.5)
            ):
                if not self.term_units & set(range(at, end)):
                    return end
        if low in self.term_words or at in self.term_units or low in STATES or low in _NEVER:
            return None
        after = "" if self._comma(at) else self._after(at + 1)
        if low in lists.places:
            if before in _PLACE_BEFORE and after in _REGIONS:
                return at + 1
            known = low not in lists.ordinary_places and zipf_frequency(low, "en") < 3.6
            if before in {"of", "around", "outside", "via"} and known and not self._listed(at):
                return at + 1
        if (
            before == "at" and any(s <= at < e for s, e in self.cases) and low.isalpha() and low not in _WITHOUT_ARTICLE and len(low) > 2
            and self.session.parse.tag(at) in ("NN", "NNP") and after in _SUBJECTS and number_of(low) is None and not _ENGLISH_ENDING.search(low)
        ):  # fmt: skip
            self.unsure.add(at)
            return at + 1
        return None

    def _holy_place(self, at: int, low: str) -> int | None:
        """``Bad Nauheim``, ``San Rafael``, ``Sankt Gallen``: the first word of a name of a town, and a capital after it."""
        then = at + 1
        if (
            low.rstrip(".") not in _TOWN_FIRST or not self.cased or not self._capital(at) or then >= len(self.session.units)
            or self._parted(at) and not self.session.units[at].text.endswith("t.") or not self._capital(then) or then in self.remedy_units
        ):  # fmt: skip
            return None
        name = self._key(then)
        if name in self.term_words or _other(name) or name in _NOT_CALLED or self.session.units[then].bare == "I":
            return None
        if at in self.sentence_starts and not (self._unknown(then) or self._listed(then) or _foreign(name)):
            return None
        saint = low.rstrip(".") in {"saint", "st"}
        of_what = self._before(at) == "of" and self._before(at, 2) not in _REGIONS | {"parish", "port", "bay", "isle"}
        if saint and (self._before(at) not in _PLACE_BEFORE or of_what or self.session.units[then].low.endswith("'s")):
            return None  # a saint, a wort or a day, not a town
        return self._rest_of_place(then + 1)

    def _rest_of_place(self, end: int) -> int:
        """The end of a name of several words: ``Feira de Santana``, ``Newcastle upon Tyne``."""
        units = self.session.units
        while end < len(units) and not self._comma(end - 1):
            if self._capital(end) and self._key(end) not in OTHER_PROPER:
                end += 1
                continue
            step = next((n for n in (1, 2) if end + n < len(units) and self._capital(end + n)
                         and all(units[end + k].low in _PLACE_PARTICLES and not self._comma(end + k) for k in range(n))), 0)  # fmt: skip
            if not step:
                break
            end += step + 1
        return end

    def _extended(self, end: int) -> int:
        while (
            end < len(self.session.units)
            and self._capital(end)
            and self._key(end) in _PLACE_WORDS
            and not self._comma(end - 1)
        ):
            end += 1
        return end

    def _single_place(self, at: int, name: str, before: str) -> bool:
        if not self._capital(at) or name in self.author_words:
            return False
        if name in self.term_words and not (before in {"from", "near", "at"} and at not in self.term_units):
            return False
        placed = before in _PLACE_BEFORE or (before in {"and", "or"}) or self._comma(at - 1)
        if name in self.lists.ordinary_places:
            return (
                before in {"from", "near", "in", "at"}
                and at not in self.sentence_starts
                and name not in self.lower_seen
            )
        if self._listed(at):
            return before in {"from", "in", "near", "at"}
        return (
            placed
            or self.entities.get(at) in {"GPE", "LOC"}
            or at not in self.sentence_starts
            or zipf_frequency(name, "en") < 3.5
        )


def _plain(low: str) -> str:
    """A word without the marks on its letters."""
    return "".join(c for c in unicodedata.normalize("NFKD", low) if not unicodedata.combining(c))


def _foreign(low: str) -> bool:
    """Whether a word is written with letters English has not."""
    return any(c.isalpha() and not c.isascii() for c in low)


def _other(low: str) -> bool:
    """A capitalised word that is neither person nor place, also in the plural: Mondays, Hindus."""
    return low in OTHER_PROPER or low.removesuffix("s") in OTHER_PROPER


@lru_cache(maxsize=2)
def _words_of_remedies(vocabulary: Vocabulary) -> frozenset[str]:
    return frozenset(word for one in vocabulary.in_scheme("remedy") for word in lowered(one.pref_label).split())


@lru_cache(maxsize=2)
def _term_words(vocabulary: Vocabulary) -> frozenset[str]:
    """Words of remedy names and of the other vocabulary that must not be taken for a person."""
    words = set(label_index(vocabulary).single_words)
    for concept in vocabulary.in_scheme("remedy", "rubric", "chapter", "medical", "idea", "family"):
        for label in (
            concept.pref_label,
            *concept.alt_labels,
            *concept.ambiguous_labels,
            *concept.fact("abbreviation"),
        ):
            for word in lowered(label).replace("-", " ").replace(",", " ").split():
                if len(word.strip(".'")) > 2:
                    words.add(word.strip(".'"))
    return frozenset(words)


@lru_cache(maxsize=2)
def _author_words(vocabulary: Vocabulary) -> tuple[frozenset[str], frozenset[str]]:
    """Surnames of authors, and all words of their names."""
    surnames, words = set(AUTHORS), set(AUTHORS)
    for concept in vocabulary.in_scheme("canon"):
        if concept.id.startswith("author/"):
            for label in (concept.pref_label, *concept.alt_labels):
                parts = [word.strip(".,") for word in lowered(label).split() if len(word.strip(".,")) > 2]
                words.update(parts)
                surnames.update(parts[-1:])
    return frozenset(surnames), frozenset(words)


@lru_cache(maxsize=2)
def _author_full(vocabulary: Vocabulary) -> tuple[frozenset[str], ...]:
    """The words of each author's name, all together."""
    return tuple(
        frozenset(word.strip(".,") for label in (c.pref_label, *c.alt_labels) for word in lowered(label).split() if len(word.strip(".,")) > 1)
        for c in vocabulary.in_scheme("canon") if c.id.startswith("author/")
    )  # fmt: skip


# ---------------------------------------------------------------- what publication does with them


def hidden(person: PersonMention, verdicts: Sequence[PersonVerdict] = ()) -> str | None:
    """What is printed in place of a mention, None where it is shown. The last verdict that fits wins."""
    ruling: PersonVerdict | None = None
    for verdict in verdicts:
        if sounding(verdict.said) == sounding(person.said):
            ruling = verdict
    if ruling is None:
        return person.replacement if person.hide else None
    if ruling.ruling == "show":
        return None
    return ruling.replacement or person.replacement


def person_rulings(entries: Iterable[VerdictEntry], lecture_id: str | None = None) -> tuple[PersonVerdict, ...]:
    """The rulings on names in force for a lecture, in the order they were made; undone ones are left out."""
    return tuple(
        entry.verdict for entry in entries
        if isinstance(entry.verdict, PersonVerdict) and not entry.undone
        and (entry.verdict.lecture_id is None or lecture_id is None or entry.verdict.lecture_id == lecture_id)
    )  # fmt: skip


def unresolved(persons: Sequence[PersonMention], verdicts: Sequence[PersonVerdict] = ()) -> tuple[PersonMention, ...]:
    """Doubtful mentions no person has ruled on; publication waits for them."""
    ruled = {sounding(verdict.said) for verdict in verdicts}
    return tuple(p for p in persons if p.doubtful and sounding(p.said) not in ruled)


def hidden_words(persons: Sequence[PersonMention], verdicts: Sequence[PersonVerdict] = ()) -> Mapping[int, str]:
    """For each heard word to hide, what is printed: the replacement at the first word, nothing at the rest.

    Covers words a correction joined to the name as well, since ranges are over heard words.
    """
    printed: dict[int, str] = {}
    for person in persons:
        replacement = hidden(person, verdicts)
        if replacement is None:
            continue
        for word in range(person.words.start, person.words.end):
            printed[word] = replacement if word == person.words.start else ""
    return printed


def mute_spans(
    persons: Sequence[PersonMention],
    words: Sequence[Word],
    verdicts: Sequence[PersonVerdict] = (),
    *,
    margin_ms: int = 120,
) -> tuple[TimeSpan, ...]:
    """The stretches of sound to silence in a published copy, merged and in order.

    A margin covers the attack and release of the word; recognisers set word ends early.
    """
    spans = [
        TimeSpan(max(0, words[p.words.start].time.start_ms - margin_ms), words[p.words.end - 1].time.end_ms + margin_ms)
        for p in persons
        if hidden(p, verdicts) is not None
    ]
    merged: list[TimeSpan] = []
    for span in sorted(spans):
        if merged and span.start_ms <= merged[-1].end_ms:
            merged[-1] = merged[-1].cover(span)
        else:
            merged.append(span)
    return tuple(merged)


def redact(
    text: str,
    persons: Sequence[PersonMention],
    verdicts: Sequence[PersonVerdict] = (),
    *,
    words: WordRange | None = None,
) -> str:
    """A derived text (a tidied point, a field, a title) with its names replaced by roles.

    With ``words`` the mentions inside that range are replaced in any case of letters. Mentions elsewhere in the
    session are replaced too where the text holds the same capitalised name, so that none slips through.
    """
    if text.isascii():
        # Most texts hold no name: the longest word of each is looked for first.
        low = text.lower()
        likely = [said for longest, said in _longest_words(tuple([p.said for p in persons])) if longest in low]
        if not any(_may_hold_low(low, said) for said in likely):
            return text
    inside: dict[str, str] = {}
    elsewhere: dict[str, str] = {}
    shown: set[str] = set()
    for person in persons:
        replacement = hidden(person, verdicts)
        if replacement is None:
            shown.add(person.said)
            continue
        target = inside if words is not None and person.words.overlaps(words) else elsewhere
        target.setdefault(person.said, replacement)
    for said in sorted(inside, key=lambda s: (-len(s), s)):
        text = _swap(text, said, inside[said], ignore_case=True)
    for said in sorted(elsewhere, key=lambda s: (-len(s), s)):
        if said not in shown and said[:1].isupper():
            text = _swap(text, said, elsewhere[said], ignore_case=False)
    return text


#: What is said right before the name of somebody spoken to.
_CALLING = (
    r"\b(yes|no|question|point|answer|observation|correct|right|exactly|good|okay|ok|then|well|so|now|see|sorry|thank you|thanks|"
    r"remember|look|listen),\s+"
)


def _may_hold(text: str, said: str) -> bool:
    """False only where the words of a name are surely not all in a text, whatever their case."""
    return not text.isascii() or _may_hold_low(text.lower(), said)


def _may_hold_low(low: str, said: str) -> bool:
    """The same of a text of ASCII in small letters."""
    return all(word in low for word in _words_of(said))


@lru_cache(maxsize=16)
def _longest_words(names: tuple[str, ...]) -> list[tuple[str, str]]:
    """The longest word of each of some names with the name, each name once."""
    return [(max(_words_of(said), key=len, default=""), said) for said in dict.fromkeys(names)]


@lru_cache(maxsize=4096)
def _words_of(said: str) -> tuple[str, ...]:
    """The words of a name in small letters; none, which every text holds, where it is not of ASCII."""
    return tuple(word.strip(",") for word in said.lower().split()) if said.isascii() else ()


def _swap(text: str, said: str, replacement: str, *, ignore_case: bool) -> str:
    if not _may_hold(text, said):
        return text
    spaced = r"[\s,]+".join(re.escape(word.strip(",")) for word in said.split())
    pattern = re.compile(rf"(?<!\w){spaced}(?!\w)", re.IGNORECASE if ignore_case else 0)
    if replacement == REPLACEMENTS["student"]:
        # "Good question, NAME. Do not", "NAME, do not", "Then, NAME, you do": spoken to, the name goes without a role
        text = re.sub(rf"{_CALLING}{pattern.pattern}(?=[.?!]|$)", r"\1", text, flags=pattern.flags | re.IGNORECASE)
        text = re.sub(rf"{_CALLING}{pattern.pattern},", r"\1,", text, flags=pattern.flags | re.IGNORECASE)
        text = re.sub(
            rf"(^|[.?!] ){pattern.pattern}, (?!(?:an?|the|who\w*|from|aged|my|our|his|her)\b)(\w)",
            lambda m: m[1] + m[2].upper(),
            text,
            flags=pattern.flags,
        )

    def put(match: re.Match[str]) -> str:
        before = text[: match.start()].rstrip()
        opens = not before or before[-1] in ".?!"
        value = replacement
        # "the patient's the patient": no article twice
        if before.lower().endswith((" the", " a", " an", " my", " her", " his")) or before.lower() in {
            "the",
            "a",
            "an",
            "my",
            "her",
            "his",
        }:
            value = value.removeprefix("the ").removeprefix("a ").removeprefix("an ")
        return value[:1].upper() + value[1:] if opens else value

    return pattern.sub(put, text)
