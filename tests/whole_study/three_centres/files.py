"""The three centres' files written: German in a workbook, French in a flat CSV, Dutch with visits in columns."""

from __future__ import annotations

import csv
from pathlib import Path

import openpyxl
import pandas as pd
from whole_study.three_centres.centres import WEST_MONTHS, nord, sud, truth, west
from whole_study.three_centres.faults import laid_over

# Group above the header, header, table, column.
NORD = [
    ("Patient", "Nr.", "patient_id"),
    ("Patient", "Alter", "age_years"),
    ("Patient", "Geschlecht", "sex"),
    ("Patient", "Raucher", "smoking"),
    ("Patient", "Diabetes", "diabetes"),
    ("Patient", "Parodontitis", "periodontitis"),
    ("Eingriff", "Regio", "tooth"),
    ("Eingriff", "Operateur", "operator"),
    ("Eingriff", "lfd. Nr.", "operator_case_no"),
    ("Eingriff", "Jahr", "surgery_year"),
    ("Eingriff", "Zugang", "approach"),
    ("Eingriff", "Protokoll", "protocol"),
    ("Höhe", "1", "rbh_min_mm"),
    ("Höhe", "2", "rbh_max_mm"),
    ("Höhe", "nach Lift (cm)", "bone_height_post_mm"),
    ("DVT", "Kammbreite", "ridge_width_mm"),
    ("DVT", "Sinusbreite", "sinus_width_mm"),
    ("DVT", "Schleimhaut", "membrane_mm"),
    ("DVT", "Septum", "septum"),
    ("Implantat", "Ø/Länge", "implant"),
    ("Implantat", "Tiefe", "platform_depth_mm"),
    ("Implantat", "Schablone", "guide_offset_mm"),
    ("Implantat", "Knochenqualität", "bone_quality"),
    ("Implantat", "Drehmoment", "torque_ncm"),
    ("Implantat", "ISQ", "isq"),
    ("Implantat", "Zeitpunkt", "placement"),
    ("Implantat", "Heilung", "healing"),
    ("Implantat", "Belastung nach (Monate)", "loading_months"),
    ("Lift", "Flüssigkeit (ml)", "fluid_ml"),
    ("Lift", "Material (ml)", "graft_ml"),
    ("Lift", "Material", "graft"),
    ("Lift", "Methode", "lift_method"),
    ("Membran", "Perforation", "perforation"),
    ("Membran", "Test", "perforation_test"),
    ("Membran", "wann", "perforation_stage"),
    ("Membran", "mm", "perforation_mm"),
    ("Membran", "Versorgung", "perforation_management"),
    ("", "Bemerkung", "remark"),
]
GERMAN = {
    "sex": {"female": "w", "male": "m"},
    "smoking": {"never": "nie", "former": "früher", "current": "ja", "unknown": "unbekannt"},
    "diabetes": {"no": "nein", "yes": "ja", "unknown": "unbekannt"},
    "periodontitis": {"no": "nein", "yes": "ja", "unknown": "unbekannt"},
    "approach": {"guided": "mit Schablone", "freehand": "frei"},
    "septum": {"no": "", "yes": "ja", "unknown": "?"},
    "placement": {"same_day": "sofort", "": "sofort", "staged": "zweizeitig", "none": "keins"},
    "healing": {"submerged": "gedeckt", "transmucosal": "offen"},
    "graft": {"none": "keins", "autogenous": "eigen", "xenograft": "Rind", "mixed": "gemischt"},
    "perforation": {"no": "nein", "yes": "ja", "unknown": "unklar"},
    "status": {"functioning": "in Funktion", "failed": "verloren", "not_examined": "nicht erschienen"},
    "complication": {"none": "keine", "infection": "Infektion", "bleeding": "Blutung"},
}
FRENCH = {
    "patient_id": "Patient",
    "age_years": "Âge (ans)",
    "sex": "Sexe",
    "smoking": "Tabac",
    "diabetes": "Diabète",
    "periodontitis": "Parodontite",
    "operator": "Opérateur",
    "operator_case_no": "Cas n°",
    "surgery_year": "Année",
    "tooth": "Dent",
    "approach": "Voie",
    "protocol": "Protocole",
    "rbh_min_mm": "Os résiduel min",
    "rbh_max_mm": "Os résiduel max",
    "soft_tissue_mm": "Muqueuse",
    "ridge_width_mm": "Crête (largeur)",
    "sinus_width_mm": "Sinus (largeur)",
    "membrane_mm": "Membrane (épaisseur)",
    "septum": "Cloison",
    "implant_diameter_mm": "Implant Ø",
    "implant_length_mm": "Implant longueur",
    "platform_depth_mm": "Plateforme",
    "guide_offset_mm": "Hauteur du guide",
    "fluid_ml": "Liquide (ml)",
    "graft_ml": "Greffe (ml)",
    "graft": "Greffe",
    "perforation": "Perforation",
    "perforation_test": "Test",
    "perforation_stage": "Moment",
    "perforation_mm": "Taille",
    "perforation_management": "Traitement",
    "lift_method": "Technique",
    "bone_quality": "Qualité osseuse",
    "placement": "Pose",
    "torque_ncm": "Couple (N·cm)",
    "isq": "ISQ",
    "healing": "Cicatrisation",
    "loading_months": "Mise en charge (mois)",
    "bone_height_post_mm": "Hauteur après",
}
FRENCH_VISITS = {
    "months": "Mois",
    "status": "Statut",
    "bone_height_mm": "Hauteur osseuse",
    "marginal_bone_mm": "Os marginal",
    "complication": "Complication",
}
FRENCH_WORDS = {
    "female": "femme",
    "male": "homme",
    "never": "jamais",
    "former": "ancien",
    "current": "actuel",
    "unknown": "inconnu",
    "no": "non",
    "yes": "oui",
    "guided": "guidé",
    "freehand": "main levée",
    "functioning": "en fonction",
    "failed": "échec",
    "not_examined": "non revu",
    "patient_died": "décédé",
    "none": "aucun",
    "probe": "sonde",
    "fluid": "liquide",
    "graft_packing": "tassement",
    "osteotome": "ostéotome",
    "same_day": "immédiate",
    "staged": "différée",
    "submerged": "enfouie",
    "transmucosal": "transgingivale",
}
DUTCH = {
    "patient_id": "Patiënt",
    "age_years": "Leeftijd",
    "sex": "Geslacht",
    "smoking": "Rookt",
    "site_id": "Casus",
    "operator": "Behandelaar",
    "surgery_year": "Jaar",
    "tooth": "Element (1-32)",
    "approach": "Benadering",
    "rbh_min_mm": "Laagste bothoogte",
    "rbh_max_mm": "Hoogste bothoogte",
    "soft_tissue_mm": "Mucosa",
    "ridge_width_mm": "Kaakbreedte (cm)",
    "implant_diameter_mm": "Diameter",
    "implant_length_mm": "Lengte",
    "perforation": "Scheur",
    "torque_ncm": "Torque",
}
DUTCH_WORDS = {
    "sex": {"female": "v", "male": "m"},
    "smoking": {"never": "nooit", "former": "gestopt", "current": "ja", "unknown": "onbekend"},
    "approach": {"guided": "boormal", "freehand": "vrije hand"},
    "perforation": {"no": "nee", "yes": "ja", "unknown": "onbekend"},
}
DUTCH_STATUS = {"functioning": "goed", "failed": "verloren", "not_examined": "niet gezien", "patient_died": "overleden"}
DUTCH_VISITS = {
    "status": "status",
    "bone_height_mm": "bot",
    "marginal_bone_mm": "randbot",
    "complication": "complicatie",
}


