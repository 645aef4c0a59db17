"""Identifiers read out in words: mail addresses, record numbers, house addresses, great ages, feasts as dates.

A number is recognised by what it is a number of (a chart, a file) and by being read figure by figure; no list of
particular numbers, hosts or streets is used. Classes: HIPAA Safe Harbor, 45 CFR 164.514(b)(2).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from wordfreq import zipf_frequency

from notesmith.annotations import PersonRole
from notesmith.extract.potency_words import NUMBER, number_of
from notesmith.extract.session import Session

_DIGIT = r"(?:zero|nought|oh|o|one|two|three|four|five|six|seven|eight|nine|(?:double|triple|treble) \w+|\d+)"
_TEEN = r"(?:ten|eleven|twelve|thirteen|fourteen|fifteen|sixteen|seventeen|eighteen|nineteen)"
_PAIR = (
    r"(?:(?:twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety)"
    r"(?:[ -](?:one|two|three|four|five|six|seven|eight|nine))?|" + _TEEN + ")"
)
_MAIL = re.compile(
    r"\b(?P<who>(?:[\w.]+,? ){1,6})at,? (?:the rate,? (?:of )?)?(?:[\w-]+,? ){1,3}?(?:dot|point),? [a-z]{2,}(?:,? (?:dot|point),? [a-z]{2,})*"
)
_MAIL_AT = re.compile(r" at,? ")
#: Words that stand before a mail address and are no part of it.
_BEFORE_MAIL = frozenset(
    "mail email e-mail me us is to on my our your his her it's its address write id the him contact at goes send it sends them and or line for a".split()
)
_CODE = re.compile(
    r"\b(?:records?|charts?|files?|sheet|folder|dossier|numbers?|no\.|id|card|registration|docket|ticket|papers?|code|passport|policy|licen[cs]e|"
    r"account|uhid|mrn|opd?|ipd?|ref(?:erence)?)(?:,? (?!page|rubric)[\w'/-]+){0,5}?,? "
    rf"(?P<id>(?:(?!a |i )[a-z]{{1,3}}[ -])?(?:(?:{_DIGIT}|{_PAIR})(?:[ ,-]+|(?=[.?!;)]|$))){{2,}}(?:[a-z](?![a-z']))?)"
)
_STREET = re.compile(
    rf"\b(?P<id>(?:{NUMBER})[a-z]?(?:(?:/| by | slash | stroke | bar )\w+)?,? (?:[\w'.-]+ ){{1,4}}(?:road|street|lane|avenue|drive|close|terrace|gardens|square|crescent|"
    r"row|court|way|marg|gali|place|colony|nagar|estate|layout))\b"
)
#: One figure of a number that is read out figure by figure; "two hundred" is none.
_FIGURE = (
    r"(?:(?:double|triple|treble) )?(?:zero|nought|naught|null|nil|oh|o|one|two|three|four|five|six|seven|eight|nine)"
    r"(?!['-]|,? (?:hundred|thousand|lakhs?|million|times|drops?|pills?|globules|days?|weeks?|months?|years?|hours?))"
)
_JOIN = r"(?:[ ,]+|,? ?(?:dash|hyphen|minus|slash|stroke|oblique|bar|plus|space|dot|then|and then|again),? )"
_RUN = re.compile(rf"\b(?P<id>(?:plus )?(?:{_FIGURE}|{_PAIR}|\d+)(?:{_JOIN}(?:{_FIGURE}|{_PAIR}|\d+)){{3,}})\b")
_ONE = rf"(?:{_FIGURE}|{_PAIR}|\d+)"
_PARTED = r"(?:slash|stroke|dash|hyphen|oblique|bar)"
#: Figures, perhaps with a letter, with a stroke or dash said among them: "P four four, dash, nineteen".
_CODED = re.compile(
    rf"\b(?P<id>(?:(?:[a-z]|[b-df-hj-np-tv-xz]{{2,3}}|{_ONE})[ ,]+)+?{_PARTED},? (?:[a-z][ ,]+)?{_ONE}(?:[ ,]+{_ONE})*(?:(?:,? {_PARTED},?)? {_ONE})*(?:,? [a-z](?![\w']))?)\b"
)
_RECORD_CUE = re.compile(
    r"\b(?:records?|charts?|files?|roll|id|card|registration|ticket|token|code|passport|policy|licen[cs]e|account|uhid|mrn|bill|receipt|booking|admission|case)\b"
)
#: What has a plate, and a plate as it is read: some letters, then figures, the forgotten ones among them.
_VEHICLE_SAID = re.compile(
    r"\b(?:cars?|scooters?|scooty|(?:motor)?bikes?|motorcycles?|mopeds?|taxis?|cabs?|vans?|jeeps?|lorry|trucks?|bus|minibus|rickshaws?|autos?|tuk-tuks?|tractors?|vehicles?|"
    r"parked|number ?plates?|plates?|okadas?|matatus?|ambulance)\b"
)
_PLATE = re.compile(
    rf"\b(?P<id>(?P<letters>[a-z](?:[ .-][a-z])+|[a-z]{{2,4}})[ ,-]+(?:(?:{_FIGURE}|{_PAIR}|\d+|something)(?:[ ,-]+|(?=[.?!;:)]|$))){{2,}}(?:[a-z]{{1,2}}[ ,-]+(?:(?:{_FIGURE}|{_PAIR}|\d+|something)(?:[ ,-]+|(?=[.?!;:)]|$))){{2,}})?(?:[a-z]{{1,3}}(?=[ ,.;:?!)]|$))?)"
)
_GRADED = re.compile(
    r"\b(?:grades?|graded|rubrics?|scores?|scored|marks|steps|potenc\w+|doses?|counting|count|pages?|aphorisms?)\b"
)
_PHONE_SAID = re.compile(r"\b(?:phone|mobile|cell|whatsapp|telephone|landline|ring|call|dial|text|viber|signal)\b")
_HOUSE = rf"(?:(?:house |flat |door |plot |at )?(?:number|no\.?|nr\.?|nummer|num[ée]ro|n[úu]mero|numer) )?(?:{NUMBER})[a-z]?(?![\w'-]| (?:kilomet\w+|kms?|miles?|met(?:re|er)s|times|minutes|hours|o'clock|people|persons|years|months|days|weeks|patients|students|cases|remedies|doses|of)\b)"
_POSTCODE = rf"(?:,? (?:postcode |pin ?code |zip ?code |plz |code )?(?:{_DIGIT}|{_PAIR})\b(?:[ ,-]+(?:{_DIGIT}|{_PAIR})\b){{1,5}})?"
_ROADS = r"(?:road|street|lane|avenue|drive|close|terrace|gardens|square|crescent|row|court|way|marg|gali|nagar|colony|alley|parade|quay|boulevard)"
#: A street named before its number, as in much of the world: the kind of street last, joined on, or first.
_STREET_FIRST = re.compile(
    rf"\b(?P<id>(?:(?:[\w'.-]+ ){{1,3}}(?P<road>{_ROADS})|[\w-]+(?:weg|strasse|strase|straat|gasse|allee|platz|gatan|gade|v[äa]gen|steig|utca|laan)|"
    rf"(?P<kind>rue|via|viale|corso|piazza|calle|avenida|paseo|rua|travessa|ulica|ulitsa|ul\.|ulice|vulytsia|vulitsa|strada|bulevar|chemin|impasse|place|plaza|jalan|jl\.) "
    rf"(?:(?:de|del|della|du|des|la|las|los|da|do|dos|les) ){{0,2}}(?:[\w'.-]+ ?){{1,3}}?),?(?P<house> {_HOUSE}){_POSTCODE})"
)
#: "four Mansewood Brae": a number and capitals where something is sent, or somebody lives.
_SENT_TO = re.compile(
    rf"\b(?:to|at|lives? (?:at|in)|address is|deliver\w*|it's) (?P<id>(?:(?:rapid |house |flat |rural |plot )?(?:number |no\.? )?)(?P<n>{NUMBER})[a-z]?,? (?P<name>[\w'-]+ [\w'-]+(?: road| street| lane)?))"
)
#: Streets named by "of" and the house after it; a place and the numbered street in it; a numbered lane beside a landmark.
_STREET_OF = re.compile(
    r"\b(?P<id>(?:street|lane|avenue|boulevard|embankment|prospect|alley|square|passage|quay) of (?:the )?(?:[\w'-]+,? ){1,2}?"
    rf"(?:house|building|block|flat|number|no\.?)(?: number)? {NUMBER}[a-z]?(?![\w'-]))"
)
_STREET_NUMBERED = re.compile(
    rf"\b(?P<id>(?:street|road|lane|avenue|gali|galli|alley|marg|sadak|ward|tole|soi|purok|tupik)(?:,? (?:number|no\.?))? (?:{NUMBER})[a-z]?(?![\w'-]))"
)
#: A street that is named, and the house told by what stands beside it.
_STREET_TOLD = re.compile(
    rf"\b(?P<id>(?:[\w'.-]+ ){{1,3}}{_ROADS}),? (?P<house>the (?:\w+ )?(?:house|gate|door|building|flat|shop|compound|bungalow|hut|cottage)"
    r" (?:just )?(?:after|behind|beside|near|opposite|next to|by|past|before|above|facing) (?:the|a) [\w-]+)"
)
_LANDMARK = re.compile(
    r"^,? ?(?:near|opposite|behind|beside|next to|in front of) (?:the )?(?P<name>(?!the\b)[\w'-]+(?: [\w'-]+)?)"
)
#: Kinds of street that are ordinary words too, which count only before the word "number".
_OFTEN_ELSE = frozenset(["court", "way", "place", "close", "row", "square", "drive", "parade", "gardens"])
_NUMBER = re.compile(rf"\b{NUMBER}(?![\w-])")
_YEARS = frozenset(["year", "years", "yr", "yrs", "old", "retired"])
_NOT_OF_AGE = frozenset(
    "page rubric number no aphorism potency volume room bed line chapter paragraph grade roll plus".split()
)
_OF_AGE = re.compile(
    r"\b(?:is|was|are|were|turned|turning|reach\w*|lived? to|age[sd]?|of|till|until|almost|nearly|crossed|at|'s)(?: a| the age of)?$"
)
_PERSON_NEAR = re.compile(
    r"\b(?:he|she|her|his|him|who|old|elderly|aged|(?:great[- ])?grand\w+|mother|father|mama|papa|lady|gentleman|man|woman|widow|widower|pensioner|retired|aunt\w*|uncle|"
    r"patient|granny|nana|nun|priest|sister|brother|cousin|neighbou?r|nonna|nonno|opa|oma|abuel[oa]|baba|mama|mzee|chief|headm\w+|teacher|farmer|soldier|veteran|fellow)\b"
)
_MEASURES = re.compile(
    r"\b(?:fever|temperature|degrees?|pulse|pressure|bp|weigh\w*|kilos?|kg|pounds|per ?cent|score|rate|saturation|oxygen|sugar|glucose|potenc\w+|page|line|dose|"
    r"haemoglobin|hemoglobin|count|platelets?|marks?|rupees?|spo2|breath\w*|beats?|aphorism|remed\w+)\b"
)

#: Feasts and fasts of the larger faiths and nations (common knowledge); they date a visit as a month does.
FEASTS = frozenset(
    """christmas|xmas|easter|good friday|lent|advent|epiphany|pentecost|whitsun|michaelmas|all saints|all souls|halloween|thanksgiving|new year|
    new year's|boxing day|st patrick's day|saint patrick's day|valentine's day|mother's day|labor day|memorial day|independence day|republic day|carnival|carnaval|
    ash wednesday|palm sunday|holy week|corpus christi|assumption|candlemas|diwali|deepavali|divali|holi|dussehra|dasara|navratri|navaratri|durga puja|pongal|onam|
    vishu|ugadi|sankranti|makar sankranti|lohri|baisakhi|vaisakhi|bihu|raksha bandhan|rakhi|janmashtami|ganesh chaturthi|ganpati|shivratri|mahashivratri|
    karva chauth|chhath|gudi padwa|vesak|wesak|poson|poya|losar|buddha purnima|guru nanak jayanti|gurpurab|mahavir jayanti|paryushan|ramadan|ramzan|ramazan|eid|
    bakrid|muharram|ashura|milad|mawlid|nowruz|navroz|hanukkah|chanukah|passover|pesach|yom kippur|rosh hashanah|purim|sukkot|kwanzaa|chinese new year|
    lunar new year|songkran|tet|midsummer|meskel|timkat|genna|fasika|mashujaa day|jamhuri day|durga|puja holidays|sinulog|undas|pujas|puja|saraswati puja|kali puja|lakshmi puja|ganesh puja|vishwakarma puja|basanti puja|orthodox easter|
    greek easter|orthodox christmas|little christmas|christmas eve|whit monday|whit sunday|shrove tuesday|shrovetide|holy monday|holy tuesday|holy wednesday|holy thursday|holy friday|holy saturday|easter monday|mardi gras|fasching|karneval|fasnacht|martinmas|
    st john's day|saint john's day|st nicholas|saint nicholas day|all hallows|three kings|maundy thursday|ascension|ascension day|trinity sunday|dormition|day of the dead|
    mid-autumn festival|obon|loy krathong|hari raya|tabaski|bakr eid|eid al-fitr|eid al-adha|eid ul-fitr|eid ul-adha|id-ul-fitr|shab-e-barat|arbaeen|simchat torah|shavuot|
    lag baomer|ram navami|teej|bhai dooj|bhau beej|dhanteras|akshaya tritiya|poila boishakh|vijayadashami|ganeshotsav|thaipusam|thai pongal|maslenitsa|malanka|
    canada day|australia day|anzac day|bastille day|columbus day|memorial day|labour day|may day|women's day|father's day|bank holiday|hajj|umrah|national day|heroes day|heroes' day|martyrs' day|heritage day|freedom day|youth day|teachers' day|liberation day|victory day|constitution day|reconciliation day|defence day|chap goh mei|qingming|qing ming|dashain|tihar|fasting month|old year's night|old new year|bonfire night|guy fawkes night|whit week|whitsuntide|tết|vu lan|vu lan festival|mid-autumn|all souls' day|all saints' day|st john's eve|midsummer's eve|midsummer's day|walpurgis night|burns night|homowo|thaipoosam|ramzaan|ramadhan|orthodox new year|name day|nameday|name-day""".replace(
        "\n", ""
    )
    .replace("    ", "")
    .split("|")
)
#: Feasts written small in English.
_SMALL_FEASTS = frozenset(["fasting month", "name day", "nameday", "name-day", "carnival", "bank holiday"])
#: Feasts that small letters do not tell from ordinary words.
_ALSO_WORDS = frozenset("lent advent epiphany assumption ascension carnival carnaval tet".split())
#: Months of other calendars (common knowledge), which date a visit after a word of time; those that are English words are left out.
_CALENDARS = re.compile(
    r"\b(?:in|of|since|until|till|before|after|during|by|from|last|this|next|that|on)(?: the)?(?: month of| first of| end of| middle of)? (?P<month>"
    r"rabi[- ](?:ul|al|us|ath|as|uth)[- ](?:awwal|awal|avval|akhir|thani|sani)|rabi[- ]us[- ]sani|jam?[ua]d[aiu]\w*[- ](?:ul|al|us|ath)[- ]\w+|rajab|sha'?ban|shawwal|"
    r"zil?[- ]?(?:hajj?|qad\w*|haj|hijja\w*)|dh?u(?:l|al)?[- ](?:hijja\w*|qa'?da\w*)|chait(?:ra)?|bais(?:h?akh?)|vaishakha?|jyeshtha?|jestha?|ashadha?|aashadh|shravana?|sawan|"
    r"srabon|bhadra(?:pada)?|bhadau|ashwina?|ashwayuja|asoj|kartik|karthika|margashirsha|agrahayana?|ogrohayon|mangsir|pausha?|poush|magha?|maagh|phalguna?|falgun|phagun|boishakh|"
    r"chithirai|vaikasi|aani|aadi|aavani|purattasi|aippasi|karthigai|margazhi|panguni|chingam|dhanu|makaram|karkidakam|"
    r"nissan|iyyar|sivan|tammuz|tishr(?:ei|i)|cheshvan|kislev|tevet|shevat|farvardin|ordibehesht|khordad|mordad|shahrivar|bahman|esfand|meskerem|tikimt|hidar|tahsas|yekatit|megabit|"
    r"ginbot|hamle|pagume)(?P<word> month)?(?=[ ,.;:?!)]|$|'s)"
)
_WHOSE = re.compile(r"of (?:his|her|the|their|my) \w+")
_FEAST = re.compile(
    r"\b(?P<feast>"
    + "|".join(sorted(map(re.escape, FEASTS), key=len, reverse=True))
    + r")(?: (?:day|eve|week|time|season|holidays?))?(?=[ ,.;:?!)]|$|'s)"
)


