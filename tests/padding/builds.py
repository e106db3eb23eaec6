"""Builds of imported bodies: stature mm, and which of the mesh's targets are added up."""

BUILDS = {
    "plain": (1700.0, ()),
    "child_heavy": (
        1320.0,
        (
            "macrodetails/african-male-child",
            "macrodetails/universal-male-child-averagemuscle-maxweight",
        ),
    ),
    "heavy": (
        1600.0,
        (
            "macrodetails/asian-female-old",
            "macrodetails/universal-female-old-averagemuscle-maxweight",
        ),
    ),
    "thin": (
        1700.0,
        (
            "macrodetails/asian-female-young",
            "macrodetails/universal-female-young-minmuscle-minweight",
        ),
    ),
}

AGES = {"child": 1250.0, "young": 1720.0, "old": 1640.0}
MORE = {
    f"{race}_{sex}_{age}_{muscle}_{weight}": (
        AGES[age] + (40.0 if sex == "male" else 0.0),
        (
            f"macrodetails/{race}-{sex}-{age}",
            f"macrodetails/universal-{sex}-{age}-{muscle}muscle-{weight}weight",
        ),
    )
    for race, sex, age, muscle, weight in (
        ("caucasian", "male", "young", "max", "average"),
        ("caucasian", "female", "young", "average", "average"),
        ("african", "male", "old", "average", "max"),
        ("african", "female", "young", "average", "max"),
        ("asian", "male", "young", "min", "min"),
        ("asian", "female", "child", "average", "average"),
        ("african", "male", "child", "min", "min"),
        ("caucasian", "female", "old", "min", "min"),
    )
}
"""Eight builds more, for the long study; with those above, twelve imported bodies."""

EVERY = BUILDS | MORE
