"""What is recorded about one component of an implant: what its label says, and what it is made of.

A row of its own for each, since an implant has three to ten and a recall names one. In which operation it was put in and in which it
was taken out are columns of the model.
"""

from server.fields.field import Export, Field, Kind
from server.words.term import terms

ROLES = terms(
    {
        "stem": "stem or body",
        "head": "head or resurfacing cup",
        "tray": "tray",
        "liner": "liner",
        "glenosphere": "glenosphere",
        "baseplate": "baseplate",
        "glenoid": "glenoid component",
        "screws": "screws",
        "spacer": "spacer",
        "cement": "cement",
        "graft": "bone graft",
        "not_said": "the implant, which part is not said",
        "other": "another part",
    }
)
# What may be put in at an operation that changes no component of an implant, such as the fixation of a fracture.
NOT_OF_AN_IMPLANT = ("screws", "cement", "graft", "other")
# Several of one lot are put in at one time.
OFTEN_ALIKE = ("screws", "cement")
FIXATIONS = terms(
    {
        "cemented": "cemented",
        "uncemented": "without cement",
        "screwed": "screwed",
        "coupled": "held by another component",
        "unknown": "unknown",
    }
)
MATERIALS = terms(
    {
        "cobalt_chrome": "cobalt chrome",
        "titanium": "titanium alloy",
        "steel": "steel",
        "tantalum": "porous tantalum",
        "polyethylene": "polyethylene",
        "crosslinked_polyethylene": "crosslinked polyethylene",
        "vitamin_e_polyethylene": "polyethylene with vitamin E",
        "ceramic": "ceramic",
        "pyrocarbon": "pyrocarbon",
        "carbon_fibre": "carbon fibre or PEEK",
        "bone_cement": "bone cement",
        "antibiotic_cement": "bone cement with antibiotic",
        "own_bone": "the patient's own bone",
        "donor_bone": "donor bone",
        "other": "other material",
        "unknown": "unknown",
    }
)
_IN = ("components",)


def _label(name: str, label: str, longest: int, hint: str = "") -> Field:
    """What is copied from the label in the implant's box, so it can name no person and is exported as typed."""
    exported = Export(f"{label}, as typed from its label", files=_IN)
    return Field(name, label, Kind.TEXT, "label", longest=longest, hint=hint, export=exported)


COMPONENT: tuple[Field, ...] = (
    Field("role", "Part", Kind.CHOICE, "part", words=ROLES, required=True, in_front=True,
        export=Export("Which part of the implant it is", files=_IN)),
    Field("role_other", "Which other part", Kind.TEXT, "part", longest=80, beside="role",
        stays="a text in the clinic's own words"),
    Field("udi", "Scanned code (UDI)", Kind.TEXT, "label", longest=200,
        export=Export("Unique device identification, as scanned", files=_IN)),
    _label("maker", "Maker", 80),
    _label("model", "Model", 80),
    _label("catalogue_number", "Catalogue number", 60),
    _label("size", "Size", 40),
    _label("lot", "Lot", 60),
    _label("serial", "Serial number", 60),
    _label("device_identifier", "Device number (GTIN)", 14),
    Field("expires_on", "Use by", Kind.DAY, "label", export=Export("Last day on which it might be put in", files=_IN)),
    Field("fixation", "Fixation", Kind.CHOICE, "made", words=FIXATIONS,
        export=Export("How this component is fixed", column="component_fixation", files=_IN)),
    Field("material", "Material", Kind.CHOICE, "made", words=MATERIALS,
        export=Export("What this component is made of, or its surface in the joint", files=_IN)),
    Field("material_other", "Which other material", Kind.TEXT, "made", longest=80, beside="material",
        stays="a text in the clinic's own words"),
)  # fmt: skip