def find_spoken(session: Session, start: int, end: int) -> Iterator[tuple[int, int, PersonRole]]:
    """Half-open units and role of what one sentence (units ``start`` to ``end``) reads out."""
    low = session.low(start, end)
    if _MAIL_AT.search(low) and (" dot " in low or " point " in low):
        for _, last, match in session.search(_MAIL, start, end):
            first, name_end = session.span_of(start, match, "who")
            name_end -= 1  # the group ends with a blank
            keep = name_end
            while keep > first and session.units[keep - 1].low not in _BEFORE_MAIL and (
                keep == name_end or not session.units[keep - 1].text.endswith((",", ".", ":", ";", "?")) or session.units[keep - 1].low in ("dot", "point")
            ):  # fmt: skip
                keep -= 1
            if keep < name_end:
                yield keep, last, "other identifier"
    for first, last, _ in _identifiers(session, _STREET_OF, start, end):
        yield first, last, "address"
    for first, road, match in _identifiers(session, _STREET_TOLD, start, end):
        named = [u for u in range(first, road - 1) if session.units[u].bare[:1].isupper()]
        if session.cased and road - 2 in named:
            yield named[0], session.span_of(start, match, "house")[1], "address"
    yield from _numbered_streets(session, start, end)
    for first, last, match in _identifiers(session, _STREET_FIRST, start, end):
        street = [u for u in range(first, last) if session.units[u].bare[:1].isupper()]
        if not session.cased:
            if _in_small_letters(session, match, first, last):
                if match["road"]:  # "twenty nine, from mill lane number six": the name begins after the last small word
                    road = next(unit for unit in range(first, last) if session.units[unit].low == match["road"])
                    first = max([first, *(u + 1 for u in range(first, road) if session.units[u].low in _BEFORE_ROAD)])
                yield first, last, "address"
            continue
        if match["road"] and (
            len(street) < 2 or match["road"] in _OFTEN_ELSE and not re.match(r" \D*\bn(?:o|r|um)", match["house"])
        ):
            continue
        if street:
            # The words before the name are no part of it: "of Mill Lane, six" leaves "of" behind.
            yield first if match["kind"] else street[0], last, "address"
    for first, last, match in _identifiers(session, _SENT_TO, start, end):
        name, _ = session.span_of(start, match, "name")
        if all(
            session.units[unit].bare[:1].isupper() and session.units[unit].concept_id is None
            for unit in range(name, last)
        ):
            yield first, last, "address"
    for first, last in _plates(session, start, end):
        yield first, last, "record number"
    for first, last, role in _runs(session, start, end):
        yield first, last, role
    for first, last, match in _identifiers(session, _CODED, start, end):
        near = session.low(max(start, first - 5), min(end, last + 2))
        if _length(match["id"]) >= 3 and not _GRADED.search(near) and not _MEASURES.search(near):
            yield first, last, "record number"
    for first, _, match in _identifiers(session, _CODE, start, end):
        code = match["id"].strip(" ,-")
        figures = re.findall(rf"{_PAIR}|{_DIGIT}", code)
        length = sum(len(f) if f.isdigit() else 2 if re.fullmatch(_PAIR, f) else 1 for f in figures)
        spoken = [f for f in figures if not f.isdigit()]
        if length >= 3 and spoken and len(figures) >= 2:
            yield first, first + code.count(" ") + 1, "record number"
    for first, last, match in _identifiers(session, _STREET, start, end):
        inner = [unit for unit in range(first, last) if session.units[unit].bare[:1].isalpha()]
        if (
            not session.cased
            and last - first <= (7 if re.search(r" (?:by|slash|stroke|bar) ", match["id"]) else 5)
            and session.units[last - 2].low not in _BEFORE_ROAD
        ):
            yield first, last, "address"
            continue
        if session.units[last - 1].bare[:1].isupper() or sum(session.units[u].bare[:1].isupper() for u in inner) >= 1 and (
            session.units[last - 2].bare[:1].isupper()
        ):  # fmt: skip
            yield first, last, "address"
    for first, last, match in session.search(_NUMBER, start, end):
        value = number_of(match[0])
        if value is None or not 90 <= value <= 120 or not _is_age(session, start, end, first, last, value):
            continue
        yield first, last, "age over 89"


