"""Blank reading sheets: a grid of tape positions with empty cells, that the reader takes straight back once filled.

A sheet holds no readings and no verdict. Nothing that a user has written is overwritten unasked.
"""

from __future__ import annotations

import io
import math
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import openpyxl
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from shapely import Polygon

from flatness.errors import ArgumentError
from flatness.lengths import MM_PER, format_length, settle
from flatness.survey.files import SurveyFileExistsError
from flatness.survey.header import QUANTITIES
from flatness.survey.readings import REFERENCES, SURFACES, Floats

FORMATS = (".csv", ".xlsx")
