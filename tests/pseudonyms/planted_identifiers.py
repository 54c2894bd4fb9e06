"""Two hundred invented names, places, dates, telephone and record numbers of five languages, forty each."""

# ruff: noqa: E501
from __future__ import annotations

GIVEN = {
    "en": "Zebedee Ottoline Ignatius Peregrine Hepzibah Barnaby Clementina Ezekiel",
    "de": "Gundolf Walburga Eckehard Roswitha Sieglinde Hartwin Irmtraud Volkmar",
    "fr": "Enguerrand Sidonie Théophane Apolline Gonzague Philippine Aurélien Cunégonde",
    "es": "Baldomero Eufemia Leocadio Visitación Hermenegildo Casilda Primitivo Amparo",
    "it": "Ermenegildo Fiordaliso Gaspare Immacolata Leopoldo Nunziatina Quintilio Serafina",
}
FAMILY = {
    "en": "Quillfeather Marrowbone Thistlewick Vole-Stoat Halloway O'Dunmorrow Crabtrellis Winterbourneley",
    "de": "Klopfenstrudel Müßigbrodt Schnürschuh Äpfelkamm von-Dünkelsrath Öhrlich Wuchtbaum Zwickelmaier",
    "fr": "Beaucaillou Trémouillac d'Ormessonne Pétrelle Chantegrive Le-Guenneuc Vaudémontel Grosbécasse",
    "es": "Peñarrubial Zurbaránez Ñíguezal Calatraveño Olivarrubia Quiñónezal Valdecañar Torrecuellar",
    "it": "Bellacqualunga Pizzafredda Strozzacalda Montebruschi Guardabassi D'Aquilonte Scaccabarlozzi Querciagrossa",
}
PLACES = {
    "en": "Nettlecombe-under-Moor Grimswater Upper-Thaxley Dunstonby Rookhaven Saltmarshley Pennyfold Wexcombeton",
    "de": "Hinterkleckersbach Großlummerfeld Unterwuppringen Bad-Tröpfelheim Kuckucksrode Altzwingenau Schlehdornow Pfützental",
    "fr": "Saint-Brouillard-sur-Loire Montcreuxval Villefontanel Bécherolles Pontlevasseur Aigremontin Courbevallon Clairegoutte",
    "es": "Villaquebrada-del-Río Torremolinedo Peñalagarto Fuentesecas Alcornocalejo Valdelobillo Sotoperejil Nublarrasa",
    "it": "Castelbruscolo Montefioritto Acquasparsola Roccavecchiola Pietralungana Borgofreddino Vallesorda Collepiatto",
}
DATES = {
    "en": "04/17/1951 17-Apr-1951 1951-04-17 19510417 03/28/2021 28-Mar-2021 2021-03-28 20210328",
    "de": "17.04.1951 17.4.51 17-April-1951 1951/04/17 28.03.2021 28.3.21 28-März-2021 2021/03/28",
    "fr": "17/04/1951 17/4/51 17-avril-1951 le-17.04.1951 28/03/2021 28/3/21 28-mars-2021 le-28.03.2021",
    "es": "17-04-1951 17-abr-1951 17-de-abril-1951 1951.04.17 28-03-2021 28-mzo-2021 28-de-marzo-2021 2021.03.28",
    "it": "17.04.1951n 17-aprile-1951 nata17041951 17041951 28.03.2021n 28-marzo-2021 il28032021 28032021",
}
NUMBERS = {
    "en": "+44-20-7946-0812 (020)79460813 MRN-88312417 NHS9434765870 020-7946-0814 RX883124-17 7946081512 H883124",
    "de": "+49-30-5550147 030/5550148 Fall-88312418 PatNr0088312 0305550149 KV-A883124190 88312420 A88312421",
    "fr": "+33-1-55501470 01.55.50.14.71 dossier-883125 NIR1510475123 0155501472 IPP883126 88312722 D883128",
    "es": "+34-910-555-014 910555015 HC-883129 NHC0883130 910-555-016 CIP883131 88313223 E883133",
    "it": "+39-06-5550-1470 0655501471 cartella-883134 CF883135 06-55501472 nosografico883136 88313724 I883138",
}


def planted() -> dict[str, list[str]]:
    """Language -> its forty texts."""
    made = {}
    for language, given in GIVEN.items():
        names = [f"{first} {last}" for first, last in zip(given.split(), FAMILY[language].split(), strict=True)]
        made[language] = [*names, *FAMILY[language].split()]
        for texts in (PLACES, DATES, NUMBERS):
            made[language] += texts[language].split()
    assert [len(texts) for texts in made.values()] == [40] * 5
    return made