def _identifiers(
    session: Session, pattern: re.Pattern[str], start: int, end: int
) -> Iterator[tuple[int, int, re.Match[str]]]:
    """The matches of a pattern, with the units of what is to be hidden, its group ``id``."""
    for _, _, match in session.search(pattern, start, end):
        yield *session.span_of(start, match, "id"), match


def _numbered_streets(session: Session, start: int, end: int) -> Iterator[tuple[int, int, PersonRole]]:
    """``Lakeside, street number six``, ``gali four near Moti Masjid``: the place before and the landmark after go with it."""
    for first, last, match in _identifiers(session, _STREET_NUMBERED, start, end):
        sure = " number " in match["id"] or " no" in match["id"]
        landmark = None
        if session.units[last - 1].text[-1:] in "," or session.units[last - 1].text[-1:].isalnum():
            landmark = _LANDMARK.match(session.low(last, min(len(session), last + 6)))
        if landmark is not None:
            begin = last + landmark.string.count(" ", 0, landmark.start("name"))
            for unit in range(begin + len(landmark["name"].split()) - 1, begin - 1, -1):
                own = session.units[unit]
                if own.bare[:1].isupper() if session.cased else zipf_frequency(own.low, "en") < 4.0:
                    last, sure = unit + 1, True
                    break
        before = session.units[first - 1] if first > start else None
        if before is not None and before.text[-1:].isalnum() and match["id"].split()[0] not in _SELDOM_NAMED and (
            before.bare[:1].isupper() if session.cased else before.low not in _BEFORE_ROAD
        ):  # fmt: skip
            continue  # "Potter Lane, number nine" has a name
        if (
            session.cased
            and before is not None
            and before.text.endswith(",")
            and before.bare[:1].isupper()
            and first - 1 > start
        ):
            first, sure = first - 1, True
        if sure:
            yield first, last, "address"


