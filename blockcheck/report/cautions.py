"""What is said before anything is cut."""

RULER_FIRST = "Measure with the ruler before the first cut."
CAUTION = (
    "Rotary cutters are sharp: cut away from yourself, keep your fingers behind the ruler's edge, "
    "close the blade after every cut. Irons and steam burn. Follow the makers' instructions."
)
SHORT_CAUTION = (
    f"{RULER_FIRST} Rotary cutters are sharp: close the blade after every cut and follow its "
    "maker's instructions."
)
