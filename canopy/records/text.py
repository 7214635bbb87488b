"""The type of text columns, one for all tables."""

from __future__ import annotations

import pandas as pd
from pandas.api.extensions import ExtensionDtype

TEXT_TYPE = pd.StringDtype("python")
"""pandas type of text, the same with pyarrow installed or without: Arrow holds no file name that is not UTF-8."""

Dtypes = dict[str, str | ExtensionDtype]
"""pandas types of a table's columns by name."""