#: Kinds of street that have a number rather than a name.
_SELDOM_NAMED = frozenset("gali galli ward tole soi purok".split())
#: Words before "road" or "lane" that make no name of it; and kinds of street that are words of English too.
_BEFORE_ROAD = frozenset(
    "from near lives lived live the a an this that my our his her their main same other next one whole long back side of in on to at by and or is was every each which what no way".split()
)
_KINDS_ELSE = frozenset(["via", "place", "plaza", "strada"])


def _in_small_letters(session: Session, match: re.Match[str], first: int, last: int) -> bool:
    """Whether a street before its number, written without capitals, is one: by its kind in another tongue, or by a name
    that is no small word before "street"."""
    if match["kind"]:
        return (
            match["kind"] not in _KINDS_ELSE
            or session.parse.tag(first + 1) in ("NN", "NNS", "NNP", "FW")
            and last - first > 2
        )
    if match["road"]:
        road = next(unit for unit in range(first, last) if session.units[unit].low == match["road"])
        return (
            match["road"] not in _OFTEN_ELSE and session.units[road - 1].low not in _BEFORE_ROAD and bool(re.match(r" \D*\bn(?:o|r|um)", match["house"]))
        )  # fmt: skip
    return True


def _is_age(session: Session, start: int, end: int, first: int, last: int, value: int) -> bool:
    """Whether a number from 90 to 120 is somebody's age: a person is spoken of, and it counts or measures nothing."""
    stopped = session.units[last - 1].text[-1:] in ",.;:?!"
    around = session.low(max(start, first - 8), last if stopped else min(end, last + 6))
    near = session.low(max(0, session.sentence_at(max(0, start - 1)).start), end)
    if (
        _MEASURES.search(around)
        or not _PERSON_NEAR.search(near)
        or session.units[first - 1 if first else 0].low in _NOT_OF_AGE
    ):
        return False
    if last >= end or session.units[last - 1].text.endswith((",", ".", ";", ":", "?", "!")):
        following = ""
    else:
        following = session.parse.tag(last) if session.units[last].low not in _YEARS else ""
    if following.startswith(("NN", "CD", "JJ")) or following == "IN" and session.units[last].low == "of":
        return False  # a hundred patients, ninety of them
    return value != 100 or bool(_OF_AGE.search(session.low(max(start, first - 4), first)))


