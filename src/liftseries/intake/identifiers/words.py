"""Words that give an identifier away, in the languages that case series of this kind are mostly kept in.

All from memory: modest lists, English, German, French, Spanish and Italian, to be lengthened where a series needs it.
"""

from __future__ import annotations


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split())


# Very common given names. Left out are those that are also words, months, towns or letters of the spelling alphabet
# (April, Grace, Victoria, Florence, Charlie, Oscar), since a label may well say those.
GIVEN_NAMES = _words(
    """
    aaron abdul adam agnes ahmed aisha alan albert alejandro alessandro alexander alexandra alfred ali alice
    amanda amina amir ana anastasia andrea andreas andrew angela anita anja ann anna anne annette anthony
    antoine antonio arthur astrid barbara beate bernard bernd bettina birgit bjorn boris brian brigitte bruno
    camille carla carlos carmen carol caroline catherine cecile chantal charles chiara chloe christian christina
    christine christopher claire claudia claus daniel daniela david deborah denis diana dieter dmitri dominik
    donald donna dorothea edith eduardo edward eleanor elena elisabeth elizabeth elsa emily emma eric erika
    ernst esther eva fatima felix ferdinand fernando francesca francesco francois franz frederic friedrich fritz
    gabriel gabriele georg george gerhard gertrud giovanni giulia giuseppe gisela guillaume gustav hans harald
    hassan heidi heinrich heinz helen helena helga hermann hugo ibrahim igor ingrid irene irina isabel isabella
    ivan jacob jacqueline jakob james jan jane janet javier jean jennifer jessica joachim joan joanna johann
    johanna johannes john jonas jonathan jorge jose josef joseph juan juergen jürgen julia julie julien jutta
    karen karin karl katarina katharina katherine kathrin kenneth kerstin kevin klara klaus konstantin kurt
    laura laurent lea leila lena leonardo leonie linda lisa louis louise lucas lucia ludwig luis luise luigi
    lukas magdalena manfred manuel manuela marc marcel marco marcus margaret margarete maria mariam marianne
    marie mario marion markus marta martha martina mary mateo matteo matthew matthias mehmet melanie michael
    michel michele miguel mohamed mohammad mohammed monika monique moritz muhammad mustafa nadia nancy natalia
    natalie nathalie nicholas nicolas nicole nikolai nina noah olga oliver olivia otto pablo paolo patricia
    patrick paul paula pauline pedro peter petra philip philipp philippe pierre rachel ralf raphael rebecca
    regina renate richard robert roberto rolf ronald rosa rudolf ruth sabine samuel sandra sara sarah sebastian
    sergei sergio silke silvia simon simone sofia sonja sophia sophie stefan stefanie stephan stephanie stephen
    steven susan susanne sven svetlana sylvie tatiana teresa theodor theresa thomas timothy ulrich ulrike ursula
    ute valentina vanessa vera veronika vincent vladimir walter werner wilhelm william wolfgang xavier yasmin
    yusuf yves zeynep
    """
)

TITLES = (
    "(?i:dr|prof|professor|mrs|mme|mlle|dott|dottor|dottoressa)",
    "(?:Mr|Ms|Herr|Frau|Monsieur|Madame|Señora?|Signora?|Sra)",
)

# Behind or beside a word that could be a name, these say that it is a label.
NO_SURNAMES = frozenset(
    _words(
        """
    site sites patient patients operator surgeon doctor dentist centre center clinic hospital practice institute
    university department group arm cohort case series study trial protocol technique method approach system
    design guide guided freehand lift lifting fluid graft grafted drill drilling osteotome balloon piezo sinus
    floor crestal implant stage phase version plan type class level series set kit stop step long short wide
    narrow early late new old high low left right upper lower mixed test control standard modified trained
    junior senior first second third one two three four five six seven eight nine ten north south east west
    northern southern eastern western central red blue green yellow black white grey gray brown orange purple
    pink silver gold golden amber violet alpha beta gamma delta epsilon zeta eta theta iota kappa lambda omega
    sigma bravo charlie echo foxtrot golf hotel india juliet kilo lima mike november oscar papa quebec romeo
    sierra tango uniform victor whiskey yankee zulu
    lead leader chair committee manager director coordinator officer nurse secretary registrar consultant
    statistician technician hygienist assistant staff team board quality data audit safety clinical medical
    not no none yes unknown missing recorded applicable available done keine kein nicht angabe angaben erhoben bekannt
    unbekannt non pas aucun aucune renseigné inconnu sin dato datos desconocido nessun nessuna noto
    """
    )
)

