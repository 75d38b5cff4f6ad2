"""What the text of a STEP file says, on the files in step/ and on what damage does to them."""

from pathlib import Path

import numpy as np
import pytest

from kinematics.errors import MeshFileError
from kinematics.step_text import count_shells, data_section, length_units

STEP = Path(__file__).parent / "step"
PLATE = (STEP / "pins_and_plate_mm.step").read_bytes()


def step_file(*entities):
    body = "\n".join(f"#{k} = {entity};" for k, entity in enumerate(entities, start=1))
    return f"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\n{body}\nENDSEC;\nEND-ISO-10303-21;\n".encode()


def check_fault(data, words):
    with pytest.raises(MeshFileError) as caught:
        count_shells(data_section(data))
    assert words in caught.value.message, caught.value.message


@pytest.mark.parametrize(
    ("name", "units", "n_shells"),
    [
        ("pins_and_plate_mm", (1.0,), 3),  # the plate, and the pin twice
        ("pins_and_plate_inch", (25.4,), 3),
        ("torus", (1.0,), 1),
        ("hollow_cube", (1.0,), 2),  # the outside and the hollow
    ],
)
def test_that_units_and_shells_are_counted_from_the_text(name, units, n_shells):
    entities = data_section((STEP / f"{name}.step").read_bytes())
    assert length_units(entities) == units and count_shells(entities) == n_shells


@pytest.mark.parametrize(
    "entity",
    [
        "CARTESIAN_POINT('',(1.,-2.5E-3,+.5))",
        "A('it''s #9 = (;',$,*,.T.,\"0F\",#1,(),((1),(2.)),LENGTH_MEASURE(3.))",
        "( A(#1) B() C('',$) )",
        "A(\n 1 , /* a comment; #77 */ 2 )",
        "A(1) /* it's not a string */",
        "A('/* not a comment',1,'*/')",
        "(A((#1,(2.)),B(3)))",
        "!OWN_WORD(1)",
    ],
)
def test_that_every_kind_of_value_of_the_standard_is_read(entity):
    data_section(step_file(entity))


@pytest.mark.parametrize(
    "entity",
    ["A(1", "A(1))", "A 1", "a(1)", "A(1,)", "A(1 2)", "A(,1)", "A(1.,x)", "A('')B('')", "A()(1)", "(A(1),B(1))", "",
     "A(#)", "A(.T)", "A(1.2.3)", "A('open)"],
)  # fmt: skip
def test_that_what_does_not_follow_the_grammar_is_a_fault(entity):
    check_fault(step_file("A(1)", entity), "")


def test_that_the_entity_that_cannot_be_read_is_shown():
    check_fault(step_file("A(1)", "B((2)", "C(3)"), "cannot be read at '#2=B((2)'; expected an entity")


def test_that_a_file_cut_anywhere_is_a_fault():
    for at in range(0, len(PLATE) - 30, 997):
        check_fault(PLATE[:at], "expected")
        if not PLATE[:at].rstrip().endswith(b";"):  # between two entities nobody can see the cut
            check_fault(PLATE[:at] + b"\nENDSEC;\nEND-ISO-10303-21;\n", "expected")


def test_that_a_missing_or_doubled_entity_is_a_fault():
    check_fault(step_file("A(#3)", "B()"), "names entity #3, which it does not hold")
    check_fault(step_file("A(1)").replace(b"ENDSEC;\nEND", b"#1 = B(2);\nENDSEC;\nEND"), "under a number that is taken")


@pytest.mark.parametrize(
    ("unit", "mm"),
    [
        ("(LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT($,.METRE.))", 1000.0),
        ("(LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.CENTI.,.METRE.))", 10.0),
        ("(CONVERSION_BASED_UNIT('FOOT',#3) LENGTH_UNIT() NAMED_UNIT(#5))", 304.8),
    ],
)
def test_that_a_length_unit_is_followed_to_the_metre(unit, mm):
    entities = data_section(
        step_file(
            "(GEOMETRIC_REPRESENTATION_CONTEXT(3) GLOBAL_UNIT_ASSIGNED_CONTEXT((#2)) REPRESENTATION_CONTEXT('',''))",
            unit,
            "LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(0.3048),#4)",
            "(LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT($,.METRE.))",
            "DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.)",
        )
    )
    assert length_units(entities) == (mm,)


def test_that_a_length_unit_that_leads_nowhere_is_a_fault():
    for unit in ("(LENGTH_UNIT() NAMED_UNIT(*))", "(CONVERSION_BASED_UNIT('OWN',#2) LENGTH_UNIT() NAMED_UNIT(*))"):
        entities = data_section(step_file("(GLOBAL_UNIT_ASSIGNED_CONTEXT((#2)) B())", unit))
        with pytest.raises(MeshFileError, match="a length unit that cannot be understood"):
            length_units(entities)
    assert length_units(data_section(step_file("A(1)"))) == ()


def test_that_an_assembly_that_lost_a_part_or_holds_itself_is_a_fault():
    check_fault(
        PLATE.replace(b"NEXT_ASSEMBLY_USAGE_OCCURRENCE('3'", b"NEXT_ASSEMBLY_USAGE_OCCURRENCY('3'"), "places 3 of its 2"
    )
    nested = [f"NEXT_ASSEMBLY_USAGE_OCCURRENCE('','','',#{k},#{k + 1},$)" for k in range(1, 40)]
    doubled = step_file(*(one for one in nested for _ in range(2)), "A()", "A()")
    check_fault(doubled, "uses its parts over 100000 times")


def test_that_most_damage_of_one_byte_is_found_in_the_text():
    rng = np.random.default_rng(11)
    start = PLATE.index(b"DATA;")
    n_found = 0
    for _ in range(100):
        data = bytearray(PLATE)
        data[rng.integers(start, len(data))] = rng.integers(33, 127)
        try:
            count_shells(data_section(bytes(data)))
        except MeshFileError:
            n_found += 1
    assert n_found > 60  # what is left are digits, strings, and keywords that are still words
