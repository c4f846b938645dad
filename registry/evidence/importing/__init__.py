"""Bringing in what employers have: workers, hours, assessments and certifications from CSV and XLSX."""

from registry.evidence.apart.tables import FileRefused
from registry.evidence.importing.importing import headings_of, import_file, import_table
from registry.evidence.importing.kind import ImportOptions
from registry.evidence.importing.kinds import KINDS
from registry.evidence.importing.reading import TableReading
from registry.evidence.importing.report import ImportReport, RowProblem

__all__ = [
    "KINDS",
    "FileRefused",
    "ImportOptions",
    "ImportReport",
    "RowProblem",
    "TableReading",
    "headings_of",
    "import_file",
    "import_table",
]
