"""What centres call the columns of the dictionary, in several languages (common practice, no source)."""

from __future__ import annotations

from collections.abc import Mapping

HEADER_WORDS: Mapping[str, tuple[str, ...]] = {
    "patient_id": (
        "patient", "patient no", "patient number", "patient nr", "pat nr", "pat id", "patienten nr",
        "patientennummer", "pseudonym", "no patient", "id patient", "paciente",
    ),
    "site_id": (
        "site", "case", "case id", "case no", "fall", "fall nr", "stelle", "implantat nr", "implant id",
        "implant no", "site no", "no implant", "cas",
    ),
    "centre": ("center", "zentrum", "clinic", "klinik", "praxis", "centro"),
    "age_years": ("age", "alter", "age at surgery", "âge", "edad", "età"),
    "sex": ("gender", "geschlecht", "sexe", "sexo", "sesso"),
    "smoking": ("smoker", "smoking status", "raucher", "rauchen", "tabac", "fumeur", "fumador", "tabaco"),
    "diabetes": ("diabetes mellitus", "diabète", "zucker"),
    "periodontitis": ("pa", "parodontitis", "periodontal disease", "parodontite", "periodontitis"),
    "operator": ("surgeon", "operateur", "behandler", "chirurg", "opérateur", "chirurgien", "operador", "cirujano"),
    "operator_case_no": (
        "operator case number", "case count", "lfd nr", "laufende nummer", "fallzahl", "numéro du cas",
    ),
    "surgery_year": ("year", "year of surgery", "jahr", "op jahr", "année", "année op", "año"),
    "tooth": ("regio", "region", "zahn", "fdi", "tooth no", "position", "dent", "diente"),
    "approach": ("zugang", "guided or freehand", "guided/freehand", "abord", "vorgehen"),
    "protocol": ("protokoll", "technique", "technik", "protocole", "protocolo"),
    "rbh_min_mm": (
        "rbh min", "lowest height", "min height", "höhe min", "min höhe", "hauteur min", "rbh lowest",
        "altura min",
    ),
    "rbh_max_mm": (
        "rbh max", "highest height", "max height", "höhe max", "max höhe", "hauteur max", "rbh highest",
        "altura max",
    ),
    "soft_tissue_mm": ("soft tissue", "mucosa", "schleimhaut", "gingiva", "muqueuse"),
    "ridge_width_mm": ("ridge width", "kammbreite", "kieferkammbreite", "largeur de crête", "width of ridge"),
    "sinus_width_mm": ("sinus width", "sinusbreite", "largeur du sinus"),
    "membrane_mm": ("membrane", "membrane thickness", "membrandicke", "schneider", "épaisseur membrane"),
    "septum": ("septa", "septum", "underwood", "cloison"),
    "implant_diameter_mm": (
        "diameter", "implant diameter", "durchmesser", "implantatdurchmesser", "ø", "diamètre", "diámetro",
    ),
    "implant_length_mm": ("length", "implant length", "länge", "implantatlänge", "longueur", "longitud"),
    "platform_depth_mm": (
        "platform", "platform depth", "tiefe", "schultertiefe", "profondeur plateforme", "platform below crest",
    ),
    "guide_offset_mm": ("offset", "guide offset", "schablone", "hülsenabstand", "sleeve offset"),
    "fluid_ml": ("fluid", "fluid volume", "flüssigkeit", "volume liquide"),
    "graft_ml": ("graft volume", "augmentatvolumen", "volume greffe"),
    "graft": ("graft material", "augmentat", "knochenersatz", "greffe", "injerto", "biomaterial"),
    "perforation": (
        "perforated", "tear", "membrane perforation", "perforation ja/nein", "riss", "membranriss", "perforación",
    ),
    "perforation_test": ("test", "tear test", "dichtigkeit", "dichtigkeitsprüfung", "perforationstest"),
    "perforation_stage": ("stage", "when noticed", "zeitpunkt"),
    "perforation_mm": ("tear size", "perforation size", "rissgröße", "taille perforation"),
    "perforation_management": ("management", "tear management", "versorgung", "prise en charge"),
    "lift_method": ("lift", "method", "methode", "lift method", "méthode"),
    "bone_quality": ("bone class", "knochenqualität", "quality", "lekholm zarb", "qualité osseuse"),
    "placement": ("placed", "insertion", "implantation", "pose"),
    "torque_ncm": ("torque", "insertion torque", "drehmoment", "eindrehmoment", "couple"),
    "isq": ("isq", "stability", "stabilität"),
    "healing": ("heilung", "einheilung", "cicatrisation", "healing mode"),
    "loading_months": ("loading", "belastung", "mise en charge"),
    "bone_height_post_mm": ("height post", "post", "höhe post", "post op height", "hauteur post"),
    "months": ("month", "monate", "monat", "mois", "time", "meses", "follow up"),
    "status": ("state", "zustand", "statut", "implant status", "estado"),
    "bone_height_mm": ("bone", "bone height", "knochenhöhe", "hauteur osseuse"),
    "marginal_bone_mm": ("marginal bone", "bone level", "level", "randknochen", "knochenniveau", "niveau osseux"),
    "complication": ("complications", "komplikation", "event", "événement"),
    "step_no": ("step", "schritt", "pass", "étape"),
    "instrument_id": ("instrument", "drill", "bohrer", "foret"),
    "stop_id": ("stop", "anschlag", "butée"),
    "intended_depth_mm": ("intended depth", "solltiefe"),
    "speed_rpm": ("speed", "drehzahl", "vitesse"),
    "finding": ("befund", "open", "constat"),
    "read_depth_mm": ("read depth", "messtiefe", "gauge depth"),
}  # fmt: skip