def number(text: str, times: float = 1) -> object:
    """A cell as a spreadsheet holds it: a number where the text is one, else the text, nothing where it is empty."""
    try:
        return round(float(text) * times, 4)
    except ValueError:
        return text or None


def write_nord(path: Path, tables: dict[str, pd.DataFrame]) -> None:
    """A title, two lines of names with merged groups, a row a site; the visits on a second sheet."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Operationen"
    sheet.append(["Sinuslift intern, erfundene Fälle"])
    groups = [group for group, *_ in NORD]
    sheet.append([group if at == 0 or groups[at - 1] != group else None for at, group in enumerate(groups)])
    sheet.append([name for _, name, _ in NORD])
    for group in dict.fromkeys(filter(None, groups)):
        first, last = groups.index(group) + 1, len(groups) - groups[::-1].index(group)
        sheet.merge_cells(start_row=2, end_row=2, start_column=first, end_column=last)
    for site in tables["sites"].merge(tables["patients"], on="patient_id").to_dict("records"):
        sheet.append([nord_cell(site, column) for *_, column in NORD])
    visits = book.create_sheet("Kontrollen")
    names = ["status", "bone_height_mm", "marginal_bone_mm", "complication"]
    visits.append(["Nr.", "Regio", "Monate", "Befund", "Knochenhöhe", "Randknochen", "Komplikation"])
    for visit in tables["visits"].to_dict("records"):
        patient, tooth = visit["site_id"][1:].split("-")
        cells = [GERMAN.get(name, {}).get(visit[name], visit[name]) for name in names]
        visits.append([number(cell) for cell in (patient, tooth, visit["months"], *cells)])
    book.save(path)


def nord_cell(site: dict[str, str], column: str) -> object:
    """A cell of the first centre's sheet of sites."""
    if column == "remark":
        return "o. B."
    if column == "implant":
        return f"{site['implant_diameter_mm']}/{site['implant_length_mm']}".replace(".", ",")
    if column == "tooth":
        return f"Regio {site['tooth']}"
    if column == "patient_id":
        return int(site[column][1:])
    if column == "operator":
        return site[column][1:]
    if column in ("rbh_min_mm", "rbh_max_mm") and int(site["tooth"]) % 2:
        # Which of the two is the lower one is not told by the column.
        column = {"rbh_min_mm": "rbh_max_mm", "rbh_max_mm": "rbh_min_mm"}[column]
    if column == "torque_ncm":
        return {"": 999, "35": ">35"}.get(site[column], number(site[column]))
    if column == "bone_height_post_mm":
        return number(site[column], 0.1)
    return number(GERMAN.get(column, {}).get(site[column], site[column]))


