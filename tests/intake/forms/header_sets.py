"""Three invented centres' headers, German, French and Dutch, over rows of the made-up demo: what a draft makes of them.

Each header has the table and column that it means; "" means none. Among them are traps, which look like a column and
are none. A draft is judged header by header: certain and right, a question, left aside, or certain and wrong.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
from whole_study.three_centres.centres import of_demo

from liftseries.base.plain_yaml import load_yaml

# What each header means; `a/b` are the two parts of a cell, `min|max` two heights of which nobody knows the lower.
GERMAN = {
    "Pat.-Nr.": "patient_id", "Alter bei OP": "age_years", "Geschl.": "sex", "Raucherstatus": "smoking",
    "Diabetes": "diabetes", "Parodontitis": "periodontitis", "Fall-ID": "site_id", "Operateur": "operator",
    "Fallnummer des Operateurs": "operator_case_no", "OP-Jahr": "surgery_year", "Zahn (FDI)": "tooth",
    "Vorgehen": "approach", "Bohrprotokoll": "protocol", "Resthöhe 1 (mm)": "rbh", "Resthöhe 2 (mm)": "rbh",
    "DVT Schleimhaut": "membrane_mm", "Schleimhautdicke krestal": "soft_tissue_mm",
    "Kieferkammbreite": "ridge_width_mm", "Kieferhöhlenbreite": "sinus_width_mm", "Septum": "septum",
    "Implantat Ø/Länge": "implant", "Schulter unter Kamm": "platform_depth_mm", "Tiefe": "",
    "Augmentatvolumen (ml)": "graft_ml", "Knochenersatzmaterial": "graft", "Membranperforation": "perforation",
    "Dichtigkeitsprüfung": "perforation_test", "Rissgröße (mm)": "perforation_mm", "Liftmethode": "lift_method",
    "Knochenqualität": "bone_quality", "Eindrehmoment (Ncm)": "torque_ncm", "ISQ": "isq",
    "Einheilmodus": "healing", "Knochenhöhe nach Lift": "bone_height_post_mm",
    "Perforation der Gegenseite": "", "Länge": "", "Test": "", "Bemerkung": "",
}  # fmt: skip
FRENCH = {
    "N° patient": "patient_id", "Âge": "age_years", "Sexe": "sex", "Tabagisme": "smoking",
    "Diabète": "diabetes", "Parodontite": "periodontitis", "Événement": "event", "Site": "site_id",
    "Opérateur": "operator", "N° du cas": "operator_case_no", "Année d'intervention": "surgery_year",
    "Dent": "tooth", "Voie d'abord": "approach", "Protocole": "protocol",
    "Hauteur résiduelle minimale": "rbh_min_mm", "Hauteur résiduelle maximale": "rbh_max_mm",
    "Muqueuse": "soft_tissue_mm", "Largeur de la crête": "ridge_width_mm", "Largeur du sinus": "sinus_width_mm",
    "Membrane (épaisseur)": "membrane_mm", "Septum": "septum", "Diamètre de l'implant": "implant_diameter_mm",
    "Longueur de l'implant": "implant_length_mm", "Profondeur du plateau": "platform_depth_mm",
    "Volume de greffe (ml)": "graft_ml", "Matériau de greffe": "graft", "Perforation membranaire": "perforation",
    "Taille de la perforation (mm)": "perforation_mm", "Qualité osseuse": "bone_quality",
    "Couple d'insertion (N·cm)": "torque_ncm", "ISQ": "isq", "Cicatrisation": "healing",
    "Hauteur osseuse postopératoire": "bone_height_post_mm", "Mois": "months", "Statut": "status",
    "Hauteur osseuse": "bone_height_mm", "Niveau osseux marginal": "marginal_bone_mm", "Complication": "complication",
    "Longueur": "", "Diamètre": "", "Volume": "", "Position": "", "Remarques": "",
}  # fmt: skip
DUTCH = {
    "Patiëntnummer": "patient_id", "Leeftijd": "age_years", "Geslacht": "sex", "Roken": "smoking",
    "Diabetes": "diabetes", "Parodontitis": "periodontitis", "Casusnummer": "site_id", "Behandelaar": "operator",
    "Volgnummer behandelaar": "operator_case_no", "Operatiejaar": "surgery_year", "Element": "tooth",
    "Benadering": "approach", "Boorprotocol": "protocol", "Bothoogte mesiaal": "rbh",
    "Bothoogte distaal": "rbh", "Dikte slijmvlies": "soft_tissue_mm", "Kaakbreedte": "ridge_width_mm",
    "Sinusbreedte": "sinus_width_mm", "Dikte membraan": "membrane_mm", "Tussenschot": "septum",
    "Implantaat (D x L)": "implant", "Schouderdiepte": "platform_depth_mm", "Graftvolume (ml)": "graft_ml",
    "Botvervanger": "graft", "Perforatie": "perforation", "Grootte perforatie (mm)": "perforation_mm",
    "Botkwaliteit": "bone_quality", "Indraaimoment (Ncm)": "torque_ncm", "ISQ": "isq", "Genezing": "healing",
    "Bothoogte na lift": "bone_height_post_mm",
    "status 6m": "visit", "bothoogte 6m": "visit", "randbot 6m": "visit",
    "status 1j": "visit", "bothoogte 1j": "visit", "randbot 1j": "visit",
    "Diameter": "", "Moment": "", "Opmerking": "",
}  # fmt: skip
SETS = {"german": GERMAN, "french": FRENCH, "dutch": DUTCH}
WORDS = {
    "german": {"yes": "ja", "no": "nein", "unknown": "unbekannt", "female": "w", "male": "m", "none": "keine"},
    "french": {"yes": "oui", "no": "non", "unknown": "inconnu", "female": "femme", "male": "homme", "none": "aucun"},
    "dutch": {"yes": "ja", "no": "nee", "unknown": "onbekend", "female": "vrouw", "male": "man", "none": "geen"},
}
OF_VISITS = ("months", "status", "bone_height_mm", "marginal_bone_mm", "complication")
VISIT = {"status": "status", "bothoogte": "bone_height_mm", "randbot": "marginal_bone_mm"}
MONTHS = {"6m": "6", "1j": "12"}


def sites_of(language: str) -> pd.DataFrame:
    """A row a site with its patient's cells, in the language's words."""
    tables = of_demo("heath")
    joined = tables["sites"].merge(tables["patients"], on="patient_id")
    return joined.map(lambda cell: WORDS[language].get(cell, cell))


def cells_of(header: str, column: str, sites: pd.DataFrame, visits: pd.DataFrame) -> list[str]:
    """The cells of one column of a centre's file."""
    if column == "implant":
        mark = " x " if "x" in header else "/"
        pairs = zip(sites["implant_diameter_mm"], sites["implant_length_mm"], strict=True)
        return [f"{a}{mark}{b}" for a, b in pairs]
    if column == "rbh":  # which is the lower one differs from site to site
        first = "1" in header or "mesiaal" in header
        return [low if (at % 3 == 0) == first else high for at, (low, high) in enumerate(
            zip(sites["rbh_min_mm"], sites["rbh_max_mm"], strict=True))]  # fmt: skip
    if column == "visit":
        name, months = header.rsplit(" ", 1)
        here = visits[visits["months"].eq(MONTHS[months])].set_index("site_id")[VISIT[name]]
        return sites["site_id"].map(here[~here.index.duplicated()]).fillna("").tolist()
    if column in sites:
        return sites[column].tolist()
    numbers = np.linspace(3, 9, len(sites)).round(1)
    traps = {"Länge": numbers * 10, "Test": numbers, "Tiefe": numbers, "Diameter": numbers, "Volume": numbers}
    return [str(cell) for cell in traps.get(header, np.where(numbers > 5, "ja", "nein"))]


