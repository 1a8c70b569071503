"""Reading a case: TOML text with units in, one frozen `CaseInput` out, all problems at once."""

from .fields import FIELDS, FORMAT, TABLES, Field, field_of, fields_of
from .files import load_case, parse_case, read_toml, set_path
from .model import CaseInput, ContactInput, FastenerInput, LoadInput, MeshInput, WrenchInput
from .record import to_dict
from .resolve import resolve
from .schema import Checked, check_keys
from .template import case_template

__all__ = [
    "FIELDS",
    "FORMAT",
    "TABLES",
    "CaseInput",
    "Checked",
    "ContactInput",
    "FastenerInput",
    "Field",
    "LoadInput",
    "MeshInput",
    "WrenchInput",
    "case_template",
    "check_keys",
    "field_of",
    "fields_of",
    "load_case",
    "parse_case",
    "read_toml",
    "resolve",
    "set_path",
    "to_dict",
]
