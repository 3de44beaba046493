"""Dates and numbers in German.

Templates write coordinates of drawings and values of inputs, which keep the point; what is read
gets its comma from ``fleet.language.decimal``. Templates name a date's form in English: Django
looks its German form up here by that name.
"""

DECIMAL_SEPARATOR = "."

globals().update(
    {
        "j M": "j. M",
        "D j M": "D, j. M",
        "j M Y": "j. M Y",
        "j M H:i": "j. M, H:i",
        "j M H:i T": "j. M, H:i T",
        "j M Y H:i": "j. M Y, H:i",
        "j M Y H:i T": "j. M Y, H:i T",
    }
)