def _length(said: str) -> int:
    """How many figures a number read out in words has."""
    parts = re.findall(rf"{_PAIR}|(?:(?:double|triple|treble) )?\w+", said)
    return sum(_figures(part) for part in parts)


def _figures(part: str) -> int:
    """How many figures one part of it says; words among them that are no number say none."""
    if part.isdigit():
        return len(part)
    if re.fullmatch(_PAIR, part):
        return 2
    if not re.fullmatch(_FIGURE, part):
        return 0
    return {"double": 2, "triple": 3, "treble": 3}.get(part.partition(" ")[0], 1)


def _runs(session: Session, start: int, end: int) -> Iterator[tuple[int, int, PersonRole]]:
    """Six figures or more read out one by one, however they are parted; no potencies and no counting aloud."""
    for first, last, match in _identifiers(session, _RUN, start, end):
        parts = re.findall(rf"{_PAIR}|(?:double |triple |treble )?\w+", match["id"])
        values, length, single = [], 0, 0
        for part in parts:
            if part.isdigit():
                length += len(part)
                single += len(part) == 1
                values.append(int(part))
            elif re.fullmatch(_PAIR, part):
                length += 2
                values.append(number_of(part) or 0)
            elif re.fullmatch(_FIGURE, part):
                length += 2 if part.startswith("double") else 3 if part.startswith("tr") else 1
                single += 1
                values.append(number_of(part.split()[-1]) or 0)
        spoken = sum(not part.isdigit() for part in parts)
        if length < 6 or single < 4 or not spoken or values == sorted(values) or values == sorted(values, reverse=True):
            continue
        before = session.low(max(start, first - 6), first)
        phone = (
            match["id"].startswith("plus")
            or _PHONE_SAID.search(before)
            or not _RECORD_CUE.search(before)
            and length > 6
        )
        if _GRADED.search(before):
            continue
        yield first, last, "phone" if phone else "record number"


