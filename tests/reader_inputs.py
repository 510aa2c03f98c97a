"""Inputs that nobody should write, for whatever reads: sound files with pieces changed, noise, and tables of odd cells."""

from __future__ import annotations

import resource
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from types import FrameType

from folders import SMALL_TWIN
from hypothesis import strategies as st
from shops import RIDING, some_riders

from guardopt.errors import InputError
from guardopt.learning.fall_log_reading import read_log
from guardopt.learning.learned_folder import read_beliefs
from guardopt.loading.load import load
from guardopt.loading.rider_sheets import read_sheets
from guardopt.loading.shop_details import read_details
from guardopt.model.scenario import Scenario
from guardopt.shop.quotes import Demand
from guardopt.shop.shop import Shop

MOST_SECONDS = 5.0
"""Of a processor's time for one input."""

MOST_MEGABYTES = 500
"""That all inputs together may add to what the process holds."""

RIDERS = "\n".join(["rider,bike,riding,budget,times,owned,must,never", *some_riders(8, bikes=False)]) + "\n"

FILES = {
    **{"scenario.toml" if name == "scenario" else f"{name}.csv": text for name, text in SMALL_TWIN.items()},
    "scenario.toml": SMALL_TWIN["scenario"] + "\n[shape]\ncentre_forward = 650\ncentre_up = 520\n",
    "riding.csv": RIDING,
    "points.csv": "id,forward,out,up\nlever,900,300,900\nrear_tyre,0,0,0\nfront_tyre,1400,0,0\npeg,500,330,300\ntank,500,0,800\ncrash_bar,700,250,400\n",
    "exposes.csv": "guard,part,chance,fall\ncrash_bar,tank,0.1,low_side\n",
    "riders.csv": RIDERS,
    "shop.toml": 'name = "Kerbside (invented)"\nnote = "come in"\nvalid_days = 14\n',
    "log.csv": "date,bike,fall,side,fitted,struck,scuffed,broken\n2025-03-02,red,tip_over,left,,lever.left,,lever.left\n",
    "watched.csv": "bike,from,to\nred,2025-01-01,2025-12-31\n",
    "learned.csv": "number,count,out_of\nfalls.tip_over.per_year,3,2.5\n",
}
"""Every file that is read, sound."""

ODD = (
    *(
        "",
        " ",
        "\t",
        "\0",
        "\r",
        "\n",
        '"',
        '""',
        "'",
        ",",
        ";",
        "=",
        "+",
        "-",
        ".",
        "#",
        "[",
        "]",
        "{",
        "}",
        "\\",
        "/",
    ),
    *(
        "1e400",
        "1e-400",
        "-1",
        "+1",
        "1_000",
        "1.200",
        "1.200,50",
        "0x10",
        "nan",
        "inf",
        "NaN",
        "٣",
        "½",
        "1e999999",
        "1e9999990",
    ),
    *(
        "9" * 400,
        "9" * 5_000,
        "0" * 400 + "1",
        "1" + "0" * 13,
        "a" * 200,
        "a." * 40 + "a",
        "[" * 60,
        "{a=" * 40,
        '"""',
        "'''",
    ),
    *("lever + lever", "lever_guard + crash_bar + case_cover", "+".join("abcdefghijkl"), " ".join(["lever"] * 150)),
    *("=1+1", "@SUM(A1)", "../../etc", "C:\\", "<script>", "%s%n", "\x1b[31m", "\u202e", "\ufeff", "\ud7ff", "😀", "é"),
    *(
        "left",
        "both",
        "pair",
        "yes",
        "all",
        "none",
        "part",
        "fall",
        "tip_over",
        "2025-02-30",
        "[bike]",
        "[[bike]]",
        "a=1",
    ),
)
"""Pieces that have a meaning somewhere, or none, or too much of one."""

pieces = st.one_of(st.sampled_from(ODD), st.text(max_size=6))


@st.composite
def changed_files(draw: st.DrawFn) -> dict[str, bytes]:
    """Sound files, in one to three of which pieces are put in, taken out or doubled."""
    names = draw(st.lists(st.sampled_from(sorted(FILES)), min_size=1, max_size=3, unique=True))
    found = {}
    for name in names:
        text = FILES[name]
        for _ in range(draw(st.integers(1, 4))):
            start = draw(st.integers(0, len(text)))
            end = min(len(text), start + draw(st.integers(0, 12)))
            piece = draw(st.one_of(pieces, st.just(text[start:end] * 3)))
            text = text[:start] + piece + text[end:]
        found[name] = text.encode(draw(st.sampled_from(["utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16"])), "replace")
    return found


@st.composite
def noise(draw: st.DrawFn) -> dict[str, bytes]:
    """Bytes of any kind in the place of one file, or behind its beginning."""
    name = draw(st.sampled_from(sorted(FILES)))
    begin = FILES[name].encode()[: draw(st.integers(0, 80))]
    return {name: begin + draw(st.binary(max_size=200))}


