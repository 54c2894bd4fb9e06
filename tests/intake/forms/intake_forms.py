"""Three invented files of one small study, each as a centre might send it; none has the dictionary's header.

The tables that they hold are those of `drawn()`, so that what is read of them can be held against these.
"""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pandas as pd
from studies import Change, Tables, added, changed, write_plan

# So that the patient of the third file is seen, too.
SEEN: dict[str, Change] = {
    "visits": added(
        {"site_id": "s4", "months": "6", "status": "functioning", "bone_height_mm": "8.5", "marginal_bone_mm": "0.2"},
        {"site_id": "s4", "months": "10", "status": "failed", "bone_height_mm": "", "marginal_bone_mm": ""},
    )
}
GERMAN = {"female": "w", "male": "m", "never": "nie", "former": "früher", "current": "ja", "no": "nein", "yes": "ja"}
# Column of the sheet -> group above it, name, table, column.
NORD = [
    ("Patient", "Nr.", "patients", "patient_id"),
    ("Patient", "Alter", "patients", "age_years"),
    ("Patient", "Geschlecht", "patients", "sex"),
    ("Patient", "Raucher", "patients", "smoking"),
    ("Patient", "Diabetes", "patients", "diabetes"),
    ("Patient", "PA", "patients", "periodontitis"),
    ("Eingriff", "Kürzel", "sites", "site_id"),
    ("Eingriff", "Regio", "sites", "tooth"),
    ("Eingriff", "Operateur", "sites", "operator"),
    ("Eingriff", "lfd. Nr.", "sites", "operator_case_no"),
    ("Eingriff", "Jahr", "sites", "surgery_year"),
    ("Eingriff", "Zugang", "sites", "approach"),
    ("Eingriff", "Protokoll", "sites", "protocol"),
    ("Höhe", "1", "sites", "rbh_min_mm"),
    ("Höhe", "2", "sites", "rbh_max_mm"),
    ("Eingriff", "Septum", "sites", "septum"),
    ("Implantat", "Ø/Länge", "sites", "implant"),
    ("Implantat", "Tiefe", "sites", "platform_depth_mm"),
    ("Implantat", "Schablone", "sites", "guide_offset_mm"),
    ("OP", "Graft", "sites", "graft"),
    ("OP", "Perforation", "sites", "perforation"),
    ("OP", "Test", "sites", "perforation_test"),
    ("OP", "Placement", "sites", "placement"),
    ("OP", "Drehmoment", "sites", "torque_ncm"),
    ("OP", "Heilung", "sites", "healing"),
    ("OP", "Post (cm)", "sites", "bone_height_post_mm"),
    ("", "Bemerkung", "", ""),
]


def drawn() -> Tables:
    """The study's tables as texts."""
    return changed(SEEN)


def of_patients(tables: Tables, patients: list[str]) -> Tables:
    """The tables of some patients; drills go with all."""
    sites = tables["sites"][tables["sites"]["patient_id"].isin(patients)]
    kept = {"patients": tables["patients"][tables["patients"]["patient_id"].isin(patients)], "sites": sites}
    for name in ("steps", "visits"):
        kept[name] = tables[name][tables[name]["site_id"].isin(sites["site_id"])]
    return {name: table.reset_index(drop=True) for name, table in kept.items()}


def write_nord(path: Path, tables: Tables) -> None:
    """One row a site, the patient's cells repeated; a title, two lines of names with merged groups above them."""
    sites = tables["sites"].merge(tables["patients"], on="patient_id")
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Fälle"
    sheet.append(["Sinuslift, erfundene Fälle"])
    sheet.append([group for group, *_ in NORD])
    sheet.append([name for _, name, *_ in NORD])
    start = 0
    for at in range(1, len(NORD) + 1):
        if at == len(NORD) or NORD[at][0] != NORD[start][0]:
            for later in range(start + 1, at):
                sheet.cell(2, later + 1).value = None
            if NORD[start][0] and at - start > 1:
                sheet.merge_cells(start_row=2, end_row=2, start_column=start + 1, end_column=at)
            start = at
    for _, site in sites.iterrows():
        cells = []
        for *_, table, column in NORD:
            if column == "implant":
                text = f"{site['implant_diameter_mm']}/{site['implant_length_mm']}".replace(".", ",")
                cells.append(text)
            elif not table:
                cells.append("ohne Befund")
            elif column == "tooth":
                cells.append(f"Regio {site['tooth']}")
            elif column in ("rbh_min_mm", "rbh_max_mm"):
                # Which of the two is the lower one is not told by the column.
                low, high = site["rbh_min_mm"], site["rbh_max_mm"]
                first = int(site["tooth"]) % 2
                cells.append(float(high if first == (column == "rbh_min_mm") else low))
            elif column == "bone_height_post_mm":
                cells.append(float(site[column]) / 10 if site[column] else None)
            elif column == "septum":
                cells.append(None if site[column] == "no" else GERMAN.get(site[column], site[column]))
            elif column == "torque_ncm":
                cells.append(float(site[column]) if site[column] else 999)
            elif column in ("sex", "smoking", "diabetes", "periodontitis"):
                cells.append(GERMAN.get(site[column], site[column]))
            else:
                text = site[column]
                cells.append(float(text) if str(text).replace(".", "", 1).isdigit() else text or None)
        sheet.append(cells)
    book.save(path)