def write_set(folder: Path, language: str) -> str:
    """The centre's file; gives its name."""
    sites, visits = sites_of(language), of_demo("heath")["visits"]
    headers, name = SETS[language], f"{language}.csv"
    if language == "french":  # one flat sheet, a row an event
        rows = []
        visits = visits.map(lambda cell: WORDS[language].get(cell, cell))
        by_site = dict(tuple(visits.groupby("site_id")))
        flat = {h: cells_of(h, c, sites, visits) for h, c in headers.items() if c not in (*OF_VISITS, "event")}
        for at, site in enumerate(sites["site_id"]):
            rows.append({"Événement": "Opération", **{header: cells[at] for header, cells in flat.items()}})
            for number, visit in enumerate(by_site.get(site, visits.iloc[:0]).to_dict("records"), start=1):
                of_visit = {h: visit.get(c, "") for h, c in headers.items() if c in OF_VISITS}
                key = {"N° patient": sites["patient_id"][at], "Site": site}
                rows.append({"Événement": f"Contrôle {number}", **key, **of_visit})
        table = pd.DataFrame(rows, columns=list(headers)).fillna("")
    else:
        table = pd.DataFrame({header: cells_of(header, column, sites, visits) for header, column in headers.items()})
    table.to_csv(folder / name, index=False, sep=";")
    return name


@dataclass
class Judged:
    """What a draft made of a set."""

    certain: list[str] = field(default_factory=list)  # and right
    asked: list[str] = field(default_factory=list)  # a question that names the header, the right column among them
    aside: list[str] = field(default_factory=list)  # under `ignore`, to be placed
    wrong: list[str] = field(default_factory=list)  # certain, and another column than it means


RIGHT = {"implant": {"implant_diameter_mm", "implant_length_mm"}, "rbh": {"rbh_min_mm", "rbh_max_mm"}}
FROM = re.compile(r'"((?:[^"\\]|\\.)*)"')


def judged(draft: str, headers: dict[str, str]) -> Judged:
    """Header by header."""
    entries, placed = load_yaml(draft), {}
    for table in (entries.get("columns") or {}).values():
        groups = table.pop("each", [])
        for column, entry in [*table.items(), *((c, e) for group in groups for c, e in group.items())]:
            sources = entry.get("from", "?") if isinstance(entry, dict) else entry
            for source in [sources] if isinstance(sources, str) else sources if isinstance(sources, list) else []:
                if source != "?":
                    placed.setdefault(source, set()).add(column)
    only = entries.get("only_rows") or {}
    for words in only.values() if isinstance(only, dict) else ():
        for header in words:
            placed.setdefault(header, set()).add("event")
    questions = {}
    for line in draft.splitlines():
        entry, _, comment = line.partition("#")
        if '"?"' in entry or entry.strip().endswith("?"):
            for found in FROM.findall(comment):
                header = json.loads(f'"{found}"')
                questions.setdefault(header, set()).add(entry.split(":")[0].strip())
    left = {str(name).removeprefix("? ") for name in entries.get("ignore") or ()}
    result = Judged()
    for header, column in headers.items():
        right = RIGHT.get(column, {column})
        right = right | ({"bone_height_mm", "status", "marginal_bone_mm"} if column == "visit" else set())
        right = right | ({"only_rows"} if column == "event" else set())
        if header.casefold() == column and header not in left:
            result.certain.append(header)  # it needs no entry
        elif header in placed:
            (result.certain if placed[header] <= right else result.wrong).append(header)
        elif right & questions.get(header, set()):
            result.asked.append(header)
        else:
            result.aside.append(header)
    return result
