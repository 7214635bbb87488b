"""The type of text columns, one for all tables."""

from __future__ import annotations

import pandas as pd

TEXT_TYPE = pd.StringDtype("python")
"""pandas type of text, the same with pyarrow installed or without: Arrow holds no file name that is not UTF-8."""