NORD_FORMS = """
header_rows: [2, 3]
ignore: [Bemerkung]
constants: {patients: {centre: north}}
not_collected: {sites: [soft_tissue_mm]}
empty_means: {sites: {septum: no}}
columns:
  patients:
    patient_id: Patient Nr.
    age_years: Patient Alter
    sex: {from: Patient Geschlecht, words: {w: female, m: male}}
    smoking: {from: Patient Raucher, words: {nie: never, früher: former, ja: current}}
    diabetes: {from: Patient Diabetes, words: {nein: no, ja: yes}}
    periodontitis: {from: Patient PA, words: {nein: no, ja: yes}}
  sites:
    site_id: Eingriff Kürzel
    patient_id: Patient Nr.
    tooth: Eingriff Regio
    operator: Eingriff Operateur
    operator_case_no: Eingriff lfd. Nr.
    surgery_year: Eingriff Jahr
    approach: Eingriff Zugang
    protocol: Eingriff Protokoll
    rbh_min_mm: {from: [Höhe 1, Höhe 2], take: lowest}
    rbh_max_mm: {from: [Höhe 1, Höhe 2], take: highest}
    septum: {from: Eingriff Septum, words: {ja: yes}}
    implant_diameter_mm: {from: Implantat Ø/Länge, part: 1}
    implant_length_mm: {from: Implantat Ø/Länge, part: 2}
    platform_depth_mm: Implantat Tiefe
    guide_offset_mm: Implantat Schablone
    graft: OP Graft
    perforation: OP Perforation
    perforation_test: OP Test
    placement: OP Placement
    torque_ncm: {from: OP Drehmoment, missing: [999]}
    healing: OP Heilung
    bone_height_post_mm: {from: OP Post (cm), unit: cm}
"""


def write_sued(path: Path, tables: Tables) -> None:
    """One flat sheet of patients, sites and visits in cp1252 with semicolons and decimal commas, a row an event."""
    sites = tables["sites"].merge(tables["patients"], on="patient_id").set_index("site_id", drop=False)
    own = [name for name in sites if name not in ("site_id", "centre")]
    rows = []
    for name, site in sites.iterrows():
        # The site's number is the patient's and a running one.
        rows.append({"Ereignis": "OP", "Stelle": name, **{column: site[column] for column in own}})
        for number, (_, visit) in enumerate(tables["visits"].query("site_id == @name").iterrows()):
            more = {column: visit[column] for column in visit.index if column != "site_id"}
            rows.append(
                {"Ereignis": f"Kontrolle {number + 1}", "Stelle": name, "patient_id": site["patient_id"], **more}
            )
    table = pd.DataFrame(rows).fillna("").rename(columns={"age_years": "Alter (Jahre)", "months": "Monate größer 0"})
    table = table.map(lambda cell: str(cell).replace(".", ",") if str(cell).replace(".", "", 1).isdigit() else cell)
    table.to_csv(path, index=False, sep=";", encoding="cp1252")


SUED_FORMS = """
encoding: cp1252
decimal: ","
only_rows:
  patients: {Ereignis: [OP]}
  sites: {Ereignis: [OP]}
  visits: {Ereignis: [Kontrolle 1, Kontrolle 2]}
constants: {patients: {centre: north}}
columns:
  patients: {age_years: Alter (Jahre)}
  sites: {site_id: Stelle}
  visits: {site_id: Stelle, months: Monate größer 0}
"""

WEST_VISITS = {"6": "6m", "10": "10m"}
WEST_FORMS = """
constants: {patients: {centre: south}}
columns:
  sites: {site_id: Case ID}
  visits:
    site_id: Case ID
    each:
      - {months: 6, status: status 6m, bone_height_mm: bone 6m, marginal_bone_mm: level 6m, complication: event 6m}
      - {months: 10, status: status 10m, bone_height_mm: bone 10m, marginal_bone_mm: level 10m, complication: event 10m}
"""


def write_west(path: Path, tables: Tables) -> None:
    """One row a site, its visits beside each other in columns."""
    table = tables["sites"].merge(tables["patients"].drop(columns="centre"), on="patient_id")
    names = {"status": "status", "bone_height_mm": "bone", "marginal_bone_mm": "level", "complication": "event"}
    for months, shown in WEST_VISITS.items():
        visits = tables["visits"][tables["visits"]["months"] == months].set_index("site_id")
        for column, name in names.items():
            table[f"{name} {shown}"] = table["site_id"].map(visits[column]).fillna("")
    table.rename(columns={"site_id": "Case ID"}).to_csv(path, index=False)


def write_three(folder: Path, tables: Tables, more: str) -> Path:
    """The three files in a study folder; `more` is what study.yaml says of them."""
    folder.mkdir(parents=True, exist_ok=True)
    write_nord(folder / "nord.xlsx", of_patients(tables, ["p1"]))
    write_sued(folder / "sued.csv", of_patients(tables, ["p2"]))
    write_west(folder / "west.csv", of_patients(tables, ["p3"]))
    for name in ("steps", "instruments", "stops"):
        tables[name].to_csv(folder / f"{name}.csv", index=False)
    of_p1 = of_patients(tables, ["p1"])["visits"]
    of_p1.to_csv(folder / "nord_visits.csv", index=False)
    three = ["nord.xlsx", "sued.csv", "west.csv"]
    files = {"patients": three, "sites": three, "visits": ["nord_visits.csv", "sued.csv", "west.csv"]}
    write_plan(folder, {**files, "steps": "steps.csv", "instruments": "instruments.csv", "stops": "stops.csv"}, more)
    return folder


def all_forms(folder: Path) -> str:
    """Writes the readings of the three files, and gives what study.yaml says of them."""
    (folder / "reading").mkdir(parents=True, exist_ok=True)
    for name, forms in (("nord", NORD_FORMS), ("sued", SUED_FORMS), ("west", WEST_FORMS)):
        (folder / "reading" / f"{name}.yaml").write_text(forms, encoding="utf-8")
    return "files: {nord.xlsx: reading/nord.yaml, sued.csv: reading/sued.yaml, west.csv: reading/west.yaml}"