def write_sud(path: Path, tables: dict[str, pd.DataFrame]) -> None:
    """A row an operation or visit of one flat sheet, cp1252, semicolons and decimal commas; the log as the demo's."""
    sites = tables["sites"].merge(tables["patients"], on="patient_id")
    visits = dict(list(tables["visits"].groupby("site_id")))
    header = ["Événement", "Site", *FRENCH.values(), *FRENCH_VISITS.values()]
    rows = []
    for site in sites.to_dict("records"):
        row = {"Événement": "Opération", "Site": site["site_id"], **{FRENCH[name]: site[name] for name in FRENCH}}
        rows.append(row)
        for visit in visits.get(site["site_id"], pd.DataFrame()).to_dict("records"):
            seen = {shown: visit[name] for name, shown in FRENCH_VISITS.items()}
            rows.append({"Événement": "Contrôle", "Site": site["site_id"], "Patient": site["patient_id"], **seen})
    with path.open("w", encoding="cp1252", newline="") as file:
        writer = csv.DictWriter(file, header, restval="", delimiter=";")
        writer.writeheader()
        for row in rows:
            writer.writerow({name: FRENCH_WORDS.get(cell, french_number(cell)) for name, cell in row.items()})


def french_number(text: str) -> str:
    return text.replace(".", ",") if isinstance(number(text), float) else text


def write_west(path: Path, tables: dict[str, pd.DataFrame]) -> None:
    """A row a site, tabs between; teeth from 1 to 32, a hyphen where nothing is; visits beside each other."""
    table = tables["sites"].merge(tables["patients"].drop(columns="centre"), on="patient_id").reset_index(drop=True)
    universal = {str(fdi): str(at) for fdi, at in zip([18, 17, 16, 15, 14, 24, 25, 26, 27, 28], TEETH, strict=True)}
    table["tooth"] = table["tooth"].replace(universal)
    table["ridge_width_mm"] = [cell and str(number(cell, 0.1)) for cell in table["ridge_width_mm"]]
    table = table.drop(columns="operator_case_no")
    for name, words in DUTCH_WORDS.items():
        table[name] = table[name].replace(words)
    for month, shown in WEST_MONTHS.items():
        visits = tables["visits"][tables["visits"]["months"] == month].set_index("site_id")
        visits = visits.assign(status=visits["status"].replace(DUTCH_STATUS))
        for name, word in DUTCH_VISITS.items():
            table[f"{word} {shown}"] = table["site_id"].map(visits[name]).fillna("")
    table = table.replace("", "-").rename(columns=DUTCH)
    # One case was entered twice.
    table = pd.concat([table, table.iloc[[11]]], ignore_index=True)
    table.to_csv(path, index=False, sep="\t")


TEETH = [1, 2, 3, 4, 5, 12, 13, 14, 15, 16]


def write_centres(folder: Path) -> Path:
    """The three centres' files with their faults, and what was drilled with, in a folder that holds nothing else."""
    folder.mkdir(parents=True)
    write_nord(folder / "nord.xlsx", laid_over(nord(), "nord"))
    write_sud(folder / "sud.csv", laid_over(sud(), "sud"))
    write_west(folder / "west.csv", laid_over(west(), "west"))
    tables = truth()
    tables["steps"].to_csv(folder / "sud_steps.csv", index=False)
    for name in ("instruments", "stops"):
        tables[name].to_csv(folder / f"{name}.csv", index=False)
    return folder
