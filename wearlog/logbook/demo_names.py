"""The names of the demo mill in other languages: the mill, its presses, places, crops and rules.

Notes and instructions stay in English: they are what somebody wrote. A name that is not listed stays, too.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

COLUMNS = frozenset(
    {"name", "crop", "from_crop", "to_crop", "after_crop", "for_crops", "position", "barrel", "through"}
    | {"rule", "part_type", "part", "made_from"}
)
"""Where a logbook has names; several stand in a cell with spaces between only of crops and barrels."""
LISTS = frozenset({"for_crops", "through"})

GERMAN = {
    "Larkmoor Oil Mill": "Ölmühle Lerchenmoor",
    "North press": "Nordpresse",
    "South press": "Südpresse",
    "Yard press": "Hofpresse",
    "Twin": "Doppelpresse",
    "rapeseed": "Raps",
    "linseed": "Leinsaat",
    "sunflower": "Sonnenblume",
    "camelina": "Leindotter",
    "barrel": "Presszylinder",
    "bearing": "Lager",
    "belt": "Riemen",
    "die": "Düse",
    "gearbox": "Getriebe",
    "head": "Presskopf",
    "heater": "Heizung",
    "magnet": "Magnet",
    "motor": "Motor",
    "screw": "Schnecke",
    "left": "links",
    "right": "rechts",
    "left barrel": "Presszylinder links",
    "right barrel": "Presszylinder rechts",
    "left bearing": "Lager links",
    "right bearing": "Lager rechts",
    "left die": "Düse links",
    "right die": "Düse rechts",
    "left head": "Presskopf links",
    "right head": "Presskopf rechts",
    "left heater": "Heizung links",
    "right heater": "Heizung rechts",
    "left screw": "Schnecke links",
    "right screw": "Schnecke rechts",
    "bar magnet": "Stabmagnet",
    "belt pair": "Riemenpaar",
    "heater band": "Heizband",
    "motor 2.2": "Motor 2,2",
    "thrust bearing": "Drucklager",
    "belt tension": "Riemenspannung",
    "die at limit": "Düse an der Grenze",
    "gauge 10 mm dies": "10-mm-Düsen messen",
    "gearbox oil": "Getriebeöl",
    "grease thrust bearing": "Drucklager schmieren",
    "heater and thermostat": "Heizung und Thermostat",
    "inspect screw after sunflower": "Schnecke nach Sonnenblume ansehen",
    "oil and cover for the summer": "Für den Sommer ölen und abdecken",
    "polish screw": "Schnecke polieren",
    "screw after metal or a plug": "Schnecke nach Metall oder Verstopfen",
    "screw at limit": "Schnecke an der Grenze",
    "strip and look over": "Zerlegen und durchsehen",
}
FRENCH = {
    "Larkmoor Oil Mill": "Huilerie de la Lande",
    "North press": "Presse nord",
    "South press": "Presse sud",
    "Yard press": "Presse de la cour",
    "Twin": "Presse double",
    "rapeseed": "colza",
    "linseed": "lin",
    "sunflower": "tournesol",
    "camelina": "cameline",
    "barrel": "cylindre",
    "bearing": "roulement",
    "belt": "courroie",
    "die": "filière",
    "gearbox": "réducteur",
    "head": "tête",
    "heater": "chauffage",
    "magnet": "aimant",
    "motor": "moteur",
    "screw": "vis",
    "left": "gauche",
    "right": "droite",
    "left barrel": "cylindre gauche",
    "right barrel": "cylindre droit",
    "left bearing": "roulement gauche",
    "right bearing": "roulement droit",
    "left die": "filière gauche",
    "right die": "filière droite",
    "left head": "tête gauche",
    "right head": "tête droite",
    "left heater": "chauffage gauche",
    "right heater": "chauffage droit",
    "left screw": "vis gauche",
    "right screw": "vis droite",
    "bar magnet": "barreau aimanté",
    "belt pair": "paire de courroies",
    "heater band": "collier chauffant",
    "motor 2.2": "moteur 2,2",
    "thrust bearing": "butée",
    "belt tension": "tension des courroies",
    "die at limit": "filière à la limite",
    "gauge 10 mm dies": "mesurer les filières de 10 mm",
    "gearbox oil": "huile du réducteur",
    "grease thrust bearing": "graisser la butée",
    "heater and thermostat": "chauffage et thermostat",
    "inspect screw after sunflower": "contrôler la vis après le tournesol",
    "oil and cover for the summer": "huiler et couvrir pour l’été",
    "polish screw": "polir la vis",
    "screw after metal or a plug": "vis après métal ou bouchage",
    "screw at limit": "vis à la limite",
    "strip and look over": "démonter et contrôler",
}
NAMES: Mapping[str, Mapping[str, str]] = {"de": GERMAN, "fr": FRENCH}


def named(column: str, cells: Sequence[str], language: str) -> Sequence[str]:
    """The cells of a column with the names of that language; unchanged where it has none."""
    names = NAMES.get(language.partition("-")[0])
    if names is None or column not in COLUMNS:
        return cells
    return [_named(cell, names, several=column in LISTS) for cell in cells]


def _named(cell: str, names: Mapping[str, str], *, several: bool) -> str:
    if several:
        return " ".join(names.get(word, word) for word in cell.split())
    if cell in names:
        return names[cell]
    of_press = re.fullmatch(r"(P\d+) (.+?)( \d+)?", cell)  # a part called after its press: P1 heater 3
    if of_press is None or of_press[2] not in names:
        return cell
    return f"{of_press[1]} {names[of_press[2]]}{of_press[3] or ''}"
