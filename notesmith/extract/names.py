"""The packaged lists of personal names and of places smaller than a state, and proper nouns that are neither."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files


@dataclass(frozen=True, slots=True)
class NameLists:
    """Lower-case entries. ``ordinary`` ones are also English words and count only with other evidence."""

    given: frozenset[str]
    surnames: frozenset[str]
    ordinary_names: frozenset[str]
    places: frozenset[str]
    ordinary_places: frozenset[str]
    longest_place: int


@lru_cache(maxsize=1)
def name_lists() -> NameLists:
    given, surnames, ordinary = set(), set(), set()
    for name, flags in _rows("names.tsv"):
        low = name.casefold()
        if "g" in flags:
            given.add(low)
        if "s" in flags:
            surnames.add(low)
        if "*" in flags:
            ordinary.add(low)
    places, ordinary_places = set(), set()
    for name, flags in _rows("places.tsv"):
        low = name.casefold().replace("-", " ")
        places.add(low)
        if "*" in flags:
            ordinary_places.add(low)
    longest = max((len(place.split()) for place in places), default=1)
    return NameLists(
        frozenset(given),
        frozenset(surnames),
        frozenset(ordinary),
        frozenset(places),
        frozenset(ordinary_places),
        longest,
    )


def _rows(name: str) -> Iterator[tuple[str, str]]:
    text = files("notesmith.extract").joinpath("data", name).read_text(encoding="utf-8")
    for line in text.splitlines():
        if line and not line.startswith("#"):
            first, _, second = line.partition("\t")
            yield first, second


_COUNTRIES = (
    "afghanistan albania algeria andorra angola argentina armenia azerbaijan bahamas bahrain barbados belarus belize benin bolivia bosnia botswana brunei "
    "bulgaria burkina burundi cambodia cameroon chad colombia comoros congo croatia cyprus czechia djibouti ecuador eritrea estonia eswatini ethiopia fiji "
    "gabon gambia ghana guatemala guinea guyana haiti honduras hungary iceland jamaica kazakhstan kiribati kosovo kyrgyzstan laos latvia lebanon lesotho "
    "liberia libya liechtenstein lithuania luxembourg madagascar malawi maldives mali malta mauritania mauritius moldova monaco mongolia montenegro morocco "
    "mozambique myanmar burma namibia nicaragua niger panama paraguay rwanda samoa senegal serbia seychelles slovakia slovenia somalia sudan suriname syria "
    "taiwan tajikistan tanzania togo tonga trinidad tunisia turkmenistan uganda ukraine uruguay uzbekistan vanuatu venezuela yemen zambia zimbabwe "
    "queensland tasmania ontario quebec alberta manitoba minas ulster munster leinster connacht sindh balochistan mindanao luzon visayas "
    "catalonia andalusia normandy provence tuscany sicily sardinia crete siberia caucasus balkans scandinavia caribbean anatolia bavaria tyrol"
).split()

#: Countries, states and larger regions: the Safe Harbor rule lets them stand.
STATES = frozenset(
    """    india|bharat|hindustan|pakistan|bangladesh|sri lanka|nepal|bhutan|china|japan|korea|russia|germany|france|
    england|britain|great britain|
    united kingdom|uk|scotland|wales|ireland|america|usa|united states|us|canada|mexico|brazil|argentina|australia|
    new zealand|africa|south africa|kenya|
    nigeria|egypt|europe|asia|austria|switzerland|italy|spain|portugal|greece|turkey|holland|netherlands|belgium|
    sweden|norway|denmark|
    finland|poland|hungary|romania|iran|iraq|israel|arabia|saudi arabia|dubai|uae|emirates|oman|qatar|kuwait|
    singapore|malaysia|indonesia|
    thailand|vietnam|philippines|cuba|peru|chile|saxony|bavaria|prussia|
    maharashtra|gujarat|rajasthan|kerala|karnataka|tamil nadu|tamilnadu|andhra|andhra pradesh|telangana|goa|punjab|
    haryana|himachal|himachal pradesh|
    uttar pradesh|up|uttarakhand|bihar|jharkhand|west bengal|bengal|odisha|orissa|assam|meghalaya|manipur|mizoram|
    nagaland|tripura|sikkim|
    arunachal pradesh|madhya pradesh|mp|chhattisgarh|kashmir|ladakh|
    california|texas|florida|ohio|illinois|pennsylvania|michigan|georgia|virginia|oregon|washington state|
    new york state|arizona|colorado|
    massachusetts|new jersey|maine|vermont|iowa|kansas|nebraska|nevada|utah|montana|wyoming|idaho|alaska|hawaii|
    south india|north india|middle east|konkan|himalaya|himalayas""".replace("\n", "")
    .replace("    ", "")
    .split("|")
) | frozenset(_COUNTRIES)

#: Makes of cars, telephones and machines met in class (common knowledge).
_MAKES = (
    "toyota honda suzuki maruti hyundai kia ford subaru nissan mazda tata mahindra bajaj vespa yamaha volkswagen bmw mercedes audi volvo renault peugeot fiat "
    "skoda jeep tesla samsung nokia iphone ipad android apple sony lg dell lenovo hp xiaomi amazon netflix uber microsoft windows xerox aga hoover "
    "calpol panadol tylenol advil ventolin asthalin betadine colgate nescafe coca-cola pepsi maggi horlicks bournvita"
).split()

#: Capitalised words that are no person and no place: days, months, faiths, tongues, peoples, eponyms, makes, tests.
OTHER_PROPER = frozenset(
    [
        "monday",
        "tuesday",
        "wednesday",
        "thursday",
        "friday",
        "saturday",
        "sunday",
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
        "english",
        "hindi",
        "marathi",
        "gujarati",
        "tamil",
        "telugu",
        "kannada",
        "malayalam",
        "bengali",
        "punjabi",
        "urdu",
        "sanskrit",
        "latin",
        "greek",
        "german",
        "french",
        "indian",
        "american",
        "british",
        "european",
        "african",
        "chinese",
        "japanese",
        "arabic",
        "spanish",
        "italian",
        "russian",
        "dutch",
        "hindu",
        "muslim",
        "christian",
        "sikh",
        "jain",
        "buddhist",
        "jewish",
        "god",
        "lord",
        "bible",
        "gita",
        "quran",
        "vedas",
        "diwali",
        "christmas",
        "holi",
        "eid",
        "easter",
        "pongal",
        "onam",
        "navratri",
        "ganpati",
        "ramadan",
        "lent",
        "parkinson",
        "parkinson's",
        "parkinsonism",
        "alzheimer",
        "alzheimer's",
        "crohn",
        "crohn's",
        "hodgkin",
        "hodgkin's",
        "graves",
        "bell",
        "bell's",
        "raynaud",
        "raynaud's",
        "meniere",
        "meniere's",
        "cushing",
        "cushing's",
        "addison",
        "addison's",
        "bright's",
        "pott's",
        "koch's",
        "koch",
        "paget",
        "paget's",
        "dupuytren",
        "down",
        "down's",
        "sydenham",
        "sydenham's",
        "wilson's",
        "hashimoto",
        "hashimoto's",
        "sjogren's",
        "kaposi",
        "widal",
        "mantoux",
        "babinski",
        "romberg",
        "murphy's",
        "mcburney's",
        "kernig's",
        "brudzinski",
        "apgar",
        "rorschach",
        "whatsapp",
        "zoom",
        "google",
        "youtube",
        "facebook",
        "instagram",
        "telegram",
        "internet",
        "covid",
        "wi-fi",
        "wifi",
        "powerpoint",
        "word",
        "excel",
        "skype",
        "teams",
        "meet",
        "email",
        "gmail",
        "bhms",
        "md",
        "mbbs",
        "bams",
        "gp",
        "opd",
        "icu",
        "mri",
        "ct",
        "ecg",
        "eeg",
        "hiv",
        "tb",
        "usg",
        "cbc",
        "esr",
        "tsh",
        "hba1c",
        "bp",
        "pcod",
        "pcos",
        "ibs",
        "ra",
        "sle",
        "gerd",
        "uti",
        "copd",
        "adhd",
        "homeopathy",
        "homoeopathy",
        "homeopathic",
        "homoeopathic",
        "allopathy",
        "allopathic",
        "ayurveda",
        "ayurvedic",
        "unani",
        "siddha",
        "organon",
        "repertory",
        "materia",
        "medica",
        "keynotes",
        "therapeutics",
        "lecture",
        "lectures",
        "psora",
        "sycosis",
        "syphilis",
        "latin-american",
        "vaseline",
        "vicks",
        "crocin",
        "paracetamol",
        "aspirin",
        "brufen",
        "disprin",
        "dettol",
        "i",
        "ok",
        "okay",
        "sir",
        "madam",
        "ma'am",
        "doctor",
        "mother",
        "father",
        "mummy",
        "papa",
    ]
) | frozenset(_MAKES)

#: Authors of books the subject rests on, for vocabularies that do not list them (public-domain authors of the field).
AUTHORS = frozenset(
    [
        "hahnemann",
        "kent",
        "boericke",
        "allen",
        "hering",
        "clarke",
        "nash",
        "farrington",
        "boger",
        "lippe",
        "boenninghausen",
        "bönninghausen",
        "jahr",
        "lilienthal",
        "dunham",
        "burnett",
        "cowperthwaite",
        "dewey",
        "guernsey",
        "hughes",
        "phatak",
        "tyler",
        "roberts",
        "close",
        "raue",
        "wells",
        "swan",
        "fincke",
        "skinner",
        "bell",
        "hale",
        "gross",
        "stapf",
        "hartmann",
        "rückert",
        "ruckert",
        "teste",
        "noack",
        "trinks",
        "minton",
        "royal",
        "pierce",
        "choudhuri",
        "choudhury",
        "ghose",
        "borland",
        "blackie",
        "gibson",
        "miller",
        "knerr",
        "lee",
        "carleton",
        "tarkas",
        "sankaran",
        "vithoulkas",
        "schroyens",
        "synthesis",
        "murphy",
        "pareek",
        "farokh",
        "master",
        "vijayakar",
        "scholten",
        "mangialavori",
        "rajan",
        "shakespeare",
        "freud",
        "jung",
        "darwin",
        "newton",
        "einstein",
        "paracelsus",
        "hippocrates",
        "galen",
        "cullen",
        "aesculapius",
        "lord",
        "buddha",
        "gandhi",
    ]
)
