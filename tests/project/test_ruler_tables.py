"""Tables of ruler sizes as spreadsheets write them: read rightly or refused with the line."""

import pytest

from blockcheck.errors import ProjectError
from blockcheck.project.exchange import read_csv
from blockcheck.units import INCH


def read(tmp_path, text, unit="in"):
    (tmp_path / "r.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
    return [(n, w.value, h.value) for n, w, h in read_csv(tmp_path / "r.csv", unit)]


@pytest.mark.parametrize(
    "text",
    [
        "name,width,height\nA,6.5,9\n",
        "name;width;height\nA;6,5;9\n",
        "name\twidth\theight\nA\t6,5\t9\n",
        'name,width,height\nA,"6,5",9\n',
        "\ufeffname;width;height\r\nA;6,5;9,0\r\n",
        "sep=;\nname;width;height\nA;6,5;9\n",
        "Name , Width, HEIGHT\nA, 6 1/2 , 9\n",
        "name,width,height,unit\nA,16.51,22.86,CM\n",
        "name;width;height;unit\nA;165,1;228,6;mm\n",
        "name,width,height,,\nA,6.5,9,,\n\n",
    ],
)
def test_one_table_in_many_ways(tmp_path, text):
    assert read(tmp_path, text) == [
        ("A", pytest.approx(6.5 * INCH, abs=1e-6), pytest.approx(9 * INCH, abs=1e-6))
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name,width,height\nA,6,5,9\n", "line 2: there are more cells"),
        ("name,width,height\nA,6,9\nB,6,5,9,5\n", "line 3: there are more cells"),
        ("A,6.5,9\nB,6.5,9\n", "has no column name, width, height"),
        ("name,width\nA,6\n", "has no column height"),
        ("", "has no column name, width, height"),
        ("name,width,height\nA,6\n", "line 2: block A has no height"),
        ("name,width,height\nA,,9\n", "line 2: block A has no width"),
        ("name,width,height\nA,six,9\n", 'line 2: "six" is not a length'),
        ("name;width;height\nA;1,234;9\n", 'line 2: "1,234" can be read in two ways'),
        ("name;width;height\nA;1.234,5;9\n", 'line 2: "1.234,5" is not a length'),
        ("name,width,height\nA,-6,9\n", "line 2"),
        ("name,width,height\nA,0,9\n", "line 2"),
        ("name,width,height\nA,165,228\n", "cannot be a block's side"),
        ("name,width,height\nA,6,9\nA,6,9\n", "line 3: the name is empty or used twice"),
        ("name,width,height\n,6,9\n", "line 2: the name is empty"),
        ("name,width,height,unit\nA,6,9,ft\n", '"ft" is not a unit'),
        ("name,width,width,height\nA,6,7,9\n", "has the column width twice"),
        ("name,width,height\nA,6,9\n".encode("utf-16"), "is not UTF-8 text"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_line(tmp_path, text, says):
    with pytest.raises(ProjectError) as refused:
        read(tmp_path, text)
    assert says in str(refused.value)
    assert "r.csv" in str(refused.value)