#: A plate whose letters are syllables, as in scripts that write them so: "number Ba Twelve Pa, thirty eight sixty one".
_SYLLABLE_PLATE = re.compile(
    rf"\b(?:numbers?|plates?|no\.)(?: is| was| said| says)?,? (?P<id>(?:[a-z]{{1,3}},? (?:{_ONE},? )?){{1,4}}(?:{_ONE}[ ,-]+){{1,4}}{_ONE})\b"
)


def _near_a_vehicle(session: Session, first: int, last: int) -> bool:
    return _VEHICLE_SAID.search(session.low(max(0, first - 14), min(len(session), last + 6))) is not None


def _plates(session: Session, start: int, end: int) -> Iterator[tuple[int, int]]:
    """Number plates: letters and at least three figures, where a vehicle is spoken of."""
    for first, last, match in _identifiers(session, _SYLLABLE_PLATE, start, end):
        letters = [u.low for u in session.units[first:last] if not re.fullmatch(_ONE, u.low)]
        if (
            _length(match["id"]) >= 3
            and letters
            and letters[0] not in _BEFORE_MAIL
            and _near_a_vehicle(session, first, last)
        ):
            yield first, last
    for first, _, match in _identifiers(session, _PLATE, start, end):
        code = match["id"].rstrip(" ,-")
        parts = re.findall(rf"something|{_PAIR}|(?:(?:double|triple|treble) )?\w+", code[len(match["letters"]) :])
        last = first + code.count(" ") + 1
        joined = " " not in match["letters"]
        length = sum(1 if part == "something" else _figures(part) for part in parts)
        plain = length >= 4 and not re.search("[aeiouy]", match["letters"])  # no word of English, however often written
        if length < 3 or joined and (
            not session.units[first].bare.isupper() if session.cased else zipf_frequency(match["letters"], "en") > 3.0 and not plain
        ):  # fmt: skip
            continue
        if _near_a_vehicle(session, first, last):
            yield first - (first > start and session.units[first - 1].low == "the"), last