@st.composite
def odd_tables(draw: st.DrawFn) -> dict[str, bytes]:
    """A table with some of its columns, and others, and cells of every kind."""
    name = draw(st.sampled_from(sorted(name for name in FILES if name.endswith(".csv"))))
    separator = draw(st.sampled_from([",", ",", ";", "\t"]))
    known = FILES[name].split("\n")[0].split(",")
    words = sorted({word for line in FILES[name].split("\n") for word in line.split(",")})
    columns = draw(st.lists(st.one_of(st.sampled_from(known), pieces), min_size=1, max_size=len(known) + 2))
    cells = st.one_of(st.sampled_from(words), st.sampled_from(words), pieces)
    rows = draw(st.lists(st.lists(cells, max_size=len(columns) + 1), max_size=6))
    lines = [separator.join(_quoted(cell, draw) for cell in row) for row in [columns, *rows]]
    return {name: draw(st.sampled_from(["\n", "\r\n", "\r"])).join(lines).encode(errors="replace")}


def _quoted(cell: str, draw: st.DrawFn) -> str:
    if not set(cell) & set(',;"\r\n') or draw(st.integers(0, 9)) == 0:
        return cell
    return '"' + cell.replace('"', '""') + '"'


@st.composite
def odd_settings(draw: st.DrawFn) -> dict[str, bytes]:
    """Settings of known and unknown tables, keys and values."""
    name = draw(st.sampled_from(["scenario.toml", "shop.toml"]))
    known = [line.split("=")[0].strip() for line in FILES[name].split("\n") if "=" in line]
    keys = st.one_of(st.sampled_from(known), pieces)
    plain = st.one_of(
        st.floats().map(repr), st.integers().map(str), st.booleans().map(lambda one: str(one).lower()), pieces
    )
    values = st.recursive(
        st.one_of(plain, plain.map(lambda text: f'"{text}"')),
        lambda inner: st.one_of(
            st.lists(inner, max_size=3).map(lambda some: f"[{', '.join(some)}]"),
            inner.map(lambda one: f"{{a = {one}}}"),
        ),
        max_leaves=6,
    )
    headings = st.sampled_from(
        ["[bike]", "[owner]", "[labour]", "[insurance]", "[strip_down]", "[sampling]", "[[bike]]"]
    )
    lines = draw(st.lists(st.one_of(st.tuples(keys, values).map(" = ".join), headings, pieces), max_size=12))
    before = draw(st.sampled_from(["", FILES[name]]))
    return {name: (before + "\n".join(lines)).encode(errors="replace")}


inputs = st.one_of(changed_files(), noise(), odd_tables(), odd_settings())


@cache
def sound(root: Path) -> Scenario:
    """The bike whose files they are."""
    write(root / "sound", {})
    return load(root / "sound")


def write(folder: Path, changed: dict[str, bytes]) -> Path:
    """All files in a folder, some of them changed."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in FILES.items():
        (folder / name).write_bytes(changed.get(name, text.encode()))
    return folder


def readers(folder: Path, bike: Scenario) -> dict[str, Callable[[], object]]:
    """Whatever reads files, by one of the files it reads."""

    def riders() -> None:
        demand = Demand(Shop.of(bike))
        for sheet in read_sheets(folder / "riders.csv", 5):
            demand.add(demand.reader.read(sheet))

    return {
        "scenario.toml": lambda: load(folder),
        "riders.csv": riders,
        "shop.toml": lambda: read_details(folder),
        "log.csv": lambda: read_log(folder, bike),
        "learned.csv": lambda: read_beliefs(folder),
    }


def reads(folder: Path, bike: Scenario, changed: dict[str, bytes]) -> None:
    """Every file is read, or refused in plain lines, in bounded time."""
    own = {"riders.csv", "shop.toml", "log.csv", "watched.csv", "learned.csv"}
    write(folder, changed)
    for name, read in readers(folder, bike).items():
        is_asked = {"scenario.toml": not set(changed) <= own, "log.csv": {"log.csv", "watched.csv"} & set(changed)}
        if not is_asked.get(name, name in changed):
            continue
        with bounded_time():
            try:
                read()
            except InputError as error:
                for problem in error.problems:
                    assert str(problem).isprintable(), repr(str(problem))
                    assert len(str(problem)) < 2_000


class TooSlowError(BaseException):
    """It took more of a processor's time than allowed."""


@contextmanager
def bounded_time() -> Iterator[None]:
    """End what takes too long; time in which others have the processor does not count."""

    def end(_number: int, _frame: FrameType | None) -> None:
        raise TooSlowError(f"more than {MOST_SECONDS} s")

    before = signal.signal(signal.SIGPROF, end)
    signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def megabytes_at_most() -> float:
    """The most memory this process has held so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