MONTHS = (
    "jan(?:uary|uar|vier|\\.)?", "feb(?:ruary|ruar|\\.)?", "f[ée]vr(?:ier|\\.)?", "mar(?:ch|s|\\.)?", "m[äa]e?rz",
    "apr(?:il|\\.)?", "avril", "may", "mai", "jun(?:e|i|\\.)?", "juin", "jul(?:y|i|\\.)?", "juillet",
    "aug(?:ust|\\.)?", "ao[ûu]t", "sept?(?:ember|embre|\\.)?", "o[ck]t(?:ober|obre|\\.)?", "nov(?:ember|embre|\\.)?",
    "de[cz](?:ember|\\.)?", "d[ée]c(?:embre|\\.)?", "enero", "febrero", "marzo", "abril", "mayo", "junio", "julio",
    "agosto", "septiembre", "octubre", "noviembre", "diciembre", "gennaio", "febbraio", "aprile", "maggio", "giugno",
    "luglio", "settembre", "ottobre", "dicembre",
)  # fmt: skip

STREETS = {
    "after": _words(r"street st\. road rd\.? avenue ave\.? lane boulevard blvd\.? drive terrace crescent close court"),
    "ending": _words(r"straße strasse str\. gasse allee"),
    "before": _words("rue avenue boulevard chemin calle avenida viale piazza corso"),
}

US_STATES = _words(
    """
    AL AK AZ AR CA CO CT DE DC FL GA HI ID IL IN IA KS KY LA ME MD MA MI MN MS MO MT NE NV NH NJ NM NY NC ND OH OK OR
    PA RI SC SD TN TX UT VT VA WA WV WI WY
    """
)

# Words in a cell, before a number, that say what the number is; by the name of the kind.
LABELS = {
    "FAX": ("fax", "telefax", "facsimile"),
    "TELEPHONE": (
        "tel", "phone", "telephone", "telefon", "t[ée]l[ée]phone", "tel[ée]fono", "handy",
        "(?:mobile|cell)(?: ?phone| no)",
    ),
    "SOCIAL_SECURITY": (
        "ssn", "social security", "sozialversicherung(?:snummer)?", "national insurance", "nino", "nhs", "ahv", "bsn",
        "personnummer", "cpr", "tax ?id", "steuer-?id", "national ?id", "identity card", "codice fiscale", "dni",
    ),
    "RECORD": (
        "mrn", "(?:medical|patient|hospital) ?record", "chart", "hospital (?:no|number)", "patientennummer",
        "pat\\.?-?nr", "fallnummer", "fall-?nr", "aufnahmenummer", "num[ée]ro de dossier", "historia cl[íi]nica",
    ),
    "INSURANCE": (
        "insurance", "policy", "member(?: ?id)?", "health ?plan", "medicare", "medicaid", "beneficiary",
        "versicherten(?:nummer|nr)", "versicherungs(?:nummer|nr)", "krankenkasse", "kvnr",
    ),
    "ACCOUNT": ("account", "acct", "konto(?:nummer|nr)?", "iban", "card", "invoice", "rechnung"),
    "LICENCE": ("licen[cs]e", "certificate", "passport", "reisepass", "passeport", "gdc", "npi", "dea", "approbation"),
    "VEHICLE": ("vin", "(?:number|licen[cs]e) ?plate", "kennzeichen", "vehicle", "immatriculation", "matr[íi]cula"),
    "DEVICE": ("serial", "s/n", "sn", "udi", "imei", "device ?(?:id|no)", "seriennummer", "pacemaker"),
}  # fmt: skip

