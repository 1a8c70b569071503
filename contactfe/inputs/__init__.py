"""Reading a case: TOML text with units in, one frozen `CaseInput` out, all problems at once."""

from contactfe.inputs.values import read_value

from .calibration import CALIBRATED, MOST_SIGMA, Constant, calibrated_sigma, constants_of, read_calibration
from .fields import FIELDS, FORMAT, TABLES, Field, field_of, fields_of
from .files import SAME_IN_ANOTHER_WAY, load_case, parse_case, set_path
from .model import GIVEN, CaseInput, ContactInput, FastenerInput, LoadInput, MeshInput, WrenchInput
from .reading import LARGEST, NotToml, UnreadableFile, read_text, read_toml
from .record import to_dict
from .resolve import resolve
from .resolve_fastener import held_words, size_words
from .schema import Checked, check_keys
from .strength import grade_row
from .template import case_template

__all__ = [
    "CALIBRATED",
    "FIELDS",
    "FORMAT",
    "GIVEN",
    "LARGEST",
    "MOST_SIGMA",
    "SAME_IN_ANOTHER_WAY",
    "TABLES",
    "CaseInput",
    "Checked",
    "Constant",
    "ContactInput",
    "FastenerInput",
    "Field",
    "LoadInput",
    "MeshInput",
    "NotToml",
    "UnreadableFile",
    "WrenchInput",
    "calibrated_sigma",
    "case_template",
    "check_keys",
    "constants_of",
    "field_of",
    "fields_of",
    "grade_row",
    "held_words",
    "load_case",
    "parse_case",
    "read_calibration",
    "read_text",
    "read_toml",
    "read_value",
    "resolve",
    "set_path",
    "size_words",
    "to_dict",
]
