"""The site: the Markdown of docs/ as it stands, formulas as MathML, nothing fetched from elsewhere."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

project = "pyrobal"
author = "the authors of pyrobal"
extensions = ["myst_parser", "mathml"]
myst_enable_extensions = ["dollarmath", "attrs_inline"]
myst_heading_anchors = 4
myst_dmath_allow_labels = False
html_theme = "furo"
html_title = "pyrobal"
html_math_renderer = "mathml"
html_show_sphinx = False
html_copy_source = False
exclude_patterns = ["_build"]
pygments_style = "friendly"
suppress_warnings = [
    "misc.highlighting_failure"
]  # TOML and console blocks hold what people type by mistake too
html_static_path = ["static"]
html_css_files = ["site.css"]
html_show_copyright = False
