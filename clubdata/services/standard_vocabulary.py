"""The words that a club begins with where its own description names none.

Scientific names and FAO ASFIS 3-alpha codes: FAO, ASFIS List of Species for Fishery Statistics Purposes.
Hybrids have neither a code nor a name of their own. Methods, everyday spellings and groups are common
practice, without a source; a club's description may replace them.
"""

from typing import Any, Final

_METHODS: Final[list[dict[str, Any]]] = [
    {"name": "pole"},
    {"name": "whip"},
    {"name": "waggler", "aliases": ["wag"]},
    {"name": "stick float"},
    {"name": "feeder"},
    {"name": "bomb", "aliases": ["straight lead"]},
    {"name": "float", "aliases": ["other float"]},
    {"name": "ledger", "aliases": ["leger"]},
    {"name": "surface"},
    {"name": "lure"},
]

_SPECIES: Final[list[dict[str, Any]]] = [
    {
        "name": "roach",
        "scientific_name": "Rutilus rutilus",
        "fao_code": "FRO",
        "group": "silver fish",
    },
    {
        "name": "rudd",
        "scientific_name": "Scardinius erythrophthalmus",
        "fao_code": "SRE",
        "group": "silver fish",
    },
    {
        "name": "common bream",
        "aliases": ["bream", "skimmer", "skimmers"],
        "scientific_name": "Abramis brama",
        "fao_code": "FBM",
        "group": "silver fish",
    },
    {
        "name": "perch",
        "scientific_name": "Perca fluviatilis",
        "fao_code": "FPE",
        "group": "silver fish",
    },
    {
        "name": "ide",
        "aliases": ["orfe"],
        "scientific_name": "Leuciscus idus",
        "fao_code": "FID",
        "group": "silver fish",
    },
    {
        "name": "bleak",
        "scientific_name": "Alburnus alburnus",
        "fao_code": "ALR",
        "group": "silver fish",
    },
    {
        "name": "ruffe",
        "aliases": ["pope"],
        "scientific_name": "Gymnocephalus cernua",
        "fao_code": "ACC",
        "group": "silver fish",
    },
    {
        "name": "tench",
        "scientific_name": "Tinca tinca",
        "fao_code": "FTE",
        "group": "tench",
    },
    {
        "name": "common carp",
        "aliases": ["carp", "mirror carp"],
        "scientific_name": "Cyprinus carpio",
        "fao_code": "FCP",
        "group": "carp",
    },
    {
        "name": "crucian carp",
        "aliases": ["crucian", "crucians"],
        "scientific_name": "Carassius carassius",
        "fao_code": "FCC",
        "group": "carp",
    },
    {"name": "F1", "aliases": ["F1s"], "group": "carp"},
    {"name": "roach × bream hybrid", "aliases": ["hybrid", "hybrids"], "group": "silver fish"},
    {
        "name": "pike",
        "scientific_name": "Esox lucius",
        "fao_code": "FPI",
        "group": "predators",
    },
    {
        "name": "zander",
        "scientific_name": "Sander lucioperca",
        "fao_code": "FPP",
        "group": "predators",
    },
    {
        "name": "eel",
        "aliases": ["eels"],
        "scientific_name": "Anguilla anguilla",
        "fao_code": "ELE",
        "group": "eel",
    },
    {
        "name": "rainbow trout",
        "aliases": ["trout"],
        "scientific_name": "Oncorhynchus mykiss",
        "fao_code": "TRR",
        "group": "trout",
    },
]

STANDARD_VOCABULARY: Final[dict[str, list[dict[str, Any]]]] = {"methods": _METHODS, "species": _SPECIES}