#: A saint's day said by the name alone, after a word of time: "the week of St. Brigid's".
_SAINT = re.compile(r"\b(?P<feast>(?:st\.?|saint) [\w-]+'s)(?: (?:day|eve|night|week))?(?=[ ,.;:?!)]|$)")
_AFTER_TIME = re.compile(
    r"\b(?:weeks?|days?|night|morning|evening|eve|month|time|before|after|since|until?|till|around|on|by|past|following|last|next|during)(?: of)?(?: the)?$"
)


def _saints(session: Session, start: int, end: int) -> Iterator[tuple[int, int]]:
    for first, last, match in session.search(_SAINT, start, end):
        said_day = not match[0].endswith("'s")
        open_end = (
            last < end
            and session.units[last - 1].text[-1:].isalnum()
            and session.parse.tag(last).startswith(("N", "J"))
        )
        if said_day or not open_end and _AFTER_TIME.search(session.low(max(start, first - 4), first)):
            yield first, last


def feasts_in(session: Session, start: int, end: int) -> Iterator[tuple[int, int]]:
    """Half-open units of feasts that date something in one sentence: ``at Christmas``, ``up to next Pongal``."""
    if session.cased:
        yield from _saints(session, start, end)
    for _, _, match in session.search(_CALENDARS, start, end):
        first, last = session.span_of(start, match, "month")
        last += match["word"] is not None
        if session.units[first].bare[:1].isupper() or not session.cased:
            yield first, last
    for first, last, match in session.search(_FEAST, start, end):
        at, _ = session.span_of(start, match, "feast")
        capital = session.units[at].bare[:1].isupper() or session.units[first].bare[:1].isupper()
        timed = _AFTER_TIME.search(session.low(max(start, first - 3), first)) is not None
        if (
            capital
            or match["feast"] not in _ALSO_WORDS
            and (not session.cased or match["feast"] not in _SMALL_FEASTS)
            or not session.cased
            and timed
        ):
            yield first, last
        elif match["feast"] in _SMALL_FEASTS:
            whose = _WHOSE.match(session.low(last, min(end, last + 4)))
            yield first, last + (whose[0].count(" ") + 1 if whose else 0)