_NO = "(?:no|nr|num|number|id|identifier|code|nummer|numero)"
_WHOSE = (
    "(?:patients?|full|first|last|family|given|middle|maiden|birth|doctors?|surgeons?|operators?|dentists?|contact)"
)
# Words of a header, without accents and in small letters; by the letter of the kind, the first that fits.
HEADERS = (
    ("A", rf"^(?:{_WHOSE} )*names?$|^(?:sur|fore|last|first|given|family|nick)names?$|\b(?:vorname|nachname|"
          r"familienname|prenom|nombre|apellidos?|cognome|nome|nom|initials|initialen|signature|unterschrift)\b"),
    ("F", r"\be ?mail|^mail\b"),
    ("E", r"\b(?:tele)?fax\b|\bfacsimile\b"),
    ("D", r"\b(?:tele)?phone|\btelefono?\b|\btel\b|\bhandy\b|\bmobile (?:no|nr|number|phone)\b|"
          r"\bmobil(?:telefon|nummer)"),
    ("N", r"\b(?:url|website|homepage|web page|hyperlink)\b"),
    ("O", r"^ip$|\bip addr"),
    ("Q", r"\b(?:photos?|photograph|portrait|picture|selfie|foto)\b|^images?$|\bimage (?:file|path|name)\b|"
          r"\bfile ?name\b"),
    ("P", r"\b(?:finger|voice|palm|face) ?prints?\b|\bbiometric|\b(?:iris|retina)\b"),
    ("G", rf"\bssn\b|\bsocial sec|\bsozialvers|\bnational (?:insurance|{_NO})|\bnhs\b|\bahv\b|\bbsn\b|\bnino\b|\bcpr\b|"
          r"\bpersonnummer\b|\bcodice fiscale\b|\bdni\b|\btax id|\bsteuer ?(?:id|nummer)|\bidentity card"),
    ("I", rf"\binsurance {_NO}|\bpolicy {_NO}|\bmember {_NO}|\bhealth ?plan\b|\bbeneficiary\b|\bmedic(?:are|aid)\b|"
          r"\bversichert|\bversicherungsn|\bkrankenkasse|\bkvnr\b"),
    ("H", rf"\bmrn\b|\brecord {_NO}|\b(?:medical|hospital|clinic) (?:record|{_NO})|\bchart {_NO}|\bpatientennummer\b|"
          r"\bpatienten?nr\b|\bfallnummer\b|\baufnahmenummer\b|\baktenzeichen\b|\bdossier\b"),
    ("L", rf"\b(?:licen[cs]e|number) plate\b|\bvin\b|\bvehicle\b|\bkennzeichen\b|\bregistration {_NO}"),
    ("K", rf"\blicen[cs]e\b|\bcertificate\b|\bpassport\b|\breisepass\b|\bnpi\b|\bgdc {_NO}|\bfuhrerschein\b"),
    ("J", rf"\baccount\b|\biban\b|\bkonto|\bcard {_NO}|\bcredit card\b|\binvoice\b"),
    ("M", rf"\bserial\b|\budi\b|\bimei\b|\bdevice {_NO}|\bseriennummer\b"),
    ("B", r"\baddress\b|\badresse\b|\bstreet\b|\bstrasse\b|\bcity\b|\btown\b|\bvillage\b|\bcounty\b|\bzip(?: ?code)?\b|"
          r"\bpost ?(?:al|code)|\bplz\b|\bpostleitzahl\b|\bwohnort\b|^ort$|\bville\b|\bciudad\b|\bdireccion\b|"
          r"\bindirizzo\b|\blatitude\b|\blongitude\b|\bgps\b"),
    ("C", r"\bdob\b|\bbirth ?(?:date|day|month)?\b(?! (?:year|weight))|\bdates?\b|\bdatum\b|\w+datum\b|\bgeb\b|"
          r"\bgeboren\b|\bnaissance\b|\bfecha\b|\bdata di\b|\btimestamp\b|\bgeburtstag\b"),
    ("R", rf"\busername\b|\blogin\b|\bpersonal {_NO}|\bnational identity|\bgenome\b|\bstudent {_NO}"),
)  # fmt: skip
